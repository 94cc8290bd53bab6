"""What a fleet's record is made of: which tables are kept in an export, which come back from it, and why not the rest.

The tables are found in the models themselves, so that one that is added later is exported without anybody thinking of
it; a test asks for a reason for each that is left out, and finds columns that look like secrets.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import models

from fleetcare.support.tenancy import TenantModel

FORMAT = "fleetcare-export"
VERSION = 1
Json = dict[str, Any]
Table = type[TenantModel]

LEFT_OUT: Mapping[str, str] = {
    "fleet.ApiKey": "keys are secrets; new ones are made in a minute",
    "fleet.AuditEntry": "who did what is told where it was done; it names keys, addresses and people",
    "fleet.FleetLeaving": "holds a secret, and goes with the fleet",
    "fleet.Invitation": "an invitation holds a secret; people are invited anew",
    "scheduling.CalendarLink": "a link is a secret; a new one is made",
    "portal.SharedLink": "a link is a secret; a new one is made",
    "portal.ExchangeJob": "says when something was exported or imported, and nothing about the fleet",
    "scheduling.Letter": "mails that were sent or wait to be: nobody wants them twice",
    "scheduling.Delivery": "mails that were sent or wait to be: nobody wants them twice",
    "scheduling.WebhookDelivery": "messages that were sent or wait to be: nobody wants them twice",
}
"""In no export."""

FOR_READING: Mapping[str, str] = {
    "fleet.Membership": "people are invited anew: an import must not give anybody a right",
    "fleet.Event": "what was passed on is not passed on again",
    "scheduling.UnwantedVehicle": "what a member wishes goes with the membership",
    "scheduling.WebhookEndpoint": "an import must not begin to call other systems",
}
"""In an export, and not restored from it."""

BLANKED: Mapping[str, frozenset[str]] = {"scheduling.Estimate": frozenset({"token_digest"})}
"""Columns that are exported empty: what remains of a secret."""

NOT_RESTORED: Mapping[str, Callable[[Json], bool]] = {
    # What a member wishes goes with the membership.
    "scheduling.ReminderChoice": lambda row: row.get("membership_id") is not None,
}
"""Rows that are not restored although their table is."""

PHOTOS = "inspections.Photo"


def label_of(table: Table) -> str:
    """The name of a table in an export."""
    return table._meta.label  # noqa: SLF001 - Django's own name for its public part


def columns_of(table: Table) -> list[models.Field[Any, Any]]:
    """The stored columns of a table, but for the fleet, which is the same in every row."""
    return [field for field in table._meta.local_concrete_fields if field.name != "fleet"]  # noqa: SLF001


@lru_cache(maxsize=1)
def exported_tables() -> tuple[Table, ...]:
    """Every table of an export, each after those it refers to."""
    wanted = [
        model for model in apps.get_models() if issubclass(model, TenantModel) and label_of(model) not in LEFT_OUT
    ]
    return tuple(_in_order(wanted))


def restored_tables() -> tuple[Table, ...]:
    """Those that come back from an export, in the order in which they can be stored."""
    return tuple(table for table in exported_tables() if label_of(table) not in FOR_READING)


def _in_order(wanted: list[Table]) -> list[Table]:
    """Sorted by what must be there first; a circle is opened where a column may be empty."""
    done: list[Table] = []
    waiting = list(wanted)
    while waiting:
        ready = [table for table in waiting if not _needs(table) & (set(waiting) - {table})]
        if not ready:
            raise RuntimeError(f"tables refer to each other in a circle: {sorted(map(label_of, waiting))}")
        done += ready
        waiting = [table for table in waiting if table not in ready]
    return done


def _needs(table: Table) -> set[Any]:
    """Tables that a row of this one cannot be without."""
    return {target for field, target in references(table).items() if not columns_by_name(table)[field].null}


def references(table: Table) -> dict[str, Any]:
    """The columns that refer to another table of fleets, with that table; columns that may be empty too."""
    return {
        field.attname: field.related_model
        for field in columns_of(table)
        if field.is_relation and isinstance(field.related_model, type) and issubclass(field.related_model, TenantModel)
    }


def columns_by_name(table: Table) -> dict[str, models.Field[Any, Any]]:
    """Columns by the name under which an export writes them."""
    return {field.attname: field for field in columns_of(table)}


def row_json(row: models.Model) -> Json:
    """A row as plain values: decimals as text, days and instants in ISO form, everything else as it is."""
    table = type(row)
    blank = BLANKED.get(table._meta.label, frozenset())  # noqa: SLF001
    return {
        field.attname: None if field.attname in blank else plain(getattr(row, field.attname))
        for field in columns_of(table)  # type: ignore[arg-type]
    }


def plain(value: Any) -> Any:
    """A value as JSON holds it."""
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    return value
