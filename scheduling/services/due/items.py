"""Due items that people or jobs make and act on: follow-ups, snoozing, saying that it is done."""

import uuid
from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal
from typing import Protocol

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from fleetcare.support.versions import store
from inspections.catalogue.loader import default_catalogue
from scheduling.core.due import State
from scheduling.models import DueItem, ServiceRule
from scheduling.services.due.by_jobs import DEFERRED_SOURCE
from scheduling.services.due.moves import MOVES, set_moves
from scheduling.services.due.rules import mark_done
from scheduling.words import Closed, DueKind

AT_ONCE_DAYS = 7
"""Within which what follows a job at once is to be done (common practice, no source)."""
WITH_KM_DAYS = 30
"""A wheel that was off is not left unchecked because the vehicle stands (common practice, no source)."""
MOST_SNOOZE_DAYS = 366
_WHEN = ("limit_on", "due_on", "earliest_on", "latest_on", "due_total_km", "state")


class OfAJob(Protocol):
    """What follow-ups need of the job that obliges them."""

    pk: uuid.UUID
    part_key: str


def add_follow_ups(
    access: Access, vehicle: Vehicle, job: OfAJob, follow_up_keys: Iterable[str], on: date, total_km: Decimal
) -> None:
    """Makes what a closed job obliges due: at once, or after the distance the catalogue names.

    Call inside the job's transaction. One with a distance is due within a month at the latest. A repeated call
    changes nothing; of a job that was undone and is closed again, what was withdrawn is due again.
    """
    rows = [_follow_up(access, vehicle, job, key, on, total_km) for key in follow_up_keys]
    DueItem.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["fleet", "vehicle", "source", "period"],
        update_fields=[*_WHEN, *MOVES],
    )
    again = DueItem.objects.within(access.fleet).filter(source__in=[row.source for row in rows])
    again.filter(closed_because=Closed.WITHDRAWN).update(
        closed_on=None, closed_because="", sequence=F("sequence") + 1, version=F("version") + 1
    )


def _follow_up(access: Access, vehicle: Vehicle, job: OfAJob, key: str, on: date, total_km: Decimal) -> DueItem:
    entry = default_catalogue().follow_ups[key]
    limit = on + timedelta(days=WITH_KM_DAYS if entry.after_km else AT_ONCE_DAYS)
    item = DueItem(
        fleet=access.fleet,
        vehicle=vehicle,
        kind=DueKind.FOLLOW_UP,
        source=f"follow-up:{job.pk}:{key}",
        period="once",
        what=entry.title,
        part_key=job.part_key,
        safety=_is_safety(job.part_key),
        limit_on=limit,
        due_on=limit,
        earliest_on=limit if entry.after_km else on,
        latest_on=limit,
        due_total_km=total_km + entry.after_km if entry.after_km else None,
        state=int(State.SOON if entry.after_km else State.DUE),
    )
    set_moves(item, WITH_KM_DAYS)
    return item


def _is_safety(part_key: str) -> bool:
    part = default_catalogue().parts.get(part_key)
    return part is not None and part.safety


def drop_follow_ups(access: Access, vehicle: Vehicle, job_id: uuid.UUID, on: date) -> None:
    """Withdraws the open follow-ups of a job that is undone; call inside its transaction."""
    rows = DueItem.objects.within(access.fleet).filter(
        vehicle=vehicle, source__startswith=f"follow-up:{job_id}:", closed_on=None
    )
    rows.update(
        closed_on=on,
        closed_because=Closed.WITHDRAWN,
        sequence=F("sequence") + 1,
        version=F("version") + 1,
        changed_at=timezone.now(),
    )


@transaction.atomic
def snooze_item(access: Access, item: DueItem, *, until: date | None) -> DueItem:
    """Puts off being told about an item until a day, or takes that back. Planners and owners.

    It stays due; only reminders wait. Raises InvalidInput for a day not to come or more than a year ahead, Conflict
    for a closed item.
    """
    access.require(Role.PLANNER)
    _require_open(item)
    now = today(access.fleet)
    if until is not None and not now < until <= now + timedelta(days=MOST_SNOOZE_DAYS):
        raise InvalidInput.at("/snoozed_until", "range", "A day to come, within a year.")
    item.snoozed_until = until
    store(item, ["snoozed_until"])
    return item


@transaction.atomic
def close_item(
    access: Access,
    item: DueItem,
    *,
    done_on: date,
    shown_km: Decimal | None = None,
    next_ends_on: date | None = None,
) -> DueItem:
    """Says that a due item is done. Inspectors and above.

    The work of a rule goes on record, and its next occurrence becomes due in turn. Raises Conflict for a closed item,
    and for one that only a fresh look or a fitted part can settle.
    """
    access.require(Role.INSPECTOR)
    _require_open(item)
    kind, _, key = item.source.partition(":")
    if kind == DEFERRED_SOURCE:
        raise Conflict("Its job settles this one: plan it, close it or put it off there.", code="needs-record")
    if kind in {"look", "wear"}:
        raise Conflict(
            "A fresh inspection or a fitted part settles this one; record that instead.", code="needs-record"
        )
    if kind == "rule":
        rule = ServiceRule.objects.within(access.fleet).one(pk=key)
        mark_done(access, rule, item.vehicle, done_on=done_on, shown_km=shown_km, next_ends_on=next_ends_on)
    elif done_on > today(access.fleet):
        raise InvalidInput.at("/done_on", "future", "This day is still to come.")
    item.closed_on, item.closed_because, item.sequence = done_on, Closed.DONE, item.sequence + 1
    store(item, ["closed_on", "closed_because", "sequence"])
    touch(item.vehicle)
    return item


def _require_open(item: DueItem) -> None:
    if item.closed_on is not None:
        raise Conflict(f"This was closed on {item.closed_on.isoformat()}.", code="due-item-closed")
