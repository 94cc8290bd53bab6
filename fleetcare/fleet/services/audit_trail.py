"""Reading the audit trail: whose name stands behind an actor, and values as the columns mean them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.dateparse import parse_datetime

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import ApiKey, AuditEntry, User
from fleetcare.fleet.words import Role
from fleetcare.support.record_triggers import MASK
from fleetcare.support.tenancy import TenantQuerySet

Json = dict[str, Any]
_EMPTY: Mapping[str, str] = {}


def entries(access: Access) -> TenantQuerySet[AuditEntry]:
    """The whole trail of a fleet. Owners only."""
    access.require(Role.OWNER)
    return AuditEntry.objects.within(access.fleet)


def actor_names(access: Access, rows: Iterable[AuditEntry]) -> dict[str, str]:
    """What the actors of the rows are called; those that are gone are missing. At most two queries."""
    ids: dict[str, set[str]] = {"user": set(), "key": set()}
    for row in rows:
        kind, _, key = row.actor.partition(":")
        if key:
            ids[kind].add(key)
    names: dict[str, str] = {}
    if ids["user"]:
        names |= {f"user:{user.pk}": str(user) for user in User.objects.filter(pk__in=ids["user"])}
    if ids["key"]:
        keys = ApiKey.objects.within(access.fleet).filter(pk__in=ids["key"])
        names |= {f"key:{key.pk}": key.name for key in keys}
    return names


def entry_json(row: AuditEntry, names: Mapping[str, str] = _EMPTY) -> Json:
    """One entry as the API tells it."""
    return {
        "id": row.pk,
        "at": row.at,
        "actor": row.actor,
        "actor_name": names.get(row.actor, ""),
        "address": row.address,
        "request_id": row.request_id,
        "action": row.action,
        "what": row.what,
        "subject_id": row.subject_id,
        "before": values_of(row.what, row.before),
        "after": values_of(row.what, row.after),
    }


def values_of(what: str, said: Json | None) -> Json | None:
    """Values as the columns of the table mean them, whichever database wrote them down."""
    if said is None:
        return None
    columns = _columns(what)
    return {name: _value(columns.get(name), value) for name, value in said.items()}


@lru_cache(maxsize=64)
def _columns(what: str) -> dict[str, models.Field[Any, Any]]:
    try:
        model = apps.get_model(what)
    except (LookupError, ValueError):
        # A table that is no more, or no table at all: told as it was written down.
        return {}
    return {field.column: getattr(field, "target_field", field) for field in model._meta.local_concrete_fields}  # noqa: SLF001


def _value(field: models.Field[Any, Any] | None, value: Any) -> Any:
    if field is None or value is None or value == MASK:
        return value
    if isinstance(field, models.JSONField):
        return json.loads(value) if isinstance(value, str) else value
    if isinstance(field, models.DateTimeField):
        at = parse_datetime(str(value))
        return value if at is None else at.isoformat().removesuffix("+00:00") + "Z"
    if isinstance(field, models.DecimalField):
        return f"{field.to_python(value):f}"
    try:
        plain = field.to_python(value)
    except ValidationError:
        # Written down when the column was of another kind.
        return value
    return str(plain) if not isinstance(plain, bool | int | float | str) else plain
