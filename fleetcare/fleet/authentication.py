"""How a request says who it is: a bearer key (RFC 6750) or the session of a signed-in user."""

from datetime import timedelta
from typing import Any

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, SessionAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed

from fleetcare.fleet.models import ApiKey
from fleetcare.fleet.services.keys import find_key

_LAST_USED_STEP = timedelta(hours=1)
_REFUSED = "This key is not known, has expired or was revoked."


class KeyHolder:
    """Stands where a user would when a key speaks."""

    is_authenticated = True
    is_active = True
    pk = None

    def __init__(self, key: ApiKey) -> None:
        self.key = key


class BearerKeyAuthentication(BaseAuthentication):
    """`Authorization: Bearer fck_...`"""

    def authenticate(self, request: Any) -> tuple[KeyHolder, ApiKey] | None:
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"bearer":
            return None
        key = find_key(words[1].decode("latin-1")) if len(words) == 2 else None
        if key is None:
            raise AuthenticationFailed(_REFUSED)
        self._note_use(key)
        return KeyHolder(key), key

    def authenticate_header(self, request: Any) -> str:
        return 'Bearer realm="fleetcare"'

    def _note_use(self, key: ApiKey) -> None:
        now = timezone.now()
        # To the hour is enough to see whether a key is in use, and spares a write a request.
        if key.last_used_at is None or now - key.last_used_at > _LAST_USED_STEP:
            ApiKey.objects.within(key.fleet_id).filter(pk=key.pk).update(last_used_at=now)


class SignedInAuthentication(SessionAuthentication):
    """The session cookie of a page, with the CSRF check."""


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = BearerKeyAuthentication
    name = "key"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = SignedInAuthentication
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "apiKey", "in": "cookie", "name": "session"}
