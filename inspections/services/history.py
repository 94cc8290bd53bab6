"""A batch of vehicles as the core wants it: what is fitted, how far it went, what was seen. Six queries, always."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.kernel.dates import years_between
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import PriceBook
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, LifeBook, Looks
from inspections.models import FittedPart
from inspections.services.beliefs import fleet_beliefs
from inspections.services.costs import fleet_prices
from inspections.services.looks import Look, Place, load_looks, merged
from inspections.services.roads import Roads, load_roads
from inspections.services.wear import MeasuredParts, measured_parts

_MONTHS_PER_YEAR = 12.0


@dataclass(frozen=True, slots=True)
class Batch:
    """Vehicles of one fleet with everything the judge needs; the rows of `cells` run vehicle by vehicle."""

    fleet: Fleet
    catalogue: Catalogue
    book: LifeBook
    on: date
    vehicles: tuple[Vehicle, ...]
    roads: Roads
    cells: Cells
    looks: Looks
    last_grade: IntArray
    """Worst of the latest look of each check, shape (K,); NEVER_LOOKED where there was none."""
    since_look_km: FloatArray
    """Clock km since the last look, shape (K,); 0 where there was none."""
    measured: MeasuredParts
    life_factor: FloatArray
    """How much longer or shorter parts last on each vehicle than the book says, shape (V,): by its model."""
    prices: PriceBook
    """What jobs cost in the fleet, and who does them."""

    @property
    def km_per_year(self) -> FloatArray:
        """Own use, shape (V,)."""
        return self.roads.km_per_year


def load_batch(fleet: Fleet, vehicle_ids: Iterable[uuid.UUID], on: date) -> Batch:
    """Everything known on a day about the named vehicles of a fleet, in their order; unknown ids are left out."""
    catalogue, beliefs = default_catalogue(), fleet_beliefs(fleet)
    book = beliefs.book
    ids = list(vehicle_ids)
    found = {v.pk: v for v in Vehicle.objects.within(fleet).filter(pk__in=ids).select_related("standing")}
    vehicles = tuple(found[key] for key in ids if key in found)
    roads = load_roads(fleet, vehicles, on)
    layout = _Layout(vehicles, [catalogue.applicable_slots(v.traits) for v in vehicles])
    fittings = _fittings(fleet, vehicles, on)
    cells = _cells(catalogue, book, layout, roads, fittings, on)
    fitted_on = {place: fitted for place, (fitted, _) in fittings.items()}
    seen = load_looks(fleet, catalogue, vehicles, layout.row_of, fitted_on, on)
    looks, last_grade, last_clock = _judged_by_eye(book, layout, list(merged(seen)))
    factor = beliefs.factors_of(vehicles)
    clock = _clock_of(book, layout, seen)
    measured = measured_parts(catalogue, book, fleet.limit_scheme, cells, seen, clock, factor[cells.vehicle])
    # A part fitted since anybody looked was sound when it was fitted.
    new = (last_grade == NEVER_LOOKED) & ~np.isnan(cells.fitted_clock_km)
    last_grade, last_clock = np.where(new, Grade.SOUND, last_grade), np.where(new, cells.fitted_clock_km, last_clock)
    since = np.where(last_grade == NEVER_LOOKED, 0.0, np.maximum(cells.now_clock_km - last_clock, 0.0))
    return Batch(
        fleet, catalogue, book, on, vehicles, roads, cells, looks, last_grade, since, measured, factor,
        fleet_prices(fleet),
    )  # fmt: skip


class _Layout:
    """Which row of the cells belongs to which slot of which vehicle."""

    def __init__(self, vehicles: Sequence[Vehicle], slots: Sequence[Sequence[int]]) -> None:
        self.vehicles = vehicles
        sizes = [len(each) for each in slots]
        self.vehicle = np.repeat(np.arange(len(vehicles)), sizes)
        self.slot = np.array([slot for each in slots for slot in each], dtype=np.int64)
        starts = np.cumsum([0, *sizes]).tolist()
        # Vehicles of the same traits have the same slots, in one tuple.
        offsets = {id(each): {slot: offset for offset, slot in enumerate(each)} for each in slots}
        self._place = {
            vehicle.pk: (start, offsets[id(each)])
            for vehicle, each, start in zip(vehicles, slots, starts, strict=False)
        }

    def row_of(self, vehicle: uuid.UUID, slot: int | None) -> int | None:
        """Row of a slot of a vehicle; None where the vehicle is not of the batch or has no such slot."""
        start, offsets = self._place.get(vehicle, (0, {}))
        offset = None if slot is None else offsets.get(slot)
        return None if offset is None else start + offset


def _fittings(fleet: Fleet, vehicles: Sequence[Vehicle], on: date) -> dict[Place, tuple[date, float]]:
    """Day and total km of the parts in service whose fitting is known."""
    rows = FittedPart.objects.within(fleet).filter(vehicle__in=vehicles, removed_on=None, fitted_on__lte=on)
    values = rows.values_list("vehicle_id", "part_key", "position", "fitted_on", "fitted_total_km")
    return {(v, part, position): (fitted, float(km)) for v, part, position, fitted, km in values if fitted and km}


def _cells(
    catalogue: Catalogue,
    book: LifeBook,
    layout: _Layout,
    roads: Roads,
    fittings: Mapping[Place, tuple[date, float]],
    on: date,
) -> Cells:
    vehicle, slot = layout.vehicle, layout.slot
    fitted_km, fitted_years = np.full(len(slot), np.nan), np.full(len(slot), np.nan)
    first_used = {v.pk: v.first_used_on for v in layout.vehicles}
    for (vehicle_id, part, position), (fitted, km) in fittings.items():
        row = layout.row_of(vehicle_id, catalogue.slot_index.get((part, position)))
        if row is not None:
            fitted_km[row], fitted_years[row] = km, years_between(first_used[vehicle_id], fitted)
    now_years = np.array([max(years_between(v.first_used_on, on), 0.0) for v in layout.vehicles])
    month = np.full(len(slot), 1.0 / _MONTHS_PER_YEAR)
    per_month = book.clock_km(slot, roads.km_per_year[vehicle] / _MONTHS_PER_YEAR, month)
    return Cells(
        vehicle=vehicle,
        slot=slot,
        fitted_clock_km=book.clock_km(slot, fitted_km, fitted_years),
        now_clock_km=book.clock_km(slot, roads.now_km[vehicle], now_years[vehicle]),
        clock_km_per_month=np.maximum(per_month, 1.0),
    )


def _clock_of(book: LifeBook, layout: _Layout, looks: Sequence[Look]) -> FloatArray:
    """Clock of each look's part when it was looked at, shape (N,)."""
    cell = np.array([look.cell for look in looks], dtype=np.int64)
    first_used = [layout.vehicles[row].first_used_on for row in layout.vehicle[cell]]
    years = np.array([years_between(first, look.on) for first, look in zip(first_used, looks, strict=True)])
    km = np.array([look.km for look in looks], dtype=np.float64)
    return book.clock_km(layout.slot[cell], km, years.astype(np.float64))


def _judged_by_eye(book: LifeBook, layout: _Layout, seen: Sequence[Look]) -> tuple[Looks, IntArray, FloatArray]:
    """The looks sorted by cell, and the last grade and clock of each cell (K,)."""
    cell = np.array([look.cell for look in seen], dtype=np.int64)
    grade = np.array([look.grade for look in seen], dtype=np.int64)
    clock = _clock_of(book, layout, seen)
    order = np.argsort(cell, kind="stable")
    last_grade, last_clock = np.full(len(layout.slot), NEVER_LOOKED, dtype=np.int64), np.zeros(len(layout.slot))
    # They come in the order of time, so that the last assignment is the last look.
    last_grade[cell], last_clock[cell] = grade, clock
    return Looks(cell[order], clock[order], grade[order]), last_grade, last_clock
