"""How signing in behaves where it differs from the library's own way."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.http import HttpRequest


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # the library has no types
    """Sign-up only where the installation is open; wrong passwords counted per caller and account."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Whether anybody may make an account; who was invited comes in by the invitation."""
        return bool(settings.OPEN_SIGN_UP)

    # Counting by account alone would let a stranger keep an owner out by typing wrong passwords.
    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        return f"{self.get_client_ip(request)}:{super()._get_login_attempts_cache_key(request, **credentials)}"
