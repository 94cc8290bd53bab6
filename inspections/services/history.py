"""A batch of vehicles as the core wants it: what is fitted, how far it went, what was seen. Five queries, always."""

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np

from fleetcare.fleet.models import Fleet, OdometerReading, Vehicle
from fleetcare.kernel.dates import years_between
from fleetcare.kernel.grades import Grade
from inspections.catalogue.books import life_book
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, LifeBook, Looks
from inspections.core.use_rate import km_per_year, odometer_at
from inspections.models import Finding, FittedPart, Result
from inspections.words import InspectionState

_MONTHS_PER_YEAR = 12.0
Place = tuple[uuid.UUID, str, str]


@lru_cache(maxsize=1)
def reference_book() -> LifeBook:
    """The catalogue's beliefs about lives, as arrays."""
    return life_book(default_catalogue())


@dataclass(frozen=True, slots=True)
class Batch:
    """Vehicles of one fleet with everything the judge needs; the rows of `cells` run vehicle by vehicle."""

    fleet: Fleet
    catalogue: Catalogue
    book: LifeBook
    on: date
    vehicles: tuple[Vehicle, ...]
    km_per_year: FloatArray
    """Own use, shape (V,)."""
    cells: Cells
    looks: Looks
    last_grade: IntArray
    """Worst of the latest look of each check, shape (K,); NEVER_LOOKED where there was none."""
    since_look_km: FloatArray
    """Clock km since the last look, shape (K,); 0 where there was none."""


@dataclass(slots=True)
class _Fitting:
    on: date | None
    total_km: float | None


@dataclass(slots=True)
class _Look:
    cell: int
    on: date
    km: float
    grade: int


def load_batch(fleet: Fleet, vehicle_ids: Iterable[uuid.UUID], on: date) -> Batch:
    """Everything known on a day about the named vehicles of a fleet, in their order; unknown ids are left out."""
    catalogue, book = default_catalogue(), reference_book()
    ids = list(vehicle_ids)
    found = {v.pk: v for v in Vehicle.objects.within(fleet).filter(pk__in=ids).select_related("standing")}
    vehicles = tuple(found[key] for key in ids if key in found)
    roads = _roads(fleet, vehicles)
    rates = np.array([km_per_year(*roads[v.pk]) for v in vehicles])
    now_km = np.array([odometer_at(*roads[v.pk], v.first_used_on.toordinal(), on.toordinal()) for v in vehicles])
    now_years = np.array([max(years_between(v.first_used_on, on), 0.0) for v in vehicles])
    slots = [catalogue.applicable_slots(v.traits) for v in vehicles]
    layout = _Layout(vehicles, slots)
    fittings = _fittings(fleet, vehicles)
    cells = _cells(catalogue, book, layout, now_km, now_years, rates, fittings)
    looks, last_grade, last_clock = _looks(fleet, catalogue, book, layout, fittings)
    # A part fitted since anybody looked was sound when it was fitted.
    new = (last_grade == NEVER_LOOKED) & ~np.isnan(cells.fitted_clock_km)
    last_grade, last_clock = np.where(new, Grade.SOUND, last_grade), np.where(new, cells.fitted_clock_km, last_clock)
    since = np.where(last_grade == NEVER_LOOKED, 0.0, np.maximum(cells.now_clock_km - last_clock, 0.0))
    return Batch(fleet, catalogue, book, on, vehicles, rates, cells, looks, last_grade, since)


class _Layout:
    """Which row of the cells belongs to which slot of which vehicle."""

    def __init__(self, vehicles: Sequence[Vehicle], slots: Sequence[Sequence[int]]) -> None:
        self.vehicles = vehicles
        sizes = [len(each) for each in slots]
        self.vehicle = np.repeat(np.arange(len(vehicles)), sizes)
        self.slot = np.array([slot for each in slots for slot in each], dtype=np.int64)
        starts = np.concatenate([[0], np.cumsum(sizes)])
        self.row: dict[tuple[uuid.UUID, int], int] = {
            (vehicle.pk, slot): int(start) + offset
            for vehicle, each, start in zip(vehicles, slots, starts, strict=False)
            for offset, slot in enumerate(each)
        }


def _roads(fleet: Fleet, vehicles: Sequence[Vehicle]) -> dict[uuid.UUID, tuple[list[int], list[float]]]:
    """Days and distances of each vehicle's readings, in the order of the road."""
    roads: dict[uuid.UUID, tuple[list[int], list[float]]] = {v.pk: ([], []) for v in vehicles}
    rows = OdometerReading.objects.within(fleet).filter(vehicle__in=vehicles).order_by("read_on", "total_km")
    for vehicle_id, read_on, total_km in rows.values_list("vehicle_id", "read_on", "total_km"):
        days, distances = roads[vehicle_id]
        days.append(read_on.toordinal())
        distances.append(float(total_km))
    return roads


def _fittings(fleet: Fleet, vehicles: Sequence[Vehicle]) -> dict[Place, _Fitting]:
    rows = FittedPart.objects.within(fleet).filter(vehicle__in=vehicles, removed_on=None)
    values = rows.values_list("vehicle_id", "part_key", "position", "fitted_on", "fitted_total_km")
    return {
        (v, part, position): _Fitting(on, None if km is None else float(km)) for v, part, position, on, km in values
    }


