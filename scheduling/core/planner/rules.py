"""Who and what may go together: which visits and people can take a job, and whether a problem makes sense."""

from collections.abc import Iterator

from fleetcare.kernel.errors import Fault, raise_if_any
from scheduling.core.planner.problem import Placed, PlanJob, PlanProblem, PlanUnit, Visit


def saving_at(problem: PlanProblem, job: PlanJob, visit: Visit) -> int:
    """What the job saves if done at this visit, without its units."""
    return job.saving_minor - job.loss_minor_per_day * (visit.day - problem.visits[0].day)


def visit_can_take(job: PlanJob, visit: Visit) -> bool:
    """Whether day, vehicle and bays allow the job at this visit; minutes and money are not looked at."""
    return may_come(job, visit) and in_time(job, visit) and has_bay(job, visit)


def may_come(job: PlanJob, visit: Visit) -> bool:
    """Whether the job's vehicle comes to the visit."""
    return not visit.vehicles or job.vehicle in visit.vehicles


def in_time(job: PlanJob, visit: Visit) -> bool:
    """Whether the visit is neither before the job's earliest nor after its latest day."""
    not_early = job.earliest_day is None or visit.day >= job.earliest_day
    return not_early and (job.latest_day is None or visit.day <= job.latest_day)


def has_bay(job: PlanJob, visit: Visit) -> bool:
    """Whether the visit has the stands or the lift that the job and its units need; work of no minutes needs none."""
    work: list[PlanJob | PlanUnit] = [job, *job.units]
    needs = {each.bay for each in work if each.minutes}
    has_lift = visit.lift_minutes is None or visit.lift_minutes > 0
    has_stands = has_lift or visit.stands_minutes is None or visit.stands_minutes > 0
    return (has_lift or "lift" not in needs) and (has_stands or "stands" not in needs)


def people_for(job: PlanJob, visit: Visit) -> list[int]:
    """Who at the visit can do the job: indices, or [-1] where nobody is named."""
    if not visit.people:
        return [-1]
    return [index for index, person in enumerate(visit.people) if set(job.skills) <= set(person.skills)]


def possible_places(problem: PlanProblem) -> list[Placed]:
    """Every job at every visit and person that can take it, in order."""
    return [
        Placed(job, visit, person)
        for job, wanted in enumerate(problem.jobs)
        for visit, occasion in enumerate(problem.visits)
        if visit_can_take(wanted, occasion)
        for person in people_for(wanted, occasion)
    ]


def units_of(problem: PlanProblem, placed: list[Placed]) -> dict[tuple[int, str, str], PlanUnit]:
    """The access and follow-ups of these jobs, once a visit and vehicle: by visit, vehicle and key."""
    needed = {}
    for place in placed:
        job = problem.jobs[place.job]
        for unit in job.units:
            needed[place.visit, job.vehicle, unit.key] = unit
    return needed


def require_sense(problem: PlanProblem) -> None:
    """Raises InvalidInput naming every part of the problem that contradicts itself."""
    raise_if_any(_faults(problem))


def _faults(problem: PlanProblem) -> Iterator[Fault]:
    days = [visit.day for visit in problem.visits]
    if not days:
        yield Fault("/visits", "empty", "A plan needs at least one visit.")
    if days != sorted(days):
        yield Fault("/visits", "order", "Visits must be in the order of their dates.")
    for index, visit in enumerate(problem.visits):
        if visit.minutes < 0 or visit.money_minor < 0:
            yield Fault(f"/visits/{index}", "negative", "Hours and money of a visit cannot be negative.")
    for number, jobs in enumerate(problem.needed):
        if not jobs or not all(0 <= index < len(problem.jobs) for index in jobs):
            yield Fault(f"/needed/{number}", "unknown-job", "What is needed is one of the jobs of the plan.")
    units: dict[tuple[str, str], PlanUnit] = {}
    for index, job in enumerate(problem.jobs):
        yield from _job_faults(problem, index, job, units)


def _job_faults(
    problem: PlanProblem, index: int, job: PlanJob, units: dict[tuple[str, str], PlanUnit]
) -> Iterator[Fault]:
    if job.minutes < 0 or job.cash_minor < 0 or job.loss_minor_per_day < 0:
        yield Fault(f"/jobs/{index}", "negative", "Hours, money and daily loss of a job cannot be negative.")
    for other in (*job.requires, *job.excludes):
        if other == index or not 0 <= other < len(problem.jobs):
            yield Fault(f"/jobs/{index}", "unknown-job", "A job can only require or exclude other jobs of the plan.")
    for unit in job.units:
        if units.setdefault((job.vehicle, unit.key), unit) != unit:
            yield Fault(f"/jobs/{index}/units", "differs", f"{unit.key} is described differently by another job.")
        if min(unit.cost_minor, unit.cash_minor, unit.minutes) < 0:
            yield Fault(f"/jobs/{index}/units", "negative", "Cost, money and minutes cannot be negative.")
