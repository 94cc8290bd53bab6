"""What was seen and measured of the parts fitted now, as columns; two queries, and no object a result."""

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from django.db.models import CharField, F, FloatField, Q
from django.db.models.functions import Cast

from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.core.types import BoolArray, FloatArray, IntArray
from inspections.models import Finding, Inspection, Result
from inspections.words import InspectionState

Place = tuple[uuid.UUID, str, str]
"""Vehicle, part (or check) and position."""
NO_CELL = -1


@dataclass(frozen=True, slots=True)
class Seen:
    """Results at parts, or work that put them right: the grade, and the figure where there is one; shapes (N,).

    In the order of time.
    """

    cell: IntArray
    day: IntArray
    """Ordinal of the day."""
    km: FloatArray
    grade: IntArray
    value: FloatArray
    """NaN where nothing was measured."""
    check: IntArray
    """Place in `check_keys`."""
    occasion: IntArray
    """Equal for what was seen at one inspection, or put right of one part on one day."""
    check_keys: tuple[str, ...]

    def some(self, chosen: BoolArray | IntArray) -> "Seen":
        """Some of the rows, in the order given."""
        columns = {name: getattr(self, name)[chosen] for name in _COLUMNS}
        return replace(self, **columns)


_COLUMNS = ("cell", "day", "km", "grade", "value", "check", "occasion")


class _Checks:
    """Numbers for checks at positions, in the order of their first meeting."""

    def __init__(self) -> None:
        self.number: dict[tuple[str, str], int] = {}

    def of(self, checks: Iterable[str], positions: Iterable[str]) -> IntArray:
        number = self.number
        found = [number.setdefault(each, len(number)) for each in zip(checks, positions, strict=True)]
        return np.array(found, dtype=np.int64)

    def slots(self, catalogue: Catalogue) -> IntArray:
        """Slot of each number; NO_CELL where the catalogue has none."""
        index = catalogue.slot_index
        slots = [index.get((check.partition(".")[0], position), NO_CELL) for check, position in self.number]
        return np.array(slots, dtype=np.int64)


def load_seen(
    fleet: Fleet,
    catalogue: Catalogue,
    vehicles: Sequence[Vehicle],
    row_at: IntArray,
    fitted_day: FloatArray,
    on: date,
) -> Seen:
    """Graded results in the order of time, without those of a part since renewed, of a finding dismissed or put right.

    `row_at`, (V, S), is the row of the cells at each slot of each vehicle, NO_CELL where there is none; results there
    are left out. `fitted_day`, (K,), is the ordinal of the day a cell's part was fitted, NaN where nobody knows.
    """
    checks = _Checks()
    spans, remedies = _spans(fleet, vehicles, on)
    seen = _results(fleet, catalogue, vehicles, row_at, checks, on)
    pair = seen.check
    seen = _of_checks(seen, checks)
    since_fitted = ~(seen.day <= fitted_day[seen.cell])
    kept = since_fitted & ~_voided(seen, pair, checks, vehicles, row_at, spans, catalogue)
    seen = seen.some(kept)
    return _with_remedies(seen, catalogue, vehicles, row_at, fitted_day, remedies) if remedies else seen