def _cells(
    catalogue: Catalogue,
    book: LifeBook,
    layout: _Layout,
    now_km: FloatArray,
    now_years: FloatArray,
    rates: FloatArray,
    fittings: dict[Place, _Fitting],
) -> Cells:
    vehicle, slot = layout.vehicle, layout.slot
    fitted_km = np.full(len(slot), np.nan)
    fitted_years = np.full(len(slot), np.nan)
    first_used = {v.pk: v.first_used_on for v in layout.vehicles}
    for (vehicle_id, part, position), fitting in fittings.items():
        row = layout.row.get((vehicle_id, catalogue.slot_index.get((part, position), -1)))
        if row is not None and fitting.on is not None and fitting.total_km is not None:
            fitted_km[row], fitted_years[row] = fitting.total_km, years_between(first_used[vehicle_id], fitting.on)
    per_month = book.clock_km(slot, rates[vehicle] / _MONTHS_PER_YEAR, np.full(len(slot), 1 / _MONTHS_PER_YEAR))
    return Cells(
        vehicle=vehicle,
        slot=slot,
        fitted_clock_km=book.clock_km(slot, fitted_km, fitted_years),
        now_clock_km=book.clock_km(slot, now_km[vehicle], now_years[vehicle]),
        clock_km_per_month=np.maximum(per_month, 1.0),
    )


def _looks(
    fleet: Fleet, catalogue: Catalogue, book: LifeBook, layout: _Layout, fittings: dict[Place, _Fitting]
) -> tuple[Looks, IntArray, FloatArray]:
    """Every look at what is fitted now. A part is as bad as the worst its checks last said of it."""
    seen = list(_merged(_rows_of_looks(fleet, catalogue, layout, fittings)))
    cell = np.array([look.cell for look in seen], dtype=np.int64)
    order = np.argsort(cell, kind="stable")
    first_used = [v.first_used_on for v in layout.vehicles]
    vehicle_row = layout.vehicle[cell] if len(cell) else cell
    years = np.array([years_between(first_used[row], look.on) for row, look in zip(vehicle_row, seen, strict=True)])
    km = np.array([look.km for look in seen], dtype=np.float64)
    clock = book.clock_km(layout.slot[cell], km, years) if len(cell) else np.zeros(0)
    grade = np.array([look.grade for look in seen], dtype=np.int64)
    last_grade = np.full(len(layout.slot), NEVER_LOOKED, dtype=np.int64)
    last_clock = np.zeros(len(layout.slot))
    # Rows come in the order of time, so that the last assignment is the last look.
    last_grade[cell], last_clock[cell] = grade, clock
    return Looks(cell[order], clock[order], grade[order]), last_grade, last_clock


def _rows_of_looks(
    fleet: Fleet, catalogue: Catalogue, layout: _Layout, fittings: dict[Place, _Fitting]
) -> Iterator[tuple[_Look, uuid.UUID, str]]:
    """Graded results in the order of time, without those of a part since renewed or of a dismissed finding."""
    dismissed = _dismissed(fleet, layout.vehicles)
    rows = Result.objects.within(fleet).filter(
        inspection__vehicle__in=layout.vehicles, inspection__state=InspectionState.COMPLETED, grade__isnull=False
    )
    rows = rows.order_by("inspection__inspected_on", "inspection__reading__total_km", "inspection_id")
    values = rows.values_list(
        "inspection_id",
        "inspection__vehicle_id",
        "inspection__inspected_on",
        "inspection__reading__total_km",
        "check_key",
        "position",
        "grade",
    )
    for inspection_id, vehicle_id, on, km, check_key, position, grade in values:
        part = check_key.partition(".")[0]
        row = layout.row.get((vehicle_id, catalogue.slot_index.get((part, position), -1)))
        fitting = fittings.get((vehicle_id, part, position))
        renewed_since = fitting is not None and fitting.on is not None and on <= fitting.on
        voided = any(first <= on <= last for first, last in dismissed.get((vehicle_id, check_key, position), ()))
        if row is not None and not renewed_since and not voided:
            yield _Look(row, on, float(km), int(grade or 0)), inspection_id, check_key


def _dismissed(fleet: Fleet, vehicles: Sequence[Vehicle]) -> dict[Place, list[tuple[date, date]]]:
    spans: dict[Place, list[tuple[date, date]]] = {}
    rows = Finding.objects.within(fleet).filter(vehicle__in=vehicles, dismissed=True)
    for vehicle_id, check_key, position, first, last in rows.values_list(
        "vehicle_id", "check_key", "position", "opened_on", "seen_on"
    ):
        spans.setdefault((vehicle_id, check_key, position), []).append((first, last))
    return spans


def _merged(rows: Iterable[tuple[_Look, uuid.UUID, str]]) -> Iterator[_Look]:
    """One look a cell and inspection: the worst of what each of the part's checks last said."""
    said: dict[int, dict[str, int]] = {}
    merged: dict[tuple[uuid.UUID, int], _Look] = {}
    for look, inspection_id, check_key in rows:
        checks = said.setdefault(look.cell, {})
        checks[check_key] = look.grade
        look.grade = max(checks.values())
        merged[inspection_id, look.cell] = look
    yield from merged.values()
