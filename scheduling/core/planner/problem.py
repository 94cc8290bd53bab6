"""What the planner is asked and what it answers: jobs into visits, in whole minor units and whole minutes.

Everything is an integer, so that a plan can be checked exactly; the solver alone uses floats.
"""

from dataclasses import dataclass
from typing import Literal

BayKind = Literal["", "stands", "lift"]
"""What a piece of work needs under the vehicle: nothing, stands (a lift serves too), or a lift."""

Status = Literal["optimal", "feasible", "infeasible"]


@dataclass(frozen=True, slots=True)
class PlanUnit:
    """An access or a follow-up of one vehicle, counted once a visit. Units of one vehicle are told apart by key."""

    key: str
    cost_minor: int
    """What it counts against the plan's value: outlay, and labour at its rate."""
    cash_minor: int
    """What it takes from the visit's money."""
    minutes: int
    bay: BayKind = ""


@dataclass(frozen=True, slots=True)
class PlanJob:
    """A job that may be planned; `requires` and `excludes` are indices of other jobs of the problem."""

    vehicle: str
    key: str
    saving_minor: int
    """Expected cost of waiting less its own cost (without units), if done at the first visit; may be negative."""
    cash_minor: int
    minutes: int
    units: tuple[PlanUnit, ...] = ()
    must: bool = False
    """It has to be in the plan, whatever it saves: an open safety defect."""
    loss_minor_per_day: int = 0
    """What each day after the first visit takes from the saving."""
    earliest_day: int | None = None
    latest_day: int | None = None
    requires: tuple[int, ...] = ()
    """Done in the same visit or before."""
    excludes: tuple[int, ...] = ()
    skills: tuple[str, ...] = ()
    """All of these, in one person."""
    bay: BayKind = ""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who works at a visit, and what he or she may do."""

    key: str
    minutes: int
    skills: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Visit:
    """One occasion to work. Days are numbers counted from any fixed day."""

    day: int
    minutes: int
    """Working minutes in all, of everybody together."""
    money_minor: int
    people: tuple[Person, ...] = ()
    """Empty: whoever is there can do everything. Else each job goes to one of them; units to anybody."""
    stands_minutes: int | None = None
    """Minutes that vehicles can stand on stands; None: no limit. Work for stands may use the lift too."""
    lift_minutes: int | None = None
    vehicles: tuple[str, ...] = ()
    """Only these can come; empty: all."""


@dataclass(frozen=True, slots=True)
class PlanProblem:
    """Jobs and visits; visits in the order of their days."""

    jobs: tuple[PlanJob, ...]
    visits: tuple[Visit, ...]
    carry_over: bool = True
    """Money not spent at a visit is there at the next."""
    needed: tuple[tuple[int, ...], ...] = ()
    """Of each of these at least one has to be in the plan: the jobs that each put right one dangerous part."""

    @property
    def needs(self) -> tuple[tuple[int, ...], ...]:
        """All that has to be in the plan: one job of each of these."""
        return (*((index,) for index, job in enumerate(self.jobs) if job.must), *self.needed)


@dataclass(frozen=True, slots=True, order=True)
class Placed:
    """A job put into a visit, and who does it (index into the visit's people; -1 where it has none)."""

    job: int
    visit: int
    person: int = -1


@dataclass(frozen=True, slots=True)
class VisitPlan:
    """What one visit does."""

    day: int
    jobs: tuple[Placed, ...]
    units: tuple[tuple[str, str], ...]
    """Vehicle and key of each access and follow-up, once."""
    minutes: int
    cash_minor: int
    saving_minor: int
    """Savings of its jobs less the cost of its units."""


Why = Literal[
    "no-visit-fits",
    "nobody-can",
    "excluded",
    "requires-left-out",
    "not-worth-it",
    "no-money-left",
    "no-time-left",
    "nobody-free",
]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A job that is in no visit, and why: the first that holds, in the order of `Why`."""

    job: int
    why: Why


Rule = Literal["money", "minutes", "person-minutes", "lift-minutes", "bay-minutes", "latest-day", "must"]


@dataclass(frozen=True, slots=True, order=True)
class Loosening:
    """A rule to give that much more, where no plan does all that must be done."""

    rule: Rule
    amount: int
    """Minor units, minutes, or days later; 0 for `must`: no visit can ever take what has to be done."""
    visit: int = -1
    """-1 where it is about a job."""
    job: int = -1
    """-1 where it is about a visit; the first of the jobs one of which has to be done."""
    person: int = -1


@dataclass(frozen=True, slots=True)
class Plan:
    """Which jobs go into which visit, what that saves, and how far from the best it can be at most."""

    status: Status
    value_minor: int
    """As recounted in integers by the audit."""
    bound_minor: int
    """No plan saves more."""
    visits: tuple[VisitPlan, ...]
    left_out: tuple[LeftOut, ...]
    ways_out: tuple[tuple[Loosening, ...], ...] = ()
    """Where infeasible: each of these, as a whole, makes a plan possible; see `loosening.loosened`."""

    @property
    def gap_fraction(self) -> float:
        """How much of the bound the plan may fall short of, at most."""
        return (self.bound_minor - self.value_minor) / max(abs(self.bound_minor), 1)

    @property
    def placed(self) -> tuple[Placed, ...]:
        """All jobs planned, in the order of visits."""
        return tuple(placed for visit in self.visits for placed in visit.jobs)
