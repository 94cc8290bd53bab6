"""Saying that something happened: stored with the fact itself, passed on after the transaction is."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone

from fleetcare.fleet.models import Event, Fleet
from fleetcare.support.bell import ring_after_commit


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened: its kind, the vehicle and the row it is about, and plain facts fit for JSON."""

    kind: str
    vehicle_id: uuid.UUID | None = None
    subject_id: uuid.UUID | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)


def record_events(fleet: Fleet, happenings: Iterable[Happening]) -> list[Event]:
    """Stores what happened; call inside the transaction that made it so. One statement, none where nothing did."""
    now = timezone.now()
    rows = [
        Event(
            fleet=fleet,
            kind=each.kind,
            vehicle_id=each.vehicle_id,
            subject_id=each.subject_id,
            facts=dict(each.facts),
            happened_at=now,
        )
        for each in happenings
    ]
    if rows:
        Event.objects.bulk_create(rows)
        ring_after_commit("scheduling.relay_events", str(fleet.pk))
    return rows


def record_event(
    fleet: Fleet,
    *,
    kind: str,
    vehicle: Any = None,
    subject: Any = None,
    facts: Mapping[str, Any] | None = None,
) -> Event:
    """Stores one thing that happened; call inside the transaction that made it so.

    `vehicle` and `subject` are rows or ids. The facts must be fit for JSON, money in the API's form.
    """
    return record_events(fleet, [Happening(kind, _id(vehicle), _id(subject), facts or {})])[0]


def _id(row: Any) -> uuid.UUID | None:
    found: uuid.UUID | None = getattr(row, "pk", row)
    return found