def _results(
    fleet: Fleet,
    catalogue: Catalogue,
    vehicles: Sequence[Vehicle],
    row_at: IntArray,
    checks: _Checks,
    on: date,
) -> Seen:
    """All results at parts that the vehicles have; `check` is the number of check and position."""
    rows = _rows(fleet, vehicles, on)
    columns = tuple(zip(*rows, strict=True)) if rows else ((),) * 8
    inspection, vehicle_text, day_text, total_km, check_key, position, grade, value = columns
    found = dict(zip(inspection, zip(day_text, total_km, inspection, vehicle_text, strict=True), strict=True))
    inspections = sorted(found.values())
    number = {key: place for place, (_, _, key, _) in enumerate(inspections)}
    vehicle_row = {vehicle.pk: row for row, vehicle in enumerate(vehicles)}
    vehicle = np.array([vehicle_row[uuid.UUID(text)] for _, _, _, text in inspections], dtype=np.int64)
    day = np.array([date.fromisoformat(text).toordinal() for text, _, _, _ in inspections], dtype=np.int64)
    km = np.array([km for _, km, _, _ in inspections], dtype=np.float64)
    occasion = np.fromiter(map(number.__getitem__, inspection), np.int64, len(inspection))
    pair = checks.of(check_key, position)
    slot = checks.slots(catalogue)[pair] if len(pair) else pair
    cell = np.where(slot == NO_CELL, NO_CELL, row_at[vehicle[occasion], slot])
    there = np.flatnonzero(cell != NO_CELL)
    order = there[np.argsort(occasion[there], kind="stable")]
    occasion = occasion[order]
    return Seen(
        cell=cell[order],
        day=day[occasion],
        km=km[occasion],
        grade=np.array(grade, dtype=np.int64)[order],
        value=np.array(value, dtype=np.float64)[order],
        check=pair[order],
        occasion=occasion,
        check_keys=(),
    )


def _of_checks(seen: Seen, checks: _Checks) -> Seen:
    """The same with the number of the check alone, positions told apart by the cell already."""
    number: dict[str, int] = {}
    of_pair = np.array([number.setdefault(check, len(number)) for check, _ in checks.number], dtype=np.int64)
    check = of_pair[seen.check] if len(seen.check) else seen.check
    return replace(seen, check=check, check_keys=tuple(number))


def _voided(
    seen: Seen,
    pair: IntArray,
    checks: _Checks,
    vehicles: Sequence[Vehicle],
    row_at: IntArray,
    spans: Mapping[Place, Sequence[tuple[date, date]]],
    catalogue: Catalogue,
) -> BoolArray:
    """What was seen of a finding while it stood that was dismissed or put right."""
    voided = np.zeros(len(seen.cell), dtype=bool)
    row_of = {vehicle.pk: row for row, vehicle in enumerate(vehicles)}
    for (vehicle, check, position), days in spans.items():
        slot = catalogue.slot_index.get((check.partition(".")[0], position), NO_CELL)
        number = checks.number.get((check, position))
        if slot == NO_CELL or number is None:
            continue
        there = np.flatnonzero((seen.cell == row_at[row_of[vehicle], slot]) & (pair == number))
        for first, last in days:
            voided[there] |= (seen.day[there] >= first.toordinal()) & (seen.day[there] <= last.toordinal())
    return voided


def _with_remedies(
    seen: Seen,
    catalogue: Catalogue,
    vehicles: Sequence[Vehicle],
    row_at: IntArray,
    fitted_day: FloatArray,
    remedies: Sequence["_Remedy"],
) -> Seen:
    """Work that put a part right without renewing it is a look at it that saw it sound."""
    row_of = {vehicle.pk: row for row, vehicle in enumerate(vehicles)}
    number = {check: place for place, check in enumerate(seen.check_keys)}
    work: dict[tuple[int, int], int] = {}
    set_anew: dict[tuple[int, int], int] = {}
    rows = []
    occasions = int(seen.occasion.max(initial=-1)) + 1
    for vehicle, put_right_on, km, check, position in remedies:
        slot = catalogue.slot_index.get((check.partition(".")[0], position), NO_CELL)
        cell = NO_CELL if slot == NO_CELL else int(row_at[row_of[vehicle], slot])
        day = put_right_on.toordinal()
        if cell == NO_CELL or day <= fitted_day[cell]:
            continue
        # Several findings of a part put right on one day are one look at it.
        one = work.setdefault((cell, day), occasions + len(work))
        key = number.setdefault(check, len(number))
        rows.append((cell, day, float(km), int(Grade.SOUND), np.nan, key, one))
        set_anew[cell, key] = day
    if not rows:
        return seen
    value = seen.value.copy()
    for (cell, key), day in set_anew.items():
        # A figure that was put right says nothing of the figure now.
        value[(seen.cell == cell) & (seen.check == key) & (seen.day <= day)] = np.nan
    before = replace(seen, value=value, check_keys=tuple(number))
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(before, name), np.array(added, dtype=getattr(before, name).dtype)])
        for name, added in zip(_COLUMNS, zip(*rows, strict=True), strict=True)
    }
    whole = replace(before, **columns)
    # A finding is put right after it was seen: on the same day at the same distance, the remedy comes last.
    return whole.some(np.lexsort((whole.km, whole.day)))


