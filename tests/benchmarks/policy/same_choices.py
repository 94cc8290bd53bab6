"""The same two years told twice: through the real use-cases on a database, and through the benchmark's adapter.

Three cars of the catalogue, a month at a time. What the cars go through is written into the product by
`record_inspection` and `fit_part`, its backlog is computed and stored by `assess_vehicles`, and the same facts go into
the adapter's arrays. Both then rank the jobs; the household does what the backlog says, as far as its money goes.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import time_machine

from fleetcare.fleet.access import Access, system_access
from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.fleet.services.vehicles import add_vehicle
from fleetcare.kernel.dates import add_months, years_between
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import Money
from fleetcare.support.bell import bell_held
from inspections.catalogue.grading import grade_measurement
from inspections.catalogue.loader import default_catalogue
from inspections.core.types import IntArray
from inspections.services.parts import fit_part
from inspections.services.recording import record_inspection
from inspections.services.roads import load_roads
from inspections.words import Removal
from scheduling.core.types import Backlog
from scheduling.models import StoredBacklog
from scheduling.services.assess import assess_vehicles
from tests.benchmarks.policy.catalogue_trade import catalogue_trade, usual_checks
from tests.benchmarks.policy.decider import Decider, by_life_filter
from tests.benchmarks.policy.record import Record
from tests.benchmarks.policy.truth import Cars, draw_fleet

BEGIN = date(2020, 3, 2)
CARS, MONTHS, LOOK_EVERY_MONTHS = 3, 24, 9
EUR_PER_MONTH = 450.0
NOTICED_PER_MONTH = 0.15

Ranked = tuple[str, tuple[str, ...], str, float]
"""Job, positions, cost now and worth per cost of one line of a backlog."""


@dataclass(frozen=True, slots=True)
class Month:
    """What both said of one car on one day."""

    on: date
    car: int
    by_use_cases: tuple[Ranked, ...]
    by_adapter: tuple[Ranked, ...]


class TwoTellings:
    """A household in a database and in arrays."""

    def __init__(self, fleet: Fleet, seed: int) -> None:
        self.access: Access = system_access(fleet)
        self.catalogue = default_catalogue()
        self.trade = catalogue_trade(self.catalogue, fleet.limit_scheme)
        luck = draw_fleet(self.trade, CARS, seed)
        self.cars = Cars(self.trade, [luck])
        self.start_km = luck.odometer_km
        self.first_used = [BEGIN - timedelta(days=round(365.25 * age)) for age in luck.age_years]
        self.vehicles = [self._vehicle(number) for number in range(CARS)]
        self.record = Record(self.trade.book, CARS)
        self.decider = Decider(self.trade, self.record, by_life_filter(self.trade, self.record))
        self.checks = usual_checks(self.catalogue, self.trade)
        self.shows = np.isin(self.record.slot, list(self.checks)) & self.cars.visible
        self.pot_eur = 0.0
        self.jobs_done = 0

    def _vehicle(self, number: int) -> Vehicle:
        return add_vehicle(self.access, name=f"Car {number}", first_used_on=self.first_used[number])

    def told(self) -> list[Month]:
        """Two years; each month's verdicts before anything is done about them."""
        months: list[Month] = []
        for month in range(MONTHS):
            on = add_months(BEGIN, month)
            with time_machine.travel(datetime.combine(on, time(12), UTC), tick=False):
                self._happen(month, on)
                months += self._ranked(month, on)
        return months

    def _happen(self, month: int, on: date) -> None:
        """What broke since last month, what drivers notice, and a look where one is due."""
        self._stand_at(month, on)
        if month:
            self._fit(self.cars.drive().failed, on, Removal.FAILED)
        looked = np.flatnonzero((np.arange(CARS) * 3 + month) % LOOK_EVERY_MONTHS == 0) if month else np.arange(CARS)
        noticed = self.cars.noticed(month, NOTICED_PER_MONTH)
        noticed = noticed[self.shows[noticed]]
        fresh = self.record.fitted == self.record.now
        rows = np.flatnonzero(self.shows & np.isin(self.record.car, looked) & ~fresh)
        self._look(month, on, rows)
        self._look(month, on, np.setdiff1d(noticed[self.record.last_grade[noticed] < Grade.DANGEROUS], rows))

    def _stand_at(self, month: int, on: date) -> None:
        self.km = [int(start + month * own) for start, own in zip(self.start_km, self.cars.km_per_month, strict=True)]
        years = np.array([years_between(first, on) for first in self.first_used])
        self.record.at(month, np.array(self.km, dtype=np.float64), years)

    def _look(self, month: int, on: date, rows: IntArray) -> None:
        """Writes what is seen at these parts into the database and into the arrays."""
        grade, reading = self.cars.seen(month, rows)
        for car in np.unique(self.record.car[rows]).tolist():
            at = np.flatnonzero(self.record.car[rows] == car)
            results = [self._result(int(rows[n]), Grade(int(grade[n])), float(reading[n])) for n in at]
            with bell_held():
                record_inspection(
                    self.access,
                    self.vehicles[car],
                    inspected_on=on,
                    shown_km=Decimal(self.km[car]),
                    results=[each.said for each in results],
                )
            grades, values = np.array([each.grade for each in results]), np.array([each.value for each in results])
            self.record.look(rows[at], grades, values)

    def _result(self, row: int, grade: Grade, reading: float) -> "_Result":
        part, position = self.trade.places[self.record.slot[row]]
        check = self.checks[self.record.slot[row]]
        said: dict[str, Any] = {"check": f"{part}.{check.key}", "position": position}
        measured = check.measurement
        if measured is None or not measured.wears:
            return _Result(said | {"grade": grade.word}, grade, np.nan)
        value = round(float(np.clip(reading, measured.least, measured.most)), 2)
        graded = grade_measurement(measured, value, self.access.fleet.limit_scheme)
        return _Result(said | {"measurement": {"value": value, "unit": measured.unit}}, graded, value)

    def _fit(self, rows: IntArray, on: date, removal: Removal) -> None:
        """Writes new parts into the database and into the arrays."""
        for row in rows.tolist():
            part, position = self.trade.places[self.record.slot[row]]
            car = int(self.record.car[row])
            with bell_held():
                fit_part(
                    self.access,
                    self.vehicles[car],
                    part_key=part,
                    position=position,
                    fitted_on=on,
                    shown_km=Decimal(self.km[car]),
                    removal=removal,
                )
        self.record.fitted_new(rows)

    def _ranked(self, month: int, on: date) -> list[Month]:
        """Both backlogs of every car; then what the use-cases' one says is done."""
        documents = self._by_use_cases()
        adapted = self._by_adapter(on)
        self._stand_at(month, on)
        self._do(documents, on)
        return [
            Month(on, car, _of_document(documents[car]), _of_backlog(adapted[car], self.access.fleet.currency))
            for car in range(CARS)
        ]

    def _by_use_cases(self) -> list[dict[str, Any]]:
        assess_vehicles(self.access.fleet.pk, [vehicle.pk for vehicle in self.vehicles])
        stored = StoredBacklog.objects.within(self.access.fleet)
        documents = dict(stored.values_list("vehicle_id", "document"))
        return [documents[vehicle.pk] for vehicle in self.vehicles]

    def _by_adapter(self, on: date) -> list[Backlog]:
        """Distance and use are what the product estimates from the same odometer readings."""
        roads = load_roads(self.access.fleet, self.vehicles, on)
        years = np.array([years_between(first, on) for first in self.first_used])
        self.record.at(self.record.month, roads.now_km, years)
        self.record.used(roads.km_per_year / 12.0)
        ranking = self.decider.ranking(self.record.last_grade)
        return [ranking.of(car) for car in range(CARS)]

    def _do(self, documents: list[dict[str, Any]], on: date) -> None:
        """The household works through its cars' lists while the money lasts."""
        self.pot_eur += EUR_PER_MONTH
        slot_of = {place: slot for slot, place in enumerate(self.trade.places)}
        for car, document in enumerate(documents):
            for item in document["items"]:
                cost_eur = float(item["cost_now"]["amount"])
                if cost_eur <= self.pot_eur:
                    self.pot_eur -= cost_eur
                    self.jobs_done += 1
                    slots = [slot_of[item["part"], position] for position in item["positions"] or [""]]
                    rows = car * self.trade.slots + np.array(slots)
                    self.cars.renew(rows)
                    self._fit(rows, on, Removal.WORN_OUT)


@dataclass(frozen=True, slots=True)
class _Result:
    said: dict[str, Any]
    grade: Grade
    value: float


def _of_document(document: dict[str, Any]) -> tuple[Ranked, ...]:
    listed = [*document["items"], *document["can_wait"]]
    return tuple(
        (item["job"], tuple(item["positions"]), item["cost_now"]["amount"], item["worth_per_cost"]) for item in listed
    )


def _of_backlog(backlog: Backlog, currency: str) -> tuple[Ranked, ...]:
    listed = [*backlog.items, *backlog.can_wait]
    return tuple(
        (
            item.job,
            item.positions,
            Money(item.cost_now_minor, currency).as_json()["amount"],
            round(item.worth_per_cost, 3),
        )
        for item in listed
    )
