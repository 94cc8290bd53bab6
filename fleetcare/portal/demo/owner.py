"""The demo's log-in: made up once and kept in a file that only this user of the machine can read."""

import os
import secrets
from dataclasses import dataclass
from pathlib import Path

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import User
from fleetcare.fleet.selectors import keys
from fleetcare.fleet.services.keys import create_key, revoke_key
from fleetcare.fleet.words import Role

EMAIL = "demo@fleetcare.example"
FILE = "demo-login"
_KEY_NAME = "demo"
_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
_GROUPS, _GROUP_LENGTH = 3, 5


@dataclass(frozen=True, slots=True)
class Login:
    """What to type into the sign-in page."""

    email: str
    password: str


def demo_owner(data: Path) -> tuple[User, Login]:
    """The owner of the demo fleets and how to sign in; made where they are missing."""
    login = Login(EMAIL, _kept_password(data / FILE))
    user = User.objects.filter(email__iexact=EMAIL).first()
    if user is None:
        user = User.objects.create_user(EMAIL, login.password, name="Demo")
    elif not user.check_password(login.password):
        # The file was lost, or the database belongs to another data folder: the file counts.
        user.set_password(login.password)
        user.save(update_fields=["password"])
    return user, login


def _kept_password(path: Path) -> str:
    if not path.exists():
        groups = ("".join(secrets.choice(_ALPHABET) for _ in range(_GROUP_LENGTH)) for _ in range(_GROUPS))
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(f"{EMAIL}\n{'-'.join(groups)}\n")
    return path.read_text(encoding="utf-8").splitlines()[1]


def fresh_key(access: Access) -> str:
    """An owner's key of a fleet for scripts; the demo's earlier ones are refused from now on."""
    for key in keys(access).filter(name=_KEY_NAME, revoked_at=None):
        revoke_key(access, key)
    return create_key(access, name=_KEY_NAME, role=Role.OWNER)[1]
