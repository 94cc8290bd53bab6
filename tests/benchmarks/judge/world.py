"""A world of ageing vehicles with a hidden truth, to hold the judge's forecasts against.

It is made by other rules than the judge assumes, on purpose:

- the time to the first sign is lognormal, not Weibull; stages are Weibull of shape 2 (CV 0.52), not gamma, and share
  the P-F interval by 45, 38 and 17 %, not 50, 35 and 15 %;
- the true life of a type of part is off the book by a factor (log sd 0.25), that of a vehicle by another (0.20), and
  an environment (0.10) by one that touches only the stages; the judge knows one scale of sd 0.40 for all of it;
- 18 % of minor, 8 % of major and 4 % of dangerous defects are missed, false alarms are rarer, and a tenth of the
  checks is skipped;
- vehicles were neglected before the record starts: parts were renewed when they failed, and half of what would have
  been graded major or worse once a year; half of the fitting dates are unknown.

What a snapshot calls a failure is what would happen if nobody intervened.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import BoolArray, Cells, FloatArray, IntArray, LifeBook, Looks

STAGE_SHARES = np.array([0.45, 0.38, 0.17])
SEEN_GIVEN_STATE = np.array(
    [
        [0.985, 0.013, 0.002, 0.000],
        [0.180, 0.740, 0.080, 0.000],
        [0.080, 0.150, 0.710, 0.060],
        [0.040, 0.010, 0.100, 0.850],
    ]
)
YEARS_OF_RECORD = 5
SKIPPED_FRACTION = 0.10
RENEWED_IF_SEEN = np.array([0.0, 0.15, 0.70, 0.70])
RENEWED_WHEN_NEGLECTED = np.array([0.0, 0.0, 0.5, 0.5])


@dataclass(frozen=True, slots=True)
class Kind:
    """A type of part as a mechanic would enter it, distances in thousands of km."""

    life: tuple[float, float]
    pf: tuple[float, float]
    cv: float
    km_weight: float
    slots: int


KINDS = (
    Kind((195, 210), (35, 35), 0.35, 0.9, 4),
    Kind((195, 210), (35, 35), 0.35, 0.9, 4),
    Kind((210, 255), (56, 63), 0.35, 0.7, 8),
    Kind((195, 210), (56, 56), 0.35, 0.9, 4),
    Kind((225, 225), (49, 49), 0.35, 0.6, 4),
    Kind((240, 285), (35, 42), 0.35, 0.3, 6),
    Kind((240, 270), (28, 28), 0.35, 1.0, 4),
    Kind((210, 210), (17, 17), 0.35, 0.8, 1),
    Kind((110, 130), (45, 55), 0.30, 1.0, 4),
    Kind((270, 340), (0, 0), 0.45, 0.8, 6),
)
"""Ball joints, tie rods, bushings, shock absorbers, mounts, hoses, bearings, water pump, discs; sensors and coils."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What is on record right after a look, and what is true; cells of all vehicles."""

    cells: Cells
    looks: Looks
    last_grade: IntArray
    last_clock_km: FloatArray
    true_residual_km: FloatArray
    """Distance until minor, major, dangerous and failure, shape (K, 4), 0 where already so."""

    @property
    def true_grade(self) -> IntArray:
        return np.asarray((self.true_residual_km[:, :3] <= 0.0).sum(axis=1))


def judge_book(rng: np.random.Generator) -> LifeBook:
    """The book that the judge is given: one row a slot, types drawn within the ranges of KINDS."""
    rows = []
    for kind in KINDS:
        life, pf = rng.uniform(*kind.life), rng.uniform(*kind.pf)
        rows += [(1000.0 * life, kind.cv, 1000.0 * pf, kind.km_weight, 15_000.0)] * kind.slots
    return LifeBook(*np.array(rows).T.copy())


def type_of_slot() -> IntArray:
    """Which type each slot is of: the slots of a type share its true scale."""
    return np.repeat(np.arange(len(KINDS)), [kind.slots for kind in KINDS])