def _rows(fleet: Fleet, vehicles: Sequence[Vehicle], on: date) -> list[tuple[Any, ...]]:
    """Results with what is said of their inspections: ids and days as text, which takes no object a row."""
    # Their inspections are found first, by vehicle: nobody goes through the results of the whole fleet.
    inspections = Inspection.objects.within(fleet).filter(
        vehicle__in=vehicles, state=InspectionState.COMPLETED, inspected_on__lte=on
    )
    results = Result.objects.within(fleet).filter(inspection__in=inspections, grade__isnull=False)
    said = (
        Cast("inspection_id", CharField()),
        Cast("inspection__vehicle_id", CharField()),
        Cast("inspection__inspected_on", CharField()),
        Cast("inspection__reading__total_km", FloatField()),
    )
    return list(results.order_by().values_list(*said, "check_key", "position", F("grade"), F("value")))


_Remedy = tuple[uuid.UUID, date, Any, str, str]
"""Vehicle, day, total km, check and position."""


def _spans(
    fleet: Fleet, vehicles: Sequence[Vehicle], on: date
) -> tuple[dict[Place, list[tuple[date, date]]], list[_Remedy]]:
    """When findings stood that are dismissed or put right, and where work did that without renewing; one query.

    What was seen of a defect that was put right speaks of the defect, not of how far the part is worn.
    """
    spans: dict[Place, list[tuple[date, date]]] = {}
    remedied: list[_Remedy] = []
    rows = Finding.objects.within(fleet).filter(vehicle__in=vehicles)
    rows = rows.filter(Q(dismissed=True) | Q(remedied_total_km__isnull=False)).order_by("closed_on", "id")
    for vehicle_id, check_key, position, first, last, closed_on, km in rows.values_list(
        "vehicle_id", "check_key", "position", "opened_on", "seen_on", "closed_on", "remedied_total_km"
    ):
        if km is None or (closed_on is not None and closed_on <= on):
            spans.setdefault((vehicle_id, check_key, position), []).append((first, last))
        if km is not None and closed_on is not None and closed_on <= on:
            remedied.append((vehicle_id, closed_on, km, check_key, position))
    return spans, remedied


def merged(seen: Seen) -> Seen:
    """One look a cell and occasion: a part is as bad as the worst its checks last said of it."""
    grade = seen.grade.copy()
    last = np.ones(len(grade), dtype=bool)
    for rows in _of_several_checks(seen):
        said: dict[int, int] = {}
        latest: dict[int, int] = {}
        columns = (column[rows].tolist() for column in (seen.check, seen.grade, seen.occasion))
        for row, check, graded, occasion in zip(rows, *columns, strict=True):
            said[check] = graded
            grade[row] = max(said.values())
            last[latest.get(occasion, row)] = False
            last[row], latest[occasion] = True, row
    return replace(seen, grade=grade).some(last)


def _of_several_checks(seen: Seen) -> Iterator[list[int]]:
    """Rows of each cell that several checks, or several words at one occasion, speak of, in the order of time."""
    order = np.argsort(seen.cell, kind="stable")
    cell, check, occasion = seen.cell[order], seen.check[order], seen.occasion[order]
    same = cell[1:] == cell[:-1]
    odd = np.zeros(len(cell), dtype=bool)
    odd[1:] = same & ((check[1:] != check[:-1]) | (occasion[1:] == occasion[:-1]))
    starts = np.flatnonzero(np.append(True, ~same)) if len(cell) else np.zeros(0, dtype=np.int64)
    ends = np.append(starts[1:], len(cell))
    count = np.add.reduceat(odd, starts) if len(starts) else starts
    for group in np.flatnonzero(count).tolist():
        yield order[starts[group] : ends[group]].tolist()
