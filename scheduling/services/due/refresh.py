"""Keeping due items what they ought to be: computed with a vehicle's assessment, stored with it."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from django.utils import timezone

from inspections.core.types import FloatArray
from inspections.core.usage import due_point
from inspections.services.history import Batch
from scheduling.core.due import Due, Forecast, due_states
from scheduling.models import DueItem
from scheduling.services.due.moves import MOVES, set_moves
from scheduling.services.due.wanted import as_decimal_km, wanted_items
from scheduling.services.due.wanting import Wanted
from scheduling.words import Closed

_LEAST_MOVE_DAYS = 3
_MOVE_FRACTION = 0.1
"""A forecast date moves on calendars only when it moved by a tenth of the time that is left: no flicker."""
_TOLD = frozenset({"what", "due_on", "closed_on"})
"""What a calendar's reader sees of an item."""
_KEPT = (
    "kind", "what", "part_key", "position", "safety", "limit_on", "due_on", "due_total_km", "due_shown_km",
    "earliest_on", "latest_on", "reached", "state", *MOVES,
)  # fmt: skip
_CLOSING = ("closed_on", "closed_because")


@dataclass(slots=True)
class DueRefresh:
    """What is to be stored of the due items of a batch."""

    batch: Batch
    made: list[DueItem] = field(default_factory=list)
    changed: list[DueItem] = field(default_factory=list)
    turned: list[DueItem] = field(default_factory=list)
    """Closed or opened again. Only these write that they are, so that nobody's closing is undone in passing."""


def due_of(batch: Batch) -> DueRefresh:
    """Compares what ought to be due with what is on record; reads only, seven queries for any batch."""
    rows = list(DueItem.objects.within(batch.fleet).filter(vehicle__in=batch.vehicles).order_by("id"))
    known = {(item.vehicle_id, item.source, item.period): item for item in rows}
    wanted = wanted_items(batch, rows)
    due = _due(batch, wanted)
    refresh = DueRefresh(batch)
    seen: set[tuple[uuid.UUID, str, str]] = set()
    for index, each in enumerate(wanted):
        place = (batch.vehicles[each.vehicle].pk, each.source, each.period)
        seen.add(place)
        _keep(refresh, known.get(place), each, due, index)
    sources = {(vehicle, source) for vehicle, source, _ in seen}
    for place, item in known.items():
        if place not in seen and item.closed_on is None:
            item.closed_on = batch.on
            item.closed_because = Closed.DONE if place[:2] in sources else Closed.WITHDRAWN
            item.sequence += 1
            item.changed_at = timezone.now()
            refresh.turned.append(item)
    return refresh


def _due(batch: Batch, wanted: Sequence[Wanted]) -> Due:
    """Days and states of all at once; what the judge forecasts itself comes with its own days."""
    vehicle = np.array([each.vehicle for each in wanted], dtype=np.int64)
    km = np.array([np.nan if each.due_total_km is None else each.due_total_km for each in wanted])
    none = np.full(len(wanted), np.nan)
    by_km = due_point(batch.roads.forecast, km, none, vehicle).day
    bands = np.array([_ordinals(each) for each in wanted]).reshape(len(wanted), 3)
    own = ~np.isnan(bands[:, 1])
    early, likely, late = (
        np.where(own, bands[:, n], each) for n, each in enumerate((by_km.low, by_km.median, by_km.high))
    )
    last_km = np.nan_to_num(batch.roads.forecast.last_km, nan=0.0)
    return due_states(
        due_day=np.array([_ordinal(each.limit_on) for each in wanted]),
        due_km=km,
        odometer_km=last_km[vehicle],
        forecast=Forecast(early, likely, late),
        today=float(batch.on.toordinal()),
        soon_days=np.array([float(each.lead_days) for each in wanted]),
    )


def _ordinals(each: Wanted) -> tuple[float, float, float]:
    early, likely, late = each.band or (None, None, None)
    return _ordinal(early), _ordinal(likely), _ordinal(late)


def _ordinal(day: date | None) -> float:
    return np.nan if day is None else float(day.toordinal())


