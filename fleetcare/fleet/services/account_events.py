"""What happens to a login, as the libraries that do it tell, for the audit trail."""

from typing import Any

from allauth.account import signals as account
from allauth.mfa import signals as second_step
from django.conf import settings
from django.contrib.auth import signals as auth
from django.core.exceptions import ObjectDoesNotExist

from fleetcare.fleet.models import User
from fleetcare.fleet.services.auditing import note_of_account
from fleetcare.fleet.services.persons import settle_address
from fleetcare.support.doing import name_actor


def listen() -> None:
    """Connects what happens with what is recorded of it."""
    auth.user_logged_in.connect(_signed_in, dispatch_uid="audit")
    auth.user_logged_out.connect(_signed_out, dispatch_uid="audit")
    auth.user_login_failed.connect(_sign_in_failed, dispatch_uid="audit")
    for signal, action in (
        (account.password_changed, "password-changed"),
        (account.password_set, "password-changed"),
        (account.password_reset, "password-reset"),
        (account.email_changed, "address-changed"),
        (second_step.authenticator_added, "second-step-added"),
        (second_step.authenticator_removed, "second-step-removed"),
        (second_step.authenticator_reset, "second-step-reset"),
    ):
        signal.connect(_noting(action), weak=False, dispatch_uid=f"audit {action} {id(signal)}")


def _noting(action: str) -> Any:
    def note(user: User, **_: Any) -> None:
        note_of_account(user, action)

    return note


def _signed_in(user: User, **_: Any) -> None:
    name_actor(f"user:{user.pk}")
    if not settings.OPEN_SIGN_UP:
        # Here and not when their address is shown: looking at a page stores nothing.
        settle_address(user)
    note_of_account(user, "signed-in")


def _signed_out(user: User | None, **_: Any) -> None:
    if user is not None:
        name_actor(f"user:{user.pk}")
        note_of_account(user, "signed-out")


def _sign_in_failed(credentials: dict[str, Any], **_: Any) -> None:
    try:
        user = User.objects.get_by_natural_key(credentials.get("email") or credentials.get("username"))
    except ObjectDoesNotExist:
        # Nobody's: it is counted and limited, and there is no fleet to tell.
        return
    note_of_account(user, "sign-in-failed")
