"""Five years of fleets under one policy, and what they cost."""

from collections import defaultdict
from dataclasses import dataclass, fields

import numpy as np

from inspections.core.types import FloatArray, IntArray
from scheduling.core.types import JobWork
from tests.benchmarks.policy.policies import Policy, Wishes
from tests.benchmarks.policy.purse import SURPRISE_SHARE, Purses
from tests.benchmarks.policy.record import Record
from tests.benchmarks.policy.trade import (
    EXTRA_LOOK_HOURS,
    EXTRA_SETUP_HOURS,
    LABOUR_EUR,
    MAJOR_SHARE_OF_DANGER,
    MINOR,
    Trade,
)
from tests.benchmarks.policy.truth import MONTHS, Cars, Luck

LOOK_EUR, LOOK_HOURS = 63.5, 1.3
"""One inspection of a whole car."""
NOTICED_PER_MONTH = 0.15
_DANGEROUS = 3


@dataclass(frozen=True, slots=True)
class Ledger:
    """Sums over the story for each fleet, shape (F,); money in euros."""

    planned: FloatArray
    unplanned: FloatArray
    inspections: FloatArray
    exposure: FloatArray
    consumed: FloatArray
    """Life used up at the end, less that at the start, at the price of the planned jobs."""
    km: FloatArray
    failures: FloatArray
    tows: FloatArray
    any_dangerous_km: FloatArray
    """With at least one part dangerous."""
    unsafe_km: FloatArray
    """With at least one safety part dangerous."""
    looks: FloatArray
    extra_looks: FloatArray
    """At single parts, between inspections."""
    jobs: FloatArray

    @classmethod
    def blank(cls, fleets: int) -> "Ledger":
        """Nothing has happened yet."""
        return cls(*(np.zeros(fleets) for _ in fields(cls)))

    @classmethod
    def joined(cls, ledgers: list["Ledger"]) -> "Ledger":
        """Several stories' fleets, one after the other."""
        return cls(*(np.concatenate([getattr(each, field.name) for each in ledgers]) for field in fields(cls)))

    @property
    def eur_per_1000_km(self) -> FloatArray:
        """Total cost for the distance."""
        total = self.planned + self.unplanned + self.inspections + self.exposure + self.consumed
        return np.asarray(1000.0 * total / self.km)


