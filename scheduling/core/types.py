"""What the decider takes in and hands back: jobs that may be done, and a backlog with every term of its ranking.

Sums are minor units of one currency: floats on the way in and inside, integers rounded half up on the way out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleetcare.kernel.grades import Grade
from scheduling.core.reasons import Reason

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SharedWork:
    """An access or a follow-up: done once a visit and vehicle, however many jobs need it."""

    key: str
    """With its place where it repeats: "wheel-off.front-right", "wheel-alignment"."""
    hours: float
    outlay_minor: float = 0.0
    """Material, or work given out; labour comes on top."""
    given_away: bool = False
    """Opened by a workshop: what it takes apart serves the other jobs given away, not those done here."""
    minor_per_hour: float | None = None
    """What an hour of it counts for; None: as an hour of the vehicle's own."""


@dataclass(frozen=True, slots=True)
class JobWork:
    """What a job takes; one object may serve many vehicles (and is then compiled once)."""

    key: str
    hours: float
    parts_minor: float
    access: tuple[SharedWork, ...] = ()
    follow_ups: tuple[SharedWork, ...] = ()
    positions: tuple[str, ...] = ()
    renews: bool = True
    """Whether the parts are as new afterwards; if not, they look sound and keep their age."""
    given_away: bool = False
    minor_per_hour: float | None = None
    """What an hour counts for; None: as an hour of the vehicle's own."""
    hours_range: tuple[float, float] | None = None
    """Between these four such jobs in five lie; None: as certain as the usual figure."""
    parts_range_minor: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class JobOption:
    """A job that could be done at one vehicle of the batch.

    `cells` are the fitted parts it puts right (rows of the batch's cells): one for a job at a position, all of the
    axle or the vehicle for a job of that scope. Two options that share a cell are alternatives: one of them is taken.
    """

    vehicle: int
    work: JobWork
    cells: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class WaitingTerms:
    """What the best way to wait is expected to cost, term by term; they add up to `total_minor`."""

    failure_minor: int
    """Failing on the road before the job is done, weighted by its chance."""
    later_job_minor: int
    """The planned job done later, weighted by the chance of getting that far."""
    danger_minor: int
    """Exposure and secondary damage over the distance driven while `dangerous`."""
    major_minor: int
    """The same while `major`."""
    renewal_credit_minor: int
    """What the life still used is worth; negative, since it speaks for waiting."""
    kept_part_minor: int = 0
    """Of a job that renews nothing: what the part it keeps is still expected to cost; negative, since doing the job
    does not save it."""

    @property
    def total_minor(self) -> int:
        """The expected cost of the best way to wait, beyond what is still to come after the job."""
        spent = self.failure_minor + self.later_job_minor + self.danger_minor + self.major_minor
        return spent + self.renewal_credit_minor + self.kept_part_minor


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another job for the same parts that would be worth less for its cost."""

    option: int
    cost_now_minor: int
    worth_per_cost: float


@dataclass(frozen=True, slots=True)
class BacklogItem:
    """One job of a vehicle's backlog with every term of its rank."""

    rank: int
    """Place in the vehicle's list, from 1; jobs that can wait go on counting behind the others."""
    option: int
    """Index of the option handed in."""
    vehicle: int
    job: str
    positions: tuple[str, ...]
    cells: tuple[int, ...]
    grade: Grade | None
    """Worst last grade of its parts; None where none was ever examined."""
    before_driving: bool
    """A safety part is dangerous: the vehicle must not be driven before this is done."""
    unseen: bool
    """A part of it was not looked at for too long; where `grade` is below minor, that is why it is listed."""
    cost_now_minor: int
    """Parts, labour, and the access and follow-ups that no job before it in the list has opened."""
    cost_range_minor: tuple[int, int]
    """Four such jobs in five cost between these."""
    hours_range: tuple[float, float]
    hours: float
    """Of the job, and of the access and follow-ups not yet opened."""
    cost_of_waiting_minor: int
    """Expected cost of the best way to wait, less the cost now; positive: waiting is dearer."""
    worth_per_cost: float
    """Cost of waiting per unit of cost now."""
    failure_chance_fraction: float
    """Within the horizon handed in, usually 10,000 km."""
    failure_cost_minor: int
    terms: WaitingTerms
    best_wait: str
    """The cheapest way to wait: "3-months" ... "60-months", "until-major" (found at a look), "until-failure"."""
    do_before_months: int | None
    """Longest wait of the grid that costs no more than now; None: none does."""
    access: tuple[str, ...]
    follow_ups: tuple[str, ...]
    opened_before: tuple[str, ...]
    """The access and follow-ups that an earlier job of the list already pays for."""
    reasons: tuple[Reason, ...]
    alternatives: tuple[Alternative, ...] = ()
    """Of a job worth doing now; among those that can wait each is listed by itself."""


@dataclass(frozen=True, slots=True)
class Backlog:
    """The ranked jobs of one vehicle: `items` are worth doing now, in this order; `can_wait` are not yet."""

    items: tuple[BacklogItem, ...]
    can_wait: tuple[BacklogItem, ...]

    @property
    def total_cost_minor(self) -> int:
        """What everything worth doing now costs together, shared access counted once."""
        return sum(item.cost_now_minor for item in self.items)
