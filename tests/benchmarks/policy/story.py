"""Five years of fleets under one policy, and what they cost."""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from inspections.core.types import FloatArray, IntArray
from tests.benchmarks.policy.policies import Policy, Wishes
from tests.benchmarks.policy.purse import SURPRISE_SHARE, Purses
from tests.benchmarks.policy.record import Fleets, Record
from tests.benchmarks.policy.trade import LOOK_EUR, LOOK_HOURS, MAJOR_SHARE_OF_DANGER, MINOR, Trade
from tests.benchmarks.policy.truth import MONTHS, Cars, Luck

NOTICED_PER_MONTH = 0.15
_DANGEROUS = 3


@dataclass
class Ledger:
    """Sums over the story for each fleet (F,); money in euros."""

    fleets: int
    planned: FloatArray = field(init=False)
    unplanned: FloatArray = field(init=False)
    inspections: FloatArray = field(init=False)
    exposure: FloatArray = field(init=False)
    consumed: FloatArray = field(init=False)
    """Life used up at the end, less that at the start, at the price of the planned jobs."""
    km: FloatArray = field(init=False)
    failures: FloatArray = field(init=False)
    tows: FloatArray = field(init=False)
    dangerous_km: FloatArray = field(init=False)
    """With at least one part dangerous."""
    unsafe_km: FloatArray = field(init=False)
    """With at least one safety part dangerous."""
    looks: FloatArray = field(init=False)
    jobs: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            if name != "fleets":
                setattr(self, name, np.zeros(self.fleets))

    def add(self, name: str, fleet: IntArray, amount: FloatArray | float) -> None:
        """Adds to a sum of fleets, one amount each."""
        np.add.at(getattr(self, name), fleet, amount)

    @property
    def total(self) -> FloatArray:
        """Everything it cost."""
        return self.planned + self.unplanned + self.inspections + self.exposure + self.consumed

    @property
    def eur_per_1000_km(self) -> FloatArray:
        """Total cost for the distance."""
        return 1000.0 * self.total / self.km


