"""The life of a job: which step leads from which state to which. A table, so that nothing is left to a branch."""

from collections.abc import Mapping
from enum import StrEnum


class JobState(StrEnum):
    """Where a job stands."""

    OPEN = "open"
    PLANNED = "planned"
    IN_WORK = "in-work"
    DONE = "done"
    DECLINED = "declined"
    DEFERRED = "deferred"


class Step(StrEnum):
    """What somebody does to a job."""

    PLAN = "plan"
    START = "start"
    CLOSE = "close"
    DECLINE = "decline"
    DEFER = "defer"
    REOPEN = "reopen"
    UNDO = "undo"
    """Takes the closing back; the job then stands where it stood before."""


_OPEN, _PLANNED, _IN_WORK = JobState.OPEN, JobState.PLANNED, JobState.IN_WORK
_DONE, _DECLINED, _DEFERRED = JobState.DONE, JobState.DECLINED, JobState.DEFERRED

LIVE: tuple[JobState, ...] = (_OPEN, _PLANNED, _IN_WORK, _DEFERRED)
"""Still to be done: of these there is one a vehicle, job and place."""

# A job that is under way can be broken off in every way: a part did not come, the customer changed their mind.
TABLE: Mapping[Step, tuple[frozenset[JobState], JobState | None]] = {
    Step.PLAN: (frozenset({_OPEN, _PLANNED, _IN_WORK, _DEFERRED}), _PLANNED),
    Step.START: (frozenset({_OPEN, _PLANNED, _DEFERRED}), _IN_WORK),
    Step.CLOSE: (frozenset({_OPEN, _PLANNED, _IN_WORK, _DEFERRED}), _DONE),
    Step.DECLINE: (frozenset({_OPEN, _PLANNED, _IN_WORK, _DEFERRED}), _DECLINED),
    Step.DEFER: (frozenset({_OPEN, _PLANNED, _IN_WORK, _DEFERRED}), _DEFERRED),
    Step.REOPEN: (frozenset({_PLANNED, _IN_WORK, _DEFERRED, _DECLINED}), _OPEN),
    Step.UNDO: (frozenset({_DONE}), None),
}
"""For each step: the states it may be taken in, and the state it leads to (None: the one before)."""


def sources(step: Step) -> tuple[JobState, ...]:
    """The states in which a step may be taken, in the order of a job's life."""
    allowed, _ = TABLE[step]
    return tuple(state for state in JobState if state in allowed)


def after(state: JobState, step: Step, before: JobState = JobState.OPEN) -> JobState | None:
    """The state a step leads to, or None where it cannot be taken; `before` is what stood before the closing."""
    allowed, target = TABLE[step]
    if state not in allowed:
        return None
    return target or before


def steps(state: JobState) -> tuple[Step, ...]:
    """What may be done to a job in a state."""
    return tuple(step for step in Step if state in TABLE[step][0])
