"""What a planner knows of the parts of a car: lives, gauges, jobs, and what jobs, failures and driving on cost.

The sums are formed as the product forms them from its catalogue (`inspections.catalogue.books`).
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from inspections.catalogue.books import LEAST_DANGER_EUR_PER_1000_KM
from inspections.core.types import SHARED_WORK_SHARE, BoolArray, CostBook, FloatArray, IntArray, LifeBook
from scheduling.core.types import JobWork, SharedWork
from tests.benchmarks.policy.kinds import COUPLINGS, KINDS, OPERATION_HOURS_EUR, Kind

MINOR = 100.0
"""Cents in a euro; the cores count cents."""
LABOUR_EUR = 50.0
"""What an hour counts for: between one's own Saturday and a workshop's bill."""
EXTRA_LOOK_HOURS, EXTRA_SETUP_HOURS = 0.05, 0.25
"""A look at a single part between inspections, and getting the car onto its stands for such looks."""
CLOCK_KM_PER_YEAR = 15_000.0
WORLD_ACCESS_SHARE = 0.6
"""Of its access, what a job done after a failure finds to pay; follow-ups it pays in full. What a planner reckons with
is the product's own figure (`known`)."""
TOW_EUR = 150.0
TROUBLE_EUR = 40.0
MAJOR_SHARE_OF_DANGER = 0.1

WORN_AT = np.array([0.85, 1.0, 1.15, 1.28])
"""Worn share of a measured part at its grades and at failure; 1 is the limit."""
GAUGE_SD = 0.025
"""By how much a gauge errs, of the way to the limit."""

Place = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Gauge:
    """What is measured of each slot, shape (S,), in the unit of its gauge; NaN where nothing is."""

    new: FloatArray
    minor: FloatArray
    limit: FloatArray
    dangerous: FloatArray
    noise_sd: FloatArray

    def reading(self, slot: IntArray, worn: FloatArray) -> FloatArray:
        """What the gauge shows at a worn share."""
        return np.asarray(self.new[slot] + worn * (self.limit[slot] - self.new[slot]))


@dataclass(frozen=True, slots=True)
class Job:
    """A job with the slots that it renews."""

    work: JobWork
    slots: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Wear:
    """While one slot is at least in a grade, another ages faster by a factor."""

    source: int
    from_grade: int
    target: int
    factor: float


@dataclass(frozen=True)
class Trade:
    """Everything about the S slots of one car, in the order of `places`."""

    places: tuple[Place, ...]
    kind_of: IntArray
    book: LifeBook
    costs: CostBook
    gauge: Gauge
    jobs: tuple[tuple[Job, ...], ...]
    """The jobs that renew each slot."""
    wears: tuple[Wear, ...]
    tow: FloatArray
    """Chance that a failure strands the car, shape (S,)."""
    danger_eur_per_km: FloatArray
    """Exposure while dangerous, without what it wears elsewhere, shape (S,)."""

    @property
    def slots(self) -> int:
        """S."""
        return len(self.places)

    @cached_property
    def measured(self) -> BoolArray:
        """Which slots have a gauge."""
        return ~np.isnan(self.gauge.limit)

    @property
    def planned_eur(self) -> FloatArray:
        """The planned job with its usual share of access."""
        return self.costs.planned_minor / MINOR

    @property
    def failure_eur(self) -> FloatArray:
        """The bill of a failure on the road, what it may cause included."""
        return self.costs.failure_minor / MINOR

    def known(self) -> "Trade":
        """The same trade as a planner has it, who reckons shared work as the product does."""
        return self.believing(self.book.life_km, self.book.pf_km)

    def believing(self, life_km: FloatArray, pf_km: FloatArray) -> "Trade":
        """The same trade for a planner whose book has other lives, and who reckons by them."""
        book = replace(self.book, life_km=life_km, pf_km=pf_km)
        share, least = SHARED_WORK_SHARE, LEAST_DANGER_EUR_PER_1000_KM
        return replace(self, book=book, costs=_costs(life_km, self.wears, share, share, least))