class Story:
    """Fleets looked after by one policy; `believed` is the trade as the planner's book has it."""

    def __init__(self, trade: Trade, believed: Trade, fleets: list[Luck], policy: Policy, eur_per_car: float) -> None:
        self.trade, self.policy = trade, policy
        self.cars = Cars(trade, fleets)
        self.fleet = self.cars.fleet_of_car
        self.record = _record(believed, fleets, self.cars)
        self.choose = policy.chooser(believed, self.record, self.cars)
        self.purses = Purses(np.bincount(self.fleet), eur_per_car)
        self.ledger = Ledger(len(fleets))
        self.open: dict[int, set[str]] = defaultdict(set)
        self.interval = policy.look_months(self.cars.km_per_month)
        self.second_look = self.interval * np.concatenate([each.first_look_fraction for each in fleets])
        self.next_look = np.zeros(self.cars.cars)

    def told(self) -> Ledger:
        """The whole story."""
        self._count_used(-1.0)
        for month in range(MONTHS):
            self.record.at(month)
            self.purses.next_month()
            self._look(month)
            self._notice(month)
            self._repair(self.choose())
            self.open.clear()
            self._drive(month)
        self._count_used(1.0)
        return self.ledger

    def _count_used(self, sign: float) -> None:
        used = self.cars.used_fraction() * self.trade.planned_eur[self.cars.slot]
        self.ledger.add("consumed", self.fleet[self.cars.car], sign * used)

    def _look(self, month: int) -> None:
        due = np.flatnonzero(self.next_look <= month)
        self.next_look[due] = np.where(month == 0, self.second_look[due], self.next_look[due] + self.interval[due])
        if self.policy.knows_all or not len(due):
            return
        rows = (due[:, None] * self.trade.slots + np.arange(self.trade.slots)).ravel()
        rows = rows[self.cars.visible[rows]]
        grade, worn = self.cars.seen(month, rows)
        self.record.look(rows, grade, np.where(self.trade.measured[self.cars.slot[rows]], worn, np.nan))
        self.purses.pay(self.fleet[due], np.full(len(due), LOOK_EUR), LOOK_HOURS)
        self.ledger.add("inspections", self.fleet[due], LOOK_EUR)
        self.ledger.add("looks", self.fleet[due], 1.0)

    def _notice(self, month: int) -> None:
        rows = self.cars.noticed(month, NOTICED_PER_MONTH)
        rows = rows[self.record.last_grade[rows] < _DANGEROUS]
        self.record.look(rows, np.full(len(rows), _DANGEROUS))

    def _repair(self, wishes: Wishes) -> None:
        """Works through the list while money and hours last."""
        done = []
        for row, worth in zip(wishes.rows.tolist(), wishes.worth_minor.tolist(), strict=True):
            car = int(self.cars.car[row])
            work = self.trade.works[self.cars.slot[row]]
            closed = [each for each in (*work.access, *work.follow_ups) if each.key not in self.open[car]]
            hours = work.hours + sum(each.hours for each in closed)
            minor = work.parts_minor + hours * self._rate_minor + sum(each.outlay_minor for each in closed)
            if minor >= worth or not self.purses.can_pay(int(self.fleet[car]), minor / MINOR, hours):
                continue
            self.open[car].update(each.key for each in closed)
            self._pay_job(int(self.fleet[car]), minor / MINOR, hours)
            done.append(row)
        rows = np.array(done, dtype=np.int64)
        self.cars.renew(rows)
        self.record.fitted_new(rows)

    @property
    def _rate_minor(self) -> float:
        from tests.benchmarks.policy.trade import LABOUR_EUR

        return LABOUR_EUR * MINOR

    def _pay_job(self, fleet: int, eur: float, hours: float) -> None:
        self.purses.eur[fleet] -= eur
        self.purses.hours[fleet] -= hours
        self.ledger.planned[fleet] += eur
        self.ledger.jobs[fleet] += 1.0

    def _drive(self, month: int) -> None:
        trip, slot = self.cars.drive(), self.cars.slot
        self.record.at(month + 1)
        fleet = self.fleet[self.cars.car]
        danger = self.trade.danger_eur_per_km[slot] * (trip.dangerous_km + MAJOR_SHARE_OF_DANGER * trip.major_km)
        self.ledger.add("exposure", fleet, danger)
        self.ledger.add("km", self.fleet, self.cars.km_per_month)
        self.ledger.add("dangerous_km", self.fleet, trip.any_dangerous_km)
        self.ledger.add("unsafe_km", self.fleet, trip.any_unsafe_km)
        self._break_down(trip.failed, trip.failed_at_fraction)

    def _break_down(self, failed: IntArray, at: FloatArray) -> None:
        slot, fleet = self.cars.slot[failed], self.fleet[self.cars.car[failed]]
        bill = self.trade.failure_eur[slot]
        self.record.fitted_new(failed, (1.0 - at) * self.record.per_month[failed])
        self.purses.pay(fleet, SURPRISE_SHARE * bill)
        self.ledger.add("unplanned", fleet, bill)
        self.ledger.add("failures", fleet, 1.0)
        self.ledger.add("tows", fleet, self.trade.factor_tow[slot])
        for row in failed.tolist():
            work = self.trade.works[self.cars.slot[row]]
            self.open[int(self.cars.car[row])].update(each.key for each in (*work.access, *work.follow_ups))


def _record(believed: Trade, fleets: list[Luck], cars: Cars) -> Record:
    on_road = Fleets(
        cars.fleet_of_car,
        np.concatenate([each.age_years for each in fleets]),
        np.concatenate([each.odometer_km for each in fleets]),
        cars.km_per_month,
    )
    known = np.concatenate([each.fitting_known for each in fleets])
    record = Record(believed.book, on_road, cars.slot, np.full(len(cars.slot), np.nan))
    record.fitted = np.where(known, record.now - cars.position, np.nan)
    return record
