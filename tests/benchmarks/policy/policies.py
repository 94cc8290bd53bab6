"""Ways to choose what to repair: each turns what is on record into a list to be worked through from the top."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from inspections.core.types import FloatArray, IntArray
from tests.benchmarks.policy.decider import Decider, ResidualsOf, by_last_grade, by_life_filter, by_the_truth
from tests.benchmarks.policy.memory import Memory
from tests.benchmarks.policy.record import Record
from tests.benchmarks.policy.trade import EXTRA_LOOK_HOURS, EXTRA_SETUP_HOURS, LABOUR_EUR, Trade
from tests.benchmarks.policy.trade import MINOR as MINOR_UNITS
from tests.benchmarks.policy.truth import Cars

MINOR, MAJOR, DANGEROUS = 1, 2, 3
ANNUAL = None
EVERY_KM = 10_000.0
LEAST_MONTHS, MOST_MONTHS, YEAR_MONTHS = 3.0, 24.0, 12.0


@dataclass(frozen=True, slots=True)
class Wishes:
    """Cells in the order in which they should be renewed, and the most that doing so now may cost (cents)."""

    rows: IntArray
    worth_minor: FloatArray


Chooser = Callable[[], Wishes]


@dataclass(frozen=True, slots=True)
class Policy:
    """How often the cars are looked at and what is then done first."""

    name: str
    look_every_km: float | None
    chooser: Callable[[Trade, Record, Cars], Chooser]
    knows_all: bool = False
    """A clairvoyant pays for no looks."""
    learns: bool = False
    """Each fleet comes to believe other lives, so that it must be followed by itself."""
    looker: Callable[[Trade, Record], Callable[[], IntArray]] | None = None
    """Which single parts it wants to be looked at before it chooses."""

    def look_months(self, km_per_month: FloatArray) -> FloatArray:
        """Months between two looks at each car."""
        if self.look_every_km is None:
            return np.full(len(km_per_month), YEAR_MONTHS)
        return np.clip(self.look_every_km / km_per_month, LEAST_MONTHS, MOST_MONTHS)


def worst_first(least: int) -> Callable[[Trade, Record, Cars], Chooser]:
    """The worst grade first, safety parts before others, then what was found first; nothing below `least`."""

    def chooser(trade: Trade, record: Record, _cars: Cars) -> Chooser:
        def choose() -> Wishes:
            rows = np.flatnonzero(record.last_grade >= least)
            safety = trade.costs.safety[record.slot[rows]]
            order = np.lexsort((rows, record.since_month[rows], ~safety, -record.last_grade[rows]))
            return Wishes(rows[order], np.full(len(rows), np.inf))

        return choose

    return chooser


def rule_of_thumb(times: float) -> Callable[[Trade, Record, Cars], Chooser]:
    """Every major and dangerous part, and a minor one if failing costs so many times the planned job."""

    def chooser(trade: Trade, record: Record, _cars: Cars) -> Chooser:
        ratio = trade.costs.failure_minor / trade.costs.planned_minor

        def choose() -> Wishes:
            grade, dear = record.last_grade, ratio[record.slot]
            rows = np.flatnonzero((grade >= MAJOR) | ((grade == MINOR) & (dear >= times)))
            order = np.lexsort((rows, -dear[rows], -grade[rows]))
            return Wishes(rows[order], np.full(len(rows), np.inf))

        return choose

    return chooser


def cost_of_waiting(judge: Callable[[Trade, Record], ResidualsOf]) -> Callable[[Trade, Record, Cars], Chooser]:
    """The product's backlog over a fleet, from the top."""

    def chooser(trade: Trade, record: Record, _cars: Cars) -> Chooser:
        decider = Decider(trade, record, judge(trade, record))
        return lambda: _from_the_top(decider, record.last_grade)

    return chooser


def blind(trade: Trade, record: Record, _cars: Cars) -> Chooser:
    """The product's backlog where parts unseen for too long may be renewed without a look."""
    decider = Decider(trade, record, by_life_filter(trade, record), blind=True)
    return lambda: _from_the_top(decider, record.last_grade)