class World:
    """Vehicles (V) times slots (S), one fitted part each, advanced from year to year."""

    def __init__(self, truth: LifeBook, vehicles: int, rng: np.random.Generator, km_per_year: FloatArray | None = None):
        slots = len(truth.life_km)
        self.rng = rng
        self.vehicle = np.repeat(np.arange(vehicles), slots)
        self.slot = np.tile(np.arange(slots), vehicles)
        self.truth = truth
        type_scale = np.exp(rng.normal(0.0, 0.25, (vehicles // 10 + 1, len(KINDS))))
        vehicle_scale = np.exp(rng.normal(0.0, 0.20, vehicles))
        make = rng.integers(0, len(type_scale), vehicles)
        self.scale = type_scale[make[self.vehicle], type_of_slot()[self.slot]] * vehicle_scale[self.vehicle]
        own = rng.uniform(5_000.0, 30_000.0, vehicles) if km_per_year is None else km_per_year
        weight = truth.km_weight[self.slot]
        self.clock_per_year = weight * own[self.vehicle] + (1.0 - weight) * truth.km_per_year[self.slot]
        self.now = np.zeros(len(self.slot))
        self.fitted = np.zeros(len(self.slot))
        self.known = np.zeros(len(self.slot), dtype=bool)
        self.life = self._new_lives(np.arange(len(self.slot)))

    def _new_lives(self, rows: IntArray) -> FloatArray:
        """True thresholds from fitting, shape (n, 4)."""
        slot, rng = self.slot[rows], self.rng
        life, pf, cv = self.truth.life_km[slot], self.truth.pf_km[slot], self.truth.life_cv[slot]
        sd = np.sqrt(np.log1p(cv**2))
        sign = (life - pf) * np.exp(rng.normal(-0.5 * sd**2, sd))
        roughness = np.exp(rng.normal(0.0, 0.10, len(rows)))
        stages = rng.weibull(2.0, (len(rows), 3)) / 0.886227 * STAGE_SHARES * (pf * roughness)[:, None]
        after = np.cumsum(np.concatenate([np.zeros((len(rows), 1)), stages], axis=1), axis=1)
        return self.scale[rows, None] * (sign[:, None] + after)

    def position(self) -> FloatArray:
        return self.now - self.fitted

    def state(self) -> IntArray:
        return np.asarray((self.life[:, :3] <= self.position()[:, None]).sum(axis=1))

    def renew(self, rows: IntArray, clock: FloatArray) -> None:
        self.fitted[rows] = clock
        self.life[rows] = self._new_lives(rows)
        self.known[rows] = True

    def drive(self, years: FloatArray) -> None:
        """Advances every vehicle by `years` (shape (V,)); what fails on the way is renewed there and then."""
        self.now += self.clock_per_year * years[self.vehicle]
        while True:
            failed = np.flatnonzero(self.life[:, 3] <= self.position())
            if not len(failed):
                return
            self.renew(failed, self.fitted[failed] + self.life[failed, 3])

    def look(self) -> IntArray:
        """The grade seen of each cell."""
        odds = np.cumsum(SEEN_GIVEN_STATE, axis=1)[self.state()]
        return np.asarray((self.rng.random(len(self.slot))[:, None] > odds[:, :3]).sum(axis=1))

    def neglect(self, years: FloatArray) -> None:
        """Runs the vehicles up to an age (shape (V,)), with little care and no record."""
        left = years.copy()
        while np.any(left > 0.0):
            step = np.minimum(left, 1.0)
            self.drive(step)
            left = left - step
            due = self.rng.random(len(self.slot)) < RENEWED_WHEN_NEGLECTED[self.state()]
            rows = np.flatnonzero(due & (step[self.vehicle] > 0.0))
            self.renew(rows, self.now[rows])
        self.known = self.rng.random(len(self.slot)) < 0.5


def snapshots(
    truth: LifeBook, vehicles: int, rng: np.random.Generator, *, years: int = YEARS_OF_RECORD, interval: float = 1.0
) -> list[Snapshot]:
    """One snapshot at each look of a record that starts at an age of 8 to 18 years."""
    world = World(truth, vehicles, rng)
    world.neglect(rng.uniform(8.0, 18.0, vehicles))
    seen: list[tuple[FloatArray, IntArray, BoolArray]] = []
    taken = []
    for _ in range(round(years / interval)):
        grade = world.look()
        examined = rng.random(len(grade)) >= SKIPPED_FRACTION
        seen.append((world.now.copy(), grade, examined))
        taken.append(_snapshot(world, seen))
        care = rng.random(len(grade)) < RENEWED_IF_SEEN[grade]
        rows = np.flatnonzero(care & examined)
        world.renew(rows, world.now[rows])
        world.drive(np.full(vehicles, interval))
    return taken


def _snapshot(world: World, seen: list[tuple[FloatArray, IntArray, BoolArray]]) -> Snapshot:
    clock = np.array([each[0] for each in seen]).T
    grade = np.array([each[1] for each in seen]).T
    mine = np.array([each[2] for each in seen]).T & (clock > world.fitted[:, None])
    cell, which = np.nonzero(mine)
    last = np.where(mine, np.arange(len(seen)), -1).max(axis=1)
    rows = np.arange(len(last))
    return Snapshot(
        cells=Cells(
            vehicle=world.vehicle,
            slot=world.slot,
            fitted_clock_km=np.where(world.known, world.fitted, np.nan),
            now_clock_km=world.now.copy(),
            clock_km_per_month=world.clock_per_year / 12.0,
        ),
        looks=Looks(cell=cell, clock_km=clock[cell, which], grade=grade[cell, which]),
        last_grade=np.where(last >= 0, grade[rows, last], -1),
        last_clock_km=np.where(last >= 0, clock[rows, last], np.nan),
        true_residual_km=np.maximum(world.life - world.position()[:, None], 0.0),
    )
