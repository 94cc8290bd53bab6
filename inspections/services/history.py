"""A batch of vehicles as the core wants it: what is fitted, how far it went, what was seen. Seven queries, always."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain

import numpy as np

from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.kernel.dates import DAYS_PER_YEAR, years_between
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import PriceBook
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, LifeBook, Looks
from inspections.models import FittedPart
from inspections.services.beliefs import fleet_beliefs
from inspections.services.costs import fleet_prices
from inspections.services.looks import NO_CELL, Seen, load_seen, merged
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
    layout = _Layout(vehicles, [catalogue.applicable_slots(v.traits) for v in vehicles], len(catalogue.slots))
    fittings = _fittings(fleet, catalogue, layout, on)
    cells = _cells(book, layout, roads, fittings, on)
    fitted_day = np.full(len(cells.slot), np.nan)
    fitted_day[list(fittings)] = [fitted.toordinal() for fitted, _ in fittings.values()]
    seen = load_seen(fleet, catalogue, vehicles, layout.row_at, fitted_day, on)
    looks, last_grade, last_clock = _judged_by_eye(book, layout, merged(seen))
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

    def __init__(self, vehicles: Sequence[Vehicle], slots: Sequence[Sequence[int]], slot_count: int) -> None:
        self.vehicles = vehicles
        sizes = [len(each) for each in slots]
        self.vehicle = np.repeat(np.arange(len(vehicles)), sizes)
        self.slot = np.fromiter(chain.from_iterable(slots), np.int64, sum(sizes))
        self.row_at = np.full((len(vehicles), slot_count), NO_CELL)
        """Row of a slot of a vehicle, (V, S); NO_CELL where the vehicle has no such slot."""
        self.row_at[self.vehicle, self.slot] = np.arange(len(self.slot))
        self.first_used_day = np.array([v.first_used_on.toordinal() for v in vehicles], dtype=np.int64)


_Fittings = dict[int, tuple[date, float]]
"""Day and total km of fitting, by row of the cells."""


def _fittings(fleet: Fleet, catalogue: Catalogue, layout: _Layout, on: date) -> _Fittings:
    """The parts in service whose fitting is known."""
    rows = FittedPart.objects.within(fleet).filter(vehicle__in=layout.vehicles, removed_on=None, fitted_on__lte=on)
    row_of = {vehicle.pk: row for row, vehicle in enumerate(layout.vehicles)}
    found: _Fittings = {}
    for vehicle, part, position, fitted, km in rows.values_list(
        "vehicle_id", "part_key", "position", "fitted_on", "fitted_total_km"
    ):
        slot = catalogue.slot_index.get((part, position))
        cell = NO_CELL if slot is None else int(layout.row_at[row_of[vehicle], slot])
        if cell != NO_CELL and fitted and km:
            found[cell] = fitted, float(km)
    return found


def _cells(book: LifeBook, layout: _Layout, roads: Roads, fittings: _Fittings, on: date) -> Cells:
    vehicle, slot = layout.vehicle, layout.slot
    fitted_km, fitted_years = np.full(len(slot), np.nan), np.full(len(slot), np.nan)
    for row, (fitted, km) in fittings.items():
        first_used = layout.vehicles[int(vehicle[row])].first_used_on
        fitted_km[row], fitted_years[row] = km, years_between(first_used, fitted)
    now_years = np.maximum((on.toordinal() - layout.first_used_day) / DAYS_PER_YEAR, 0.0)
    month = np.full(len(slot), 1.0 / _MONTHS_PER_YEAR)
    per_month = book.clock_km(slot, roads.km_per_year[vehicle] / _MONTHS_PER_YEAR, month)
    return Cells(
        vehicle=vehicle,
        slot=slot,
        fitted_clock_km=book.clock_km(slot, fitted_km, fitted_years),
        now_clock_km=book.clock_km(slot, roads.now_km[vehicle], now_years[vehicle]),
        clock_km_per_month=np.maximum(per_month, 1.0),
    )


def _clock_of(book: LifeBook, layout: _Layout, seen: Seen) -> FloatArray:
    """Clock of each look's part when it was looked at, shape (N,)."""
    years = (seen.day - layout.first_used_day[layout.vehicle[seen.cell]]) / DAYS_PER_YEAR
    return book.clock_km(layout.slot[seen.cell], seen.km, years)


def _judged_by_eye(book: LifeBook, layout: _Layout, seen: Seen) -> tuple[Looks, IntArray, FloatArray]:
    """The looks sorted by cell, and the last grade and clock of each cell (K,)."""
    cell, grade, clock = seen.cell, seen.grade, _clock_of(book, layout, seen)
    order = np.argsort(cell, kind="stable")
    last_grade, last_clock = np.full(len(layout.slot), NEVER_LOOKED, dtype=np.int64), np.zeros(len(layout.slot))
    # They come in the order of time, so that the last assignment is the last look.
    last_grade[cell], last_clock[cell] = grade, clock
    return Looks(cell[order], clock[order], grade[order]), last_grade, last_clock
