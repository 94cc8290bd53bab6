"""What ought to be due for the vehicles of a batch today: by rules, by wear, by looks, by what jobs left to do."""

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache

import numpy as np
from django.db.models import Max

from fleetcare.fleet.models import Vehicle
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.vocabularies import FULL_SHEET
from inspections.models import FittedPart, Inspection
from inspections.services.history import Batch
from inspections.words import InspectionState
from scheduling.core.due import next_point
from scheduling.models import DueItem, ServiceDone, ServiceRule
from scheduling.services.due.by_jobs import wanted_by_jobs
from scheduling.services.due.rules import fits
from scheduling.services.due.titles import TITLES
from scheduling.services.due.wanting import Wanted
from scheduling.services.look_again import next_looks, sheet_slots
from scheduling.words import DueKind

_DAYS_PER_MONTH = 365.25 / 12
WEAR_MONTHS = 18.0
"""A limit expected later than this is no due item yet."""


@dataclass(frozen=True, slots=True)
class Record:
    """When the work of a rule was last done on a vehicle."""

    on: date
    total_km: float | None


def wanted_items(batch: Batch, known: Sequence[DueItem]) -> list[Wanted]:
    """Every occurrence of the batch that ought to be open; six queries. `known` are all items on record."""
    kept = [item for item in known if item.kind == DueKind.FOLLOW_UP and item.closed_on is None]
    by_rules, by_looks = _by_rules(batch), _by_looks(batch)
    return [*by_rules, *_by_wear(batch), *by_looks, *_follow_ups(batch, kept), *wanted_by_jobs(batch, known)]


def _by_rules(batch: Batch) -> Iterator[Wanted]:
    rules = list(ServiceRule.objects.within(batch.fleet).filter(active=True).order_by("id"))
    if not rules:
        return
    done = _last_done(batch, rules)
    fitted = _all_fitted(batch)
    for row, vehicle in enumerate(batch.vehicles):
        for rule in rules:
            if fits(rule, vehicle):
                last = _latest(done.get((rule.pk, vehicle.pk)), fitted.get((vehicle.pk, rule.part_key)))
                yield _of_rule(batch, row, rule, last)


def _last_done(batch: Batch, rules: Sequence[ServiceRule]) -> dict[tuple[uuid.UUID, uuid.UUID], Record]:
    rows = ServiceDone.objects.within(batch.fleet).filter(vehicle__in=batch.vehicles, rule__in=rules)
    values = rows.order_by("done_on", "created_at").values_list("rule_id", "vehicle_id", "done_on", "total_km")
    return {(rule, vehicle): Record(on, None if km is None else float(km)) for rule, vehicle, on, km in values}


def _all_fitted(batch: Batch) -> dict[tuple[uuid.UUID, str], Record]:
    """The oldest fitting of a part on a vehicle, where every position of it is on record."""
    rows = FittedPart.objects.within(batch.fleet).filter(
        vehicle__in=batch.vehicles, removed_on=None, fitted_on__isnull=False, fitted_total_km__isnull=False
    )
    found: dict[tuple[uuid.UUID, str], list[Record]] = {}
    for vehicle, part, on, km in rows.values_list("vehicle_id", "part_key", "fitted_on", "fitted_total_km"):
        if on is not None and km is not None:
            found.setdefault((vehicle, part), []).append(Record(on, float(km)))
    traits = {vehicle.pk: vehicle.traits for vehicle in batch.vehicles}
    return {
        (vehicle, part): min(records, key=lambda record: record.on)
        for (vehicle, part), records in found.items()
        if len(records) >= _positions_of(batch.catalogue, tuple(sorted(traits[vehicle].items())), part)
    }


@lru_cache(maxsize=4096)
def _positions_of(catalogue: Catalogue, traits: tuple[tuple[str, str], ...], part: str) -> int:
    return sum(catalogue.slots[slot].part_key == part for slot in catalogue.applicable_slots(dict(traits)))


def _latest(*records: Record | None) -> Record | None:
    return max((record for record in records if record is not None), key=lambda record: record.on, default=None)


def _of_rule(batch: Batch, row: int, rule: ServiceRule, last: Record | None) -> Wanted:
    limit_on, km, period = _point(batch, row, rule, last)
    return Wanted(
        vehicle=row,
        kind=DueKind(rule.kind),
        source=f"rule:{rule.pk}",
        period=period,
        what=rule.title,
        part_key=rule.part_key,
        safety=rule.safety or (rule.part_key in batch.catalogue.parts and batch.catalogue.parts[rule.part_key].safety),
        lead_days=rule.lead_days,
        limit_on=limit_on,
        due_total_km=km,
    )


