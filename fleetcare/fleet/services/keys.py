"""Keys of API clients: `fck_<prefix>_<secret>`, shown once."""

import hashlib
import hmac
import secrets
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import ApiKey, Fleet
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import InvalidInput
from fleetcare.support.prepared import Prepared, columns_of, instance

_MARK = "fck"
_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"


def _digest(secret: str) -> str:
    # 256 random bits need no slow hash.
    return hashlib.sha256(secret.encode()).hexdigest()


def create_key(access: Access, *, name: str, role: Role, expires_at: datetime | None = None) -> tuple[ApiKey, str]:
    """A new key and its text, which is never to be had again. Owners only; the key may not outrank its maker."""
    access.require(Role.OWNER)
    if expires_at is not None and expires_at <= timezone.now():
        raise InvalidInput.at("/expires_at", "past", "A key cannot expire in the past.")
    prefix, secret = "".join(secrets.choice(_ALPHABET) for _ in range(10)), secrets.token_hex(32)
    key = ApiKey(fleet=access.fleet, name=name, role=role, prefix=prefix, digest=_digest(secret), expires_at=expires_at)
    key.save(force_insert=True)
    return key, f"{_MARK}_{prefix}_{secret}"


def find_key(text: str) -> ApiKey | None:
    """The living key with this text, its fleet loaded, or None; in one query and constant time for the secret."""
    parts = text.split("_")
    if len(parts) != 3 or parts[0] != _MARK:
        return None
    key = _stored_key(parts[1])
    if key is None or not hmac.compare_digest(key.digest, _digest(parts[2])):
        return None
    expired = key.expires_at is not None and key.expires_at <= timezone.now()
    return None if expired or key.revoked_at is not None else key


def _stored_key(prefix: str) -> ApiKey | None:
    rows = _by_prefix.values(prefix=prefix)
    if not rows:
        return None
    count = len(_KEY_COLUMNS)
    key: ApiKey = instance(ApiKey, _KEY_COLUMNS, rows[0][:count])
    key.fleet = instance(Fleet, _FLEET_COLUMNS, rows[0][count:])
    return key


_KEY_COLUMNS, _FLEET_COLUMNS = columns_of(ApiKey), columns_of(Fleet)


def key_by_prefix(prefix: str) -> QuerySet[ApiKey, Any]:
    """Columns of the key and of its fleet: who asks is known by the key alone."""
    fleet = (f"fleet__{name}" for name in _FLEET_COLUMNS)
    return ApiKey.objects.filter(prefix=prefix).values_list(*_KEY_COLUMNS, *fleet)


_by_prefix = Prepared(key_by_prefix, prefix=str)


def revoke_key(access: Access, key: ApiKey) -> None:
    """From the next request on the key is refused. Repeating it changes nothing."""
    access.require(Role.OWNER)
    ApiKey.objects.within(access.fleet).filter(pk=key.pk, revoked_at=None).update(revoked_at=timezone.now())
