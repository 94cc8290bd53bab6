"""What the planner knows of the parts: the book of lives, the cost of jobs, of failures and of driving on.

The sums are formed as the product forms them from its catalogue (`inspections.catalogue.books`).
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from inspections.core.types import BoolArray, CostBook, FloatArray, IntArray, LifeBook
from scheduling.core.types import JobWork, SharedWork
from tests.benchmarks.policy.kinds import COUPLINGS, KINDS, MEASURED, OPERATION_HOURS_EUR, Kind

MINOR = 100.0
"""Cents in a euro; the cores count cents."""
LABOUR_EUR = 50.0
"""What an hour counts for: between one's own Saturday and a workshop's bill."""
CLOCK_KM_PER_YEAR = 15_000.0
ACCESS_SHARE = 0.6
TOW_EUR = 150.0
TROUBLE_EUR = 40.0
MAJOR_SHARE_OF_DANGER = 0.1
LOOK_EUR, LOOK_HOURS = 63.5, 1.3
"""One inspection of a whole car."""


@dataclass(frozen=True)
class Trade:
    """Everything about the S positions of one car, in the order of `positions`."""

    positions: tuple[tuple[str, str], ...]
    kind_of: IntArray
    book: LifeBook
    costs: CostBook
    works: tuple[JobWork, ...]
    factor_tow: FloatArray
    """Chance that a failure strands the car, shape (S,)."""
    danger_eur_per_km: FloatArray
    """Exposure while dangerous, without what it wears elsewhere, shape (S,)."""
    measured: BoolArray

    @cached_property
    def slot_of(self) -> dict[tuple[str, str], int]:
        """Slot of each kind and position."""
        return {place: slot for slot, place in enumerate(self.positions)}

    @property
    def slots(self) -> int:
        """S."""
        return len(self.positions)

    @property
    def planned_eur(self) -> FloatArray:
        """The planned job with its usual share of access."""
        return self.costs.planned_minor / MINOR

    @property
    def failure_eur(self) -> FloatArray:
        """The bill of a failure on the road, what it may cause included."""
        return self.costs.failure_minor / MINOR

    def believing(self, book: LifeBook) -> "Trade":
        """The same trade with another book of lives, and what driving on costs by that book."""
        return replace(self, book=book, costs=_costs(book.life_km))


def trade() -> Trade:
    """The trade of the invented cars."""
    kinds = [(number, kind, position) for number, kind in enumerate(KINDS) for position in kind.positions]
    slots = [kind for _, kind, _ in kinds]
    book = LifeBook(
        life_km=1000.0 * _of(slots, "life"),
        life_cv=_of(slots, "cv"),
        pf_km=1000.0 * _of(slots, "pf"),
        km_weight=_of(slots, "km_weight"),
        km_per_year=np.full(len(slots), CLOCK_KM_PER_YEAR),
    )
    return Trade(
        positions=_positions(),
        kind_of=np.array([number for number, _, _ in kinds]),
        book=book,
        costs=_costs(book.life_km),
        works=tuple(work(kind, position) for _, kind, position in kinds),
        factor_tow=_of(slots, "tow"),
        danger_eur_per_km=_of(slots, "danger_eur") / 1000.0,
        measured=np.array([kind in MEASURED for kind in slots]),
    )


def work(kind: Kind, position: str) -> JobWork:
    """The job that renews a part at one position."""
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


def _positions() -> tuple[tuple[str, str], ...]:
    return tuple((kind.key, position) for kind in KINDS for position in kind.positions)


def _of(kinds: list[Kind], name: str) -> FloatArray:
    return np.array([getattr(kind, name) for kind in kinds], dtype=np.float64)


def _costs(life_km: FloatArray) -> CostBook:
    slots = [kind for kind in KINDS for _ in kind.positions]
    works = [work(kind, position) for kind in KINDS for position in kind.positions]
    planned = np.array([_planned_eur(each) for each in works])
    danger = _of(slots, "danger_eur") / 1000.0
    worn = _worn_eur_per_km(planned, life_km)
    failure = planned * _of(slots, "factor") + TOW_EUR * _of(slots, "tow") + _of(slots, "mishap_eur") + TROUBLE_EUR
    return CostBook(
        planned_minor=MINOR * planned,
        failure_minor=MINOR * failure,
        major_minor_per_km=MINOR * (MAJOR_SHARE_OF_DANGER * danger + worn[0]),
        dangerous_minor_per_km=MINOR * (danger + worn[1]),
        safety=danger > 0.0,
    )


def _planned_eur(job: JobWork) -> float:
    access = sum(each.hours * LABOUR_EUR + each.outlay_minor / MINOR for each in job.access)
    after = sum(each.hours * LABOUR_EUR + each.outlay_minor / MINOR for each in job.follow_ups)
    return job.parts_minor / MINOR + job.hours * LABOUR_EUR + ACCESS_SHARE * access + after


def _worn_eur_per_km(planned: FloatArray, life_km: FloatArray) -> FloatArray:
    """What each km in major, and in dangerous, takes from other parts, shape (2, S)."""
    slot = {place: index for index, place in enumerate(_positions())}
    worn = np.zeros((2, len(planned)))
    for each in COUPLINGS:
        target = slot[each.target]
        loss = planned[target] * (each.factor - 1.0) / life_km[target]
        worn[:, slot[each.source]] += loss * np.array([each.from_grade <= 2, 1.0])
    return worn