def looking_first(trade: Trade, record: Record) -> Callable[[], IntArray]:
    """The looks that the product asks for."""
    decider = Decider(trade, record, by_life_filter(trade, record))
    return lambda: decider.looks(
        EXTRA_LOOK_HOURS * LABOUR_EUR * MINOR_UNITS, EXTRA_SETUP_HOURS * LABOUR_EUR * MINOR_UNITS
    )


def cost_of_waiting_learning(trade: Trade, record: Record, _cars: Cars) -> Chooser:
    """The same, the book's lives replaced once a year by those that the fleet's own history says."""
    memory = Memory(trade, record)
    deciders = [Decider(trade, record, by_life_filter(trade, record))]

    def choose() -> Wishes:
        if record.month and record.month % 12 == 0:
            learned = memory.learned()
            deciders[0] = Decider(learned, record, by_life_filter(learned, record))
        return _from_the_top(deciders[0], record.last_grade)

    return choose


def clairvoyant(trade: Trade, record: Record, cars: Cars) -> Chooser:
    """The product's decider, told the true state and life of every part, hidden ones too."""
    decider = Decider(trade, record, by_the_truth(cars), without_finding=True)
    return lambda: _from_the_top(decider, cars.state())


def _from_the_top(decider: Decider, grade: IntArray) -> Wishes:
    ranking = decider.ranking(grade)
    order = ranking.fleet_order
    rows = ranking.table.cell[ranking.table.cell_at[order]]
    worth = np.where(ranking.before_driving[order], np.inf, ranking.priced.waiting_minor[order])
    return Wishes(rows, worth)


YARDSTICK = Policy("worst first, at least major; looked at once a year", ANNUAL, worst_first(MAJOR))
PRODUCT_ANNUAL = Policy("cost of waiting, life filter; once a year", ANNUAL, cost_of_waiting(by_life_filter))
PRODUCT = Policy("cost of waiting, life filter; every 10,000 km", EVERY_KM, cost_of_waiting(by_life_filter))
LEARNING_ANNUAL = Policy(
    "cost of waiting, life filter, own lives; once a year", ANNUAL, cost_of_waiting_learning, learns=True
)
LEARNING = Policy(
    "cost of waiting, life filter, own lives; every 10,000 km", EVERY_KM, cost_of_waiting_learning, learns=True
)
TABLE_ANNUAL = Policy("cost of waiting, grade table; once a year", ANNUAL, cost_of_waiting(by_last_grade))
TABLE = Policy("cost of waiting, grade table; every 10,000 km", EVERY_KM, cost_of_waiting(by_last_grade))
WORST_FIRST_OFTEN = Policy("worst first, at least major; every 10,000 km", EVERY_KM, worst_first(MAJOR))
WORST_FIRST_MINOR = Policy("worst first, at least minor; once a year", ANNUAL, worst_first(MINOR))
THUMB = Policy("major, or minor if failing costs 4 times the job; once a year", ANNUAL, rule_of_thumb(4.0))
NOTHING = Policy("nothing before it fails", ANNUAL, worst_first(DANGEROUS + 1), knows_all=True)
CLAIRVOYANT = Policy("clairvoyant", ANNUAL, clairvoyant, knows_all=True)

BLIND_ANNUAL = Policy("cost of waiting, unseen parts blindly; once a year", ANNUAL, blind)
BLIND = Policy("cost of waiting, unseen parts blindly; every 10,000 km", EVERY_KM, blind)
LOOKING_ANNUAL = Policy(
    "cost of waiting, asked-for looks; once a year", ANNUAL, cost_of_waiting(by_life_filter), looker=looking_first
)
LOOKING = Policy(
    "cost of waiting, asked-for looks; every 10,000 km", EVERY_KM, cost_of_waiting(by_life_filter), looker=looking_first
)

POLICIES = (
    NOTHING, WORST_FIRST_OFTEN, WORST_FIRST_MINOR, THUMB, TABLE_ANNUAL, TABLE, PRODUCT_ANNUAL, PRODUCT, CLAIRVOYANT,
)  # fmt: skip
