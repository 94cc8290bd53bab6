"""The steps of a job short of closing it: planned, begun, declined, put off, opened again."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from fleetcare.support.versions import store
from scheduling.core.job_states import JobState, Step, after, steps
from scheduling.models import Job
from scheduling.services.jobs.opening import seen_dangerous
from scheduling.services.jobs.people import actor_name


def move(job: Job, step: Step, changes: Mapping[str, Any]) -> Job:
    """Takes a step and stores what comes with it; inside a transaction.

    Raises Conflict where a job in this state does not take it, or where the same job is open a second time, and
    StaleWrite where somebody changed it since it was read.
    """
    before, job.state = job.state, require_step(job, step)
    for name, value in changes.items():
        setattr(job, name, value)
    try:
        with transaction.atomic():
            store(job, ["state", *changes])
    except IntegrityError as error:
        raise Conflict("The same job is open already at this place.", code="job-open-already") from error
    if JobState.DEFERRED in {before, job.state}:
        # Its day is a due item, which comes and goes with the assessment.
        touch(job.vehicle)
    return job


def require_step(job: Job, step: Step, before: JobState = JobState.OPEN) -> JobState:
    """The state that a step leads to; raises Conflict, naming what can be done, where it cannot be taken."""
    target = after(JobState(job.state), step, before)
    if target is None:
        can = ", ".join(steps(JobState(job.state)))
        raise Conflict(f"This job is {job.state}; what can be done with it now: {can}.", code="job-state")
    return target


@transaction.atomic
def plan_job(access: Access, job: Job, *, planned_on: date, assigned_to: str = "") -> Job:
    """Sets the day, and who does it. Planners and owners. Raises InvalidInput for a day that has passed."""
    access.require(Role.PLANNER)
    if planned_on < today(access.fleet):
        raise InvalidInput.at("/planned_on", "past", "This day has passed.")
    nothing_decided = {"reason": "", "deferred_until": None}
    return move(job, Step.PLAN, {"planned_on": planned_on, "assigned_to": assigned_to, **nothing_decided})


@transaction.atomic
def start_job(access: Access, job: Job, *, assigned_to: str = "") -> Job:
    """Says that work has begun. Inspectors and above."""
    access.require(Role.INSPECTOR)
    changes: dict[str, Any] = {"reason": "", "deferred_until": None}
    if assigned_to:
        changes["assigned_to"] = assigned_to
    return move(job, Step.START, changes)


@transaction.atomic
def decline_job(access: Access, job: Job, *, reason: str, decided_by: str = "") -> Job:
    """Says that it will not be done, why, and who decided so. Planners and owners.

    `decided_by` is the name of whoever decided, where that was not the one who enters it.
    """
    access.require(Role.PLANNER)
    return move(job, Step.DECLINE, {"planned_on": None, "deferred_until": None, **_decided(access, reason, decided_by)})


@transaction.atomic
def defer_job(access: Access, job: Job, *, until: date, reason: str, decided_by: str = "") -> Job:
    """Puts a job off until a day, with the reason. Planners and owners.

    Raises InvalidInput for a day that is not to come, Conflict where the vehicle must not be driven before it is done.
    """
    access.require(Role.PLANNER)
    if until <= today(access.fleet):
        raise InvalidInput.at("/deferred_until", "past", "Put it off until a day to come.")
    if seen_dangerous(access, job.vehicle, job.part_key, job.positions):
        sentence = "What it remedies was seen dangerous: it is not put off. Do not drive until it is done."
        raise Conflict(sentence, code="dangerous")
    return move(job, Step.DEFER, {"planned_on": None, "deferred_until": until, **_decided(access, reason, decided_by)})


def _decided(access: Access, reason: str, decided_by: str) -> dict[str, Any]:
    return {"reason": reason, "decided_by": decided_by or actor_name(access), "decided_at": timezone.now()}


@transaction.atomic
def reopen_job(access: Access, job: Job) -> Job:
    """Opens a job again that was planned, begun, declined or put off. Planners and owners."""
    access.require(Role.PLANNER)
    blank = {"reason": "", "deferred_until": None, "decided_by": "", "decided_at": None, "planned_on": None}
    return move(job, Step.REOPEN, blank)