def _point(batch: Batch, row: int, rule: ServiceRule, last: Record | None) -> tuple[date | None, float | None, str]:
    """Date and distance at which a rule falls due, and the name of that occurrence.

    Never done: it counts from the vehicle's first use; where that has passed, nobody knows, and it is due from the
    day the rule was made until somebody does it or says when it was done.
    """
    repeats = bool(rule.every_km or rule.every_months)
    ends = rule.ends_on is not None or rule.ends_total_km is not None
    if ends and not (repeats and last):
        km = None if rule.ends_total_km is None else float(rule.ends_total_km)
        return rule.ends_on, km, f"ends {rule.ends_on or ''} {rule.ends_total_km or ''}".strip()
    if last is not None:
        day, km = next_point(last.on.toordinal(), last.total_km, rule.every_months, rule.every_km)
        return _date(day), _number(km), f"after {last.on.isoformat()}"
    vehicle: Vehicle = batch.vehicles[row]
    day, km = next_point(vehicle.first_used_on.toordinal(), 0.0, rule.every_months, rule.every_km)
    made = rule.created_at.date()
    if day <= made.toordinal() or km <= float(batch.roads.now_km[row]):
        return made, None, "first"
    return _date(day), _number(km), "first"


def _date(day: float) -> date | None:
    return date.fromordinal(int(day)) if np.isfinite(day) and day < date.max.toordinal() else None


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _by_wear(batch: Batch) -> Iterator[Wanted]:
    """Measured parts whose limit is expected soon enough to plan for."""
    measured = batch.measured
    for index, row in enumerate(measured.cell.tolist()):
        per_month = float(batch.cells.clock_km_per_month[row])
        forecast = measured.forecast.limit_in_km
        low, median, high = (float(each[index]) / per_month for each in (forecast.low, forecast.median, forecast.high))
        if not median <= WEAR_MONTHS:
            continue
        slot = batch.catalogue.slots[int(batch.cells.slot[row])]
        part = batch.catalogue.parts[slot.part_key]
        fitted = float(batch.cells.fitted_clock_km[row])
        yield Wanted(
            vehicle=int(batch.cells.vehicle[row]),
            kind=DueKind.WEAR_LIMIT,
            source=f"wear:{slot.part_key}@{slot.position}",
            period="as bought" if np.isnan(fitted) else f"fitted at {fitted:.0f}",
            what=TITLES[DueKind.WEAR_LIMIT].format(name=part.title),
            part_key=slot.part_key,
            position=slot.position,
            safety=part.safety,
            band=(_in_months(batch.on, low), _in_months(batch.on, median), _in_months(batch.on, high)),
        )


def _in_months(on: date, months: float) -> date | None:
    days = months * _DAYS_PER_MONTH
    return on + timedelta(days=int(days)) if np.isfinite(days) and days < 365 * 60 else None


def _by_looks(batch: Batch) -> Iterator[Wanted]:
    """The next look with each sheet that serves one; an occurrence ends with an inspection that covers the sheet."""
    inspected = _inspected(batch)
    for row, (vehicle, looks) in enumerate(zip(batch.vehicles, next_looks(batch), strict=True)):
        first = {look.sheet or FULL_SHEET: look for look in reversed(looks)}
        covers = sheet_slots(batch.catalogue, tuple(sorted(vehicle.traits.items())))
        for sheet, look in first.items():
            done = [on for key, on in inspected.get(vehicle.pk, {}).items() if covers.get(key, set()) >= covers[sheet]]
            day = _in_months(batch.on, look.in_months)
            yield Wanted(
                vehicle=row,
                kind=DueKind.LOOK_AGAIN,
                source=f"look:{sheet}",
                period=f"after {max(done).isoformat() if done else 'never'}",
                what=TITLES[DueKind.LOOK_AGAIN].format(name=batch.catalogue.sheets[sheet].title),
                band=(day, day, day),
            )


def _inspected(batch: Batch) -> dict[uuid.UUID, dict[str, date]]:
    """The last inspection with each sheet, by vehicle."""
    rows = Inspection.objects.within(batch.fleet).filter(
        vehicle__in=batch.vehicles, state=InspectionState.COMPLETED, inspected_on__lte=batch.on
    )
    found: dict[uuid.UUID, dict[str, date]] = {}
    for vehicle, sheet, on in rows.order_by().values_list("vehicle_id", "sheet").annotate(last=Max("inspected_on")):
        found.setdefault(vehicle, {})[sheet] = on
    return found


def _follow_ups(batch: Batch, kept: Iterable[DueItem]) -> Iterator[Wanted]:
    row_of: Mapping[uuid.UUID, int] = {vehicle.pk: row for row, vehicle in enumerate(batch.vehicles)}
    for item in kept:
        yield Wanted(
            vehicle=row_of[item.vehicle_id],
            kind=DueKind.FOLLOW_UP,
            source=item.source,
            period=item.period,
            what=item.what,
            part_key=item.part_key,
            position=item.position,
            safety=item.safety,
            limit_on=item.limit_on,
            due_total_km=None if item.due_total_km is None else float(item.due_total_km),
        )


def as_decimal_km(km: float | None) -> Decimal | None:
    """A distance as it is stored."""
    return None if km is None else Decimal(str(round(km, 3)))