def trade() -> Trade:
    """The trade of the invented cars."""
    kinds = _kinds()
    measured = np.array([kind.measured for kind in kinds])
    book = LifeBook(
        life_km=1000.0 * _of("life"),
        life_cv=_of("cv"),
        pf_km=1000.0 * _of("pf"),
        km_weight=_of("km_weight"),
        km_per_year=np.full(len(kinds), CLOCK_KM_PER_YEAR),
    )
    wears = _wears()
    return Trade(
        places=_places(),
        kind_of=np.array([KINDS.index(kind) for kind in kinds]),
        book=book,
        costs=_costs(book.life_km, wears, WORLD_ACCESS_SHARE, 1.0),
        gauge=Gauge(*(np.where(measured, at, np.nan) for at in (0.0, *WORN_AT[:3], GAUGE_SD))),
        jobs=_jobs(),
        wears=wears,
        tow=_of("tow"),
        danger_eur_per_km=_of("danger_eur") / 1000.0,
    )


def _kinds() -> list[Kind]:
    return [kind for kind in KINDS for _ in kind.positions]


def _places() -> tuple[Place, ...]:
    return tuple((kind.key, position) for kind in KINDS for position in kind.positions)


def _of(name: str) -> FloatArray:
    return np.array([getattr(kind, name) for kind in _kinds()], dtype=np.float64)


def _jobs() -> tuple[tuple[Job, ...], ...]:
    works = [_work(kind, position) for kind in KINDS for position in kind.positions]
    return tuple((Job(work, (slot,)),) for slot, work in enumerate(works))


def _work(kind: Kind, position: str) -> JobWork:
    return JobWork(
        key=f"{kind.key}.replace",
        hours=kind.hours,
        parts_minor=kind.parts_eur * MINOR,
        access=tuple(_operation(name, position) for name in kind.access),
        follow_ups=tuple(_operation(name, position) for name in kind.follow_ups),
        positions=(position,) if position else (),
    )


def _operation(name: str, position: str) -> SharedWork:
    key = name.format(p=position, wheel=position.removesuffix("-fore").removesuffix("-aft"))
    hours, eur = OPERATION_HOURS_EUR[key]
    return SharedWork(key, hours, eur * MINOR)


def _wears() -> tuple[Wear, ...]:
    slot = {place: index for index, place in enumerate(_places())}
    return tuple(Wear(slot[c.source], c.from_grade, slot[c.target], c.factor) for c in COUPLINGS)


def _costs(
    life_km: FloatArray, wears: tuple[Wear, ...], access: float, follow_ups: float, least_danger_eur: float = 0.0
) -> CostBook:
    """With these shares of access and of follow-ups paid for by a job, and at least that much danger in any part."""
    works = [_work(kind, at) for kind in KINDS for at in kind.positions]
    planned = np.array([_planned_eur(work, access, follow_ups) for work in works])
    told = _of("danger_eur")
    danger = np.maximum(told, least_danger_eur) / 1000.0
    worn = np.zeros((2, len(planned)))
    for each in wears:
        loss = planned[each.target] * (each.factor - 1.0) / life_km[each.target]
        worn[:, each.source] += loss * np.array([each.from_grade < 3, 1.0])
    failure = planned * _of("factor") + TOW_EUR * _of("tow") + _of("mishap_eur") + TROUBLE_EUR
    return CostBook(
        planned_minor=MINOR * planned,
        failure_minor=MINOR * failure,
        major_minor_per_km=MINOR * (MAJOR_SHARE_OF_DANGER * danger + worn[0]),
        dangerous_minor_per_km=MINOR * (danger + worn[1]),
        safety=told > 0.0,
    )


def _planned_eur(job: JobWork, access: float, follow_ups: float) -> float:
    own = (job.parts_minor / MINOR) + job.hours * LABOUR_EUR
    return own + access * _eur(job.access) + follow_ups * _eur(job.follow_ups)


def _eur(shared: tuple[SharedWork, ...]) -> float:
    return sum(each.hours * LABOUR_EUR + each.outlay_minor / MINOR for each in shared)
