"""The hidden truth of fleets of ageing cars: how long each part really lasts, how bad it is, what driving does to it.

It is made by other rules than the judge assumes:

- the time to the first sign is lognormal, not Weibull; the three stages are Weibull of shape 2 (CV 0.52), not gamma,
  and share the distance from sign to failure by 48, 36 and 16 %, not 50, 35 and 15 %;
- parts that are measured wear linearly, each at its own lognormal rate: with the limit (major) at 1, minor from 0.85,
  dangerous from 1.15, failed at 1.28;
- the true life of a kind of part is off the book by a factor of its own in each fleet (log sd 0.25), that of a car by
  another (0.20);
- a bad part wears others (17 couplings), which then are older than their distance says;
- looking errs by a matrix of its own, with the same misses (22, 6 and 3 % of minor, major and dangerous parts are seen
  as sound); gauges err by 2.5 % of the way to the limit.

Every life, look and notice is drawn beforehand, so that two policies meet the same car in the same month with the same
luck: differences between them are paired.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray
from tests.benchmarks.policy.trade import WORN_AT, Trade

MONTHS = 60
SPARE_LIVES = 14
TYPE_SD, CAR_SD = 0.25, 0.20
STAGE_SHARES = np.array([0.48, 0.36, 0.16])
SEEN_GIVEN_STATE = np.array(
    [
        [0.975, 0.022, 0.003, 0.000],
        [0.220, 0.690, 0.085, 0.005],
        [0.060, 0.140, 0.720, 0.080],
        [0.030, 0.010, 0.110, 0.850],
    ]
)
KM_PER_YEAR_MEDIAN, KM_PER_YEAR_SD, KM_PER_YEAR_RANGE = 13_500.0, 0.45, (5_000.0, 30_000.0)
AGE_YEARS = (8.0, 18.0)
RENEWED_WHEN_NEGLECTED = np.array([0.0, 0.0, 0.25, 0.5])
"""Before the story starts: of the parts major or dangerous at a year's end, those that were renewed then."""
KNOWN_FITTINGS = 0.5


@dataclass(frozen=True)
class Luck:
    """One fleet as it is before anybody chooses anything; cells are its cars times S, car by car."""

    cars: int
    age_years: FloatArray
    km_per_year: FloatArray
    odometer_km: FloatArray
    life_km: FloatArray
    """Thresholds from new of each cell's present and later parts, shape (K, SPARE_LIVES, 4)."""
    position_km: FloatArray
    """Of the present part, shape (K,)."""
    fitting_known: BoolArray
    look: FloatArray
    """Uniform draws for what a look sees, shape (MONTHS, K)."""
    gauge: FloatArray
    """Gaussian draws for by how much the gauge errs, shape (MONTHS, K)."""
    notice: FloatArray
    """Uniform draws for what a driver notices, shape (MONTHS, K)."""
    skip: FloatArray
    """Uniform draws for which checks are left out at a look, shape (MONTHS, K)."""
    second_look_fraction: FloatArray
    """Where in its interval each car's second look falls, shape (cars,)."""


def draw_fleet(trade: Trade, cars: int, seed: int) -> Luck:
    """A fleet of neglected cars; the same for the same seed, whoever looks after it."""
    rng = np.random.default_rng(seed)
    own = KM_PER_YEAR_MEDIAN * np.exp(rng.normal(0.0, KM_PER_YEAR_SD, cars))
    km_per_year = np.clip(own, *KM_PER_YEAR_RANGE)
    age = rng.uniform(*AGE_YEARS, cars)
    scale = _scales(trade, cars, rng)
    slot = np.tile(np.arange(trade.slots), cars)
    pace = _clock_per_year(trade, km_per_year)
    position, present = _neglected(trade, slot, scale, pace, np.repeat(age, trade.slots), rng)
    later = _new_lives(trade, np.repeat(slot, SPARE_LIVES - 1), np.repeat(scale, SPARE_LIVES - 1), rng)
    life = np.concatenate([present[:, None], later.reshape(len(slot), SPARE_LIVES - 1, 4)], axis=1)
    shape = (MONTHS, len(slot))
    return Luck(
        cars=cars,
        age_years=age,
        km_per_year=km_per_year,
        odometer_km=age * km_per_year,
        life_km=life,
        position_km=position,
        fitting_known=rng.random(len(slot)) < KNOWN_FITTINGS,
        look=rng.random(shape),
        gauge=rng.standard_normal(shape),
        notice=rng.random(shape),
        second_look_fraction=rng.random(cars),
        skip=rng.random(shape),
    )