def _keep(refresh: DueRefresh, item: DueItem | None, wanted: Wanted, due: Due, index: int) -> None:
    vehicle = refresh.batch.vehicles[wanted.vehicle]
    if item is None:
        item = DueItem(fleet=refresh.batch.fleet, vehicle=vehicle, source=wanted.source, period=wanted.period)
        _fill(refresh.batch, item, wanted, due, index)
        refresh.made.append(item)
        return
    before = {name: getattr(item, name) for name in (*_KEPT, *_CLOSING)}
    _fill(refresh.batch, item, wanted, due, index)
    moved = {name for name, value in before.items() if getattr(item, name) != value}
    if moved:
        item.sequence += bool(moved & _TOLD)
        item.changed_at = timezone.now()
        (refresh.turned if moved & set(_CLOSING) else refresh.changed).append(item)


def _fill(batch: Batch, item: DueItem, wanted: Wanted, due: Due, index: int) -> None:
    item.kind, item.what, item.safety = wanted.kind, wanted.what[:160], wanted.safety
    item.part_key, item.position, item.limit_on = wanted.part_key, wanted.position, wanted.limit_on
    item.due_total_km = as_decimal_km(wanted.due_total_km)
    item.due_shown_km = as_decimal_km(_shown_km(batch, wanted))
    item.earliest_on, item.latest_on = _day(due.earliest_day, index), _day(due.latest_day, index)
    item.due_on = _steady(batch.on, item.due_on, _day(due.day, index), wanted)
    item.reached = _reached(batch, wanted)
    item.state = int(due.state[index])
    set_moves(item, wanted.lead_days)
    item.closed_on, item.closed_because = None, ""


def _shown_km(batch: Batch, wanted: Wanted) -> float | None:
    """The distance as the odometer now in the vehicle shows it."""
    if wanted.due_total_km is None:
        return None
    shown = batch.vehicles[wanted.vehicle].standing.odometer_km
    total = float(batch.roads.forecast.last_km[wanted.vehicle])
    offset = 0.0 if shown is None or np.isnan(total) else total - float(shown)
    return max(wanted.due_total_km - offset, 0.0)


def _reached(batch: Batch, wanted: Wanted) -> int:
    """0: not yet, 1: the odometer has reached it, 2: it has passed it."""
    total = float(batch.roads.forecast.last_km[wanted.vehicle])
    if wanted.due_total_km is None or np.isnan(total):
        return 0
    return int(total >= wanted.due_total_km) + int(total > wanted.due_total_km)


def _steady(on: date, before: date | None, now: date | None, wanted: Wanted) -> date | None:
    """The day as it stood, while a forecast moved it by little or its day has come; a date that stands is exact."""
    if before is None or now is None or now == wanted.limit_on:
        return now
    if before <= on and now <= on:
        return before
    allowed = max(_LEAST_MOVE_DAYS, _MOVE_FRACTION * abs((now - on).days))
    return before if abs((now - before).days) <= allowed else now


def _day(days: FloatArray, index: int) -> date | None:
    day = float(days[index])
    return date.fromordinal(int(day)) if np.isfinite(day) and 1 <= day <= date.max.toordinal() else None


NEXT_DUE = ("next_due_on", "next_due_what")
"""What due items say in a vehicle's standing."""


def store_due(refresh: DueRefresh) -> None:
    """Stores what changed, constant statements; each vehicle's next due point is set in its standing (`NEXT_DUE`)."""
    DueItem.objects.bulk_create(
        refresh.made,
        update_conflicts=True,
        unique_fields=["fleet", "vehicle", "source", "period"],
        update_fields=[*_KEPT, *_CLOSING],
    )
    if refresh.changed:
        _update(refresh.changed, [*_KEPT, "sequence", "changed_at"])
    if refresh.turned:
        _update(refresh.turned, [*_KEPT, *_CLOSING, "sequence", "changed_at"])
    _carry_to_standings(refresh.batch)


def _update(items: list[DueItem], fields: list[str]) -> None:
    """An insert that turns into an update on the row's own key: a quarter of the time of a CASE for every column."""
    DueItem.objects.bulk_create(items, update_conflicts=True, unique_fields=["id"], update_fields=fields)


def _carry_to_standings(batch: Batch) -> None:
    rows = DueItem.objects.within(batch.fleet).filter(vehicle__in=batch.vehicles, closed_on=None, due_on__isnull=False)
    nearest: dict[uuid.UUID, DueItem] = {}
    for item in rows.order_by("-due_on", "-id").only("vehicle_id", "due_on", "what"):
        nearest[item.vehicle_id] = item
    for vehicle in batch.vehicles:
        first, standing = nearest.get(vehicle.pk), vehicle.standing
        standing.next_due_on, standing.next_due_what = (first.due_on, first.what[:120]) if first else (None, "")