class Story:
    """Fleets looked after by one policy; `believed` is the trade as the planner's book has it."""

    def __init__(
        self,
        trade: Trade,
        believed: Trade,
        fleets: list[Luck],
        policy: Policy,
        eur_per_car: float,
        *,
        debt: bool,
        skipped: float = 0.0,
    ) -> None:
        self.trade, self.policy, self.skipped = trade, policy, skipped
        self.cars = Cars(trade, fleets)
        self.fleet = self.cars.fleet_of_car
        self.start_km, self.start_years, second, known = (
            np.concatenate([getattr(each, name) for each in fleets])
            for name in ("odometer_km", "age_years", "second_look_fraction", "fitting_known")
        )
        self.record = Record(believed.book, self.cars.cars)
        self.record.used(self.cars.km_per_month)
        self._turn_to(0)
        self.record.fitted[known] = (self.record.now - self.cars.position)[known]
        self.choose = policy.chooser(believed, self.record, self.cars)
        self.look_first = policy.looker(believed, self.record) if policy.looker else None
        self.purses = Purses(np.bincount(self.fleet), eur_per_car, debt=debt)
        self.ledger = Ledger.blank(len(fleets))
        self.open: dict[int, set[str]] = defaultdict(set)
        self.interval = policy.look_months(self.cars.km_per_month)
        self.second_look = self.interval * second
        self.next_look = np.zeros(self.cars.cars)

    def told(self) -> Ledger:
        """The whole story."""
        self._count_used(-1.0)
        for month in range(MONTHS):
            self.purses.next_month()
            self._look(month)
            self._notice(month)
            self._look_first(month)
            self._repair(self.choose())
            self.open.clear()
            self._drive(month)
        self._count_used(1.0)
        return self.ledger

    def _turn_to(self, month: int) -> None:
        km = self.start_km + month * self.cars.km_per_month
        self.record.at(month, km, self.start_years + month / 12.0)

    def _count_used(self, sign: float) -> None:
        used = self.cars.used_fraction() * self.trade.planned_eur[self.cars.slot]
        np.add.at(self.ledger.consumed, self.fleet[self.cars.car], sign * used)

    def _look(self, month: int) -> None:
        """Everybody takes stock at the start; later looks come at each car's own interval, out of step."""
        due = np.flatnonzero(self.next_look <= month)
        self.next_look[due] = np.where(month == 0, self.second_look[due], self.next_look[due] + self.interval[due])
        if self.policy.knows_all:
            return
        rows = (due[:, None] * self.trade.slots + np.arange(self.trade.slots)).ravel()
        rows = rows[self.cars.visible[rows] & ~self.cars.left_out(month, rows, self.skipped)]
        self.record.look(rows, *self.cars.seen(month, rows))
        self.purses.pay(self.fleet[due], np.full(len(due), LOOK_EUR), LOOK_HOURS)
        np.add.at(self.ledger.inspections, self.fleet[due], LOOK_EUR)
        np.add.at(self.ledger.looks, self.fleet[due], 1.0)

    def _look_first(self, month: int) -> None:
        """Looks at single parts that the policy asks for, as far as the hours and the money go."""
        if self.look_first is None:
            return
        rows = self.look_first()
        for car in np.unique(self.cars.car[rows]).tolist():
            mine = rows[self.cars.car[rows] == car]
            fleet, hours = int(self.fleet[car]), EXTRA_SETUP_HOURS + EXTRA_LOOK_HOURS * len(mine)
            if self.purses.can_pay(fleet, hours * LABOUR_EUR, hours):
                self.record.look(mine, *self.cars.seen(month, mine))
                self.purses.pay(np.array([fleet]), np.array([hours * LABOUR_EUR]), hours)
                self.ledger.inspections[fleet] += hours * LABOUR_EUR
                self.ledger.extra_looks[fleet] += len(mine)

    def _notice(self, month: int) -> None:
        rows = self.cars.noticed(month, NOTICED_PER_MONTH)
        rows = rows[self.record.last_grade[rows] < _DANGEROUS]
        self.record.look(rows, np.full(len(rows), _DANGEROUS))

    def _repair(self, wishes: Wishes) -> None:
        """Works through the list while money and hours last."""
        done = []
        for row, worth in zip(wishes.rows.tolist(), wishes.worth_minor.tolist(), strict=True):
            car = int(self.cars.car[row])
            work = self.trade.jobs[self.cars.slot[row]][0].work
            eur, hours = self._cost_now(car, work)
            if eur * MINOR < worth and self.purses.can_pay(int(self.fleet[car]), eur, hours):
                self._pay_job(int(self.fleet[car]), eur, hours)
                self._open(car, work)
                done.append(row)
        rows = np.array(done, dtype=np.int64)
        self.cars.renew(rows)
        self.record.fitted_new(rows)

    def _cost_now(self, car: int, work: JobWork) -> tuple[float, float]:
        """Euros and hours of a job with what is still closed at this car."""
        closed = [each for each in (*work.access, *work.follow_ups) if each.key not in self.open[car]]
        hours = work.hours + sum(each.hours for each in closed)
        outlay = work.parts_minor + sum(each.outlay_minor for each in closed)
        return outlay / MINOR + hours * LABOUR_EUR, hours

    def _open(self, car: int, work: JobWork) -> None:
        self.open[car].update(each.key for each in (*work.access, *work.follow_ups))

    def _pay_job(self, fleet: int, eur: float, hours: float) -> None:
        self.purses.pay(np.array([fleet]), np.array([eur]), hours)
        self.ledger.planned[fleet] += eur
        self.ledger.jobs[fleet] += 1.0

    def _drive(self, month: int) -> None:
        trip = self.cars.drive()
        self._turn_to(month + 1)
        harmful_km = trip.dangerous_km + MAJOR_SHARE_OF_DANGER * trip.major_km
        exposure = self.trade.danger_eur_per_km[self.cars.slot] * harmful_km
        np.add.at(self.ledger.exposure, self.fleet[self.cars.car], exposure)
        np.add.at(self.ledger.km, self.fleet, self.cars.km_per_month)
        np.add.at(self.ledger.any_dangerous_km, self.fleet, trip.any_dangerous_km)
        np.add.at(self.ledger.unsafe_km, self.fleet, trip.unsafe_km)
        self._break_down(trip.failed, trip.failed_at_fraction)

    def _break_down(self, failed: IntArray, at: FloatArray) -> None:
        """What failed was renewed on the spot; the access it took stays open for this month's jobs."""
        slot, car = self.cars.slot[failed], self.cars.car[failed]
        bill, fleet = self.trade.failure_eur[slot], self.fleet[car]
        self.record.fitted_new(failed, (1.0 - at) * self.record.per_month[failed], failed=True)
        self.purses.pay(fleet, SURPRISE_SHARE * bill)
        np.add.at(self.ledger.unplanned, fleet, bill)
        np.add.at(self.ledger.failures, fleet, 1.0)
        np.add.at(self.ledger.tows, fleet, self.trade.tow[slot])
        for of, where in zip(slot.tolist(), car.tolist(), strict=True):
            self._open(where, self.trade.jobs[of][0].work)