def _scales(trade: Trade, cars: int, rng: np.random.Generator) -> FloatArray:
    """What multiplies the book's lives, for each cell."""
    kinds = np.exp(rng.normal(0.0, TYPE_SD, trade.kind_of.max() + 1))
    car = np.exp(rng.normal(0.0, CAR_SD, cars))
    return np.asarray((car[:, None] * kinds[trade.kind_of]).ravel())


def _clock_per_year(trade: Trade, km_per_year: FloatArray) -> FloatArray:
    weight = trade.book.km_weight
    return np.asarray((weight * km_per_year[:, None] + (1.0 - weight) * trade.book.km_per_year).ravel())


def _new_lives(trade: Trade, slot: IntArray, scale: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Thresholds of new parts, shape (n, 4): minor, major, dangerous, failure."""
    book = trade.book
    life, pf, cv = book.life_km[slot], book.pf_km[slot], book.life_cv[slot]
    graded = ~trade.measured[slot]
    sd = np.sqrt(np.log1p(cv**2))
    whole = np.exp(rng.normal(-0.5 * sd**2, sd))
    stages = rng.weibull(2.0, (len(slot), 3)) / 0.886227 * STAGE_SHARES * pf[:, None]
    sign = (life - pf) * whole
    by_eye = sign[:, None] + np.cumsum(np.column_stack([np.zeros(len(slot)), stages]), axis=1)
    by_gauge = (life * whole)[:, None] * WORN_AT
    return np.asarray(scale[:, None] * np.where(graded[:, None], by_eye, by_gauge))


def _neglected(
    trade: Trade, slot: IntArray, scale: FloatArray, pace: FloatArray, age: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Positions and lives of the parts met after years of little care."""
    position, life = np.zeros(len(slot)), _new_lives(trade, slot, scale, rng)
    left = age.copy()
    while np.any(left > 0.0):
        step = np.minimum(left, 1.0)
        position += pace * step
        left -= step
        _renew_failed(trade, slot, scale, position, life, rng)
        state = (life[:, :3] <= position[:, None]).sum(axis=1) * (trade.book.pf_km[slot] > 0.0)
        due = np.flatnonzero((rng.random(len(slot)) < RENEWED_WHEN_NEGLECTED[state]) & (step > 0.0))
        position[due], life[due] = 0.0, _new_lives(trade, slot[due], scale[due], rng)
    return position, life


def _renew_failed(
    trade: Trade, slot: IntArray, scale: FloatArray, position: FloatArray, life: FloatArray, rng: np.random.Generator
) -> None:
    while len(failed := np.flatnonzero(life[:, 3] <= position)):
        position[failed] -= life[failed, 3]
        life[failed] = _new_lives(trade, slot[failed], scale[failed], rng)


@dataclass(frozen=True, slots=True)
class Drive:
    """What a month on the road brought; shapes (K,) but for the last two, (cars,)."""

    failed: IntArray
    """Rows of cells."""
    failed_at_fraction: FloatArray
    """When in the month, for each of `failed`."""
    dangerous_km: FloatArray
    major_km: FloatArray
    any_dangerous_km: FloatArray
    """Driven with at least one part dangerous."""
    unsafe_km: FloatArray
    """Driven with at least one safety part dangerous."""


class Cars:
    """The true state of many fleets' cars, laid out fleet by fleet, car by car, slot by slot."""

    def __init__(self, trade: Trade, fleets: list[Luck]) -> None:
        self.trade = trade
        self.cars = sum(fleet.cars for fleet in fleets)
        self.fleet_of_car = np.repeat(np.arange(len(fleets)), [fleet.cars for fleet in fleets])
        self.car = np.repeat(np.arange(self.cars), trade.slots)
        self.slot = np.tile(np.arange(trade.slots), self.cars)
        self.km_per_month = np.concatenate([fleet.km_per_year for fleet in fleets]) / 12.0
        self.clock_per_month = _clock_per_year(trade, 12.0 * self.km_per_month) / 12.0
        self.lives = np.concatenate([fleet.life_km for fleet in fleets])
        self.position = np.concatenate([fleet.position_km for fleet in fleets])
        self.generation = np.zeros(len(self.slot), dtype=np.int64)
        self.life = self.lives[:, 0].copy()
        self.visible = trade.book.pf_km[self.slot] > 0.0
        draws = zip(*((f.look, f.gauge, f.notice, f.skip) for f in fleets), strict=True)
        self._look, self._gauge, self._notice, self._skip = (np.concatenate(each, axis=1) for each in draws)

    def state(self) -> IntArray:
        """The true grade of every part; a hidden part that shows nothing is sound until it fails."""
        return np.asarray((self.life[:, :3] <= self.position[:, None]).sum(axis=1) * self.visible)

    def used_fraction(self) -> FloatArray:
        """How much of each part's life is gone."""
        return np.asarray(self.position / self.life[:, 3])

    def seen(self, month: int, rows: IntArray) -> tuple[IntArray, FloatArray]:
        """What a look in this month sees at visible parts: grades, and gauge readings (NaN where there is no gauge)."""
        odds = np.cumsum(SEEN_GIVEN_STATE, axis=1)[self.state()[rows], :3]
        graded = (self._look[month, rows][:, None] > odds).sum(axis=1)
        slot, gauge = self.slot[rows], self.trade.gauge
        reading = gauge.reading(slot, WORN_AT[3] * self.used_fraction()[rows])
        reading += gauge.noise_sd[slot] * self._gauge[month, rows]
        worn = (reading - gauge.new[slot]) / (gauge.limit[slot] - gauge.new[slot])
        gauged = (worn[:, None] >= WORN_AT[:3]).sum(axis=1)
        return np.where(self.trade.measured[slot], gauged, graded), reading

    def left_out(self, month: int, rows: IntArray, share: float) -> BoolArray:
        """Which of these checks nobody gets round to at this month's look."""
        return np.asarray(self._skip[month, rows] < share)

    def noticed(self, month: int, share: float) -> IntArray:
        """Rows of dangerous parts that a driver notices this month."""
        return np.flatnonzero((self.state() == 3) & (self._notice[month] < share))

    def renew(self, rows: IntArray, position: FloatArray | float = 0.0) -> None:
        """Fits new parts, already run in by `position`."""
        self.generation[rows] += 1
        self.life[rows] = self.lives[rows, self.generation[rows] % SPARE_LIVES]
        self.position[rows] = position

    def drive(self) -> Drive:
        """A month on the road; what fails is renewed there and then."""
        before, life = self.position, self.life
        step = self.clock_per_month * self._pace()
        after = np.minimum(before + step, life[:, 3])
        dangerous = np.maximum(after - np.maximum(life[:, 2], before), 0.0) / step * self.visible
        major = np.maximum(np.minimum(after, life[:, 2]) - np.maximum(life[:, 1], before), 0.0) / step * self.visible
        failed = np.flatnonzero(before + step >= life[:, 3])
        at = (life[failed, 3] - before[failed]) / step[failed]
        self.position = after
        self.renew(failed, (1.0 - at) * self.clock_per_month[failed])
        own_km = self.km_per_month[self.car]
        by_car = dangerous.reshape(self.cars, -1)
        return Drive(
            failed=failed,
            failed_at_fraction=at,
            dangerous_km=own_km * dangerous,
            major_km=own_km * major,
            any_dangerous_km=self.km_per_month * by_car.max(axis=1),
            unsafe_km=self.km_per_month * (by_car * self.trade.costs.safety).max(axis=1),
        )

    def _pace(self) -> FloatArray:
        """How much faster than its clock each part ages, for what is bad beside it."""
        state = self.state().reshape(self.cars, -1)
        pace = np.ones(state.shape)
        for wear in self.trade.wears:
            pace[:, wear.target] *= np.where(state[:, wear.source] >= wear.from_grade, wear.factor, 1.0)
        return pace.ravel()
