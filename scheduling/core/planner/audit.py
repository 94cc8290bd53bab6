"""Counts a plan again in integers, from the problem alone, and names every rule it breaks.

It shares nothing with the formulation or the greedy search, so that a mistake there cannot hide here.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from scheduling.core.planner.problem import Placed, PlanJob, PlanProblem, PlanUnit, VisitPlan


@dataclass(frozen=True, slots=True)
class Audit:
    """What a choice of places amounts to."""

    value_minor: int
    visits: tuple[VisitPlan, ...]
    broken: tuple[str, ...]
    """One sentence a broken rule; empty: the plan holds."""


def audited(problem: PlanProblem, placed: Iterable[Placed]) -> Audit:
    """Recounts the jobs placed; needed jobs missing, capacities passed and orders reversed are told in `broken`."""
    listed = sorted(placed, key=lambda place: (place.visit, place.job))
    visits = tuple(_visit(problem, number, listed) for number in range(len(problem.visits)))
    broken = [*_broken_by_jobs(problem, listed), *_broken_by_money(problem, visits)]
    for number in range(len(problem.visits)):
        broken += _broken_at_visit(problem, number, [place for place in listed if place.visit == number])
    return Audit(sum(visit.saving_minor for visit in visits), visits, tuple(broken))


def _visit(problem: PlanProblem, number: int, listed: list[Placed]) -> VisitPlan:
    visit = problem.visits[number]
    here = [place for place in listed if place.visit == number]
    jobs = [problem.jobs[place.job] for place in here]
    units = _units(jobs)
    waited = visit.day - problem.visits[0].day
    savings = sum(job.saving_minor - job.loss_minor_per_day * waited for job in jobs)
    return VisitPlan(
        day=visit.day,
        jobs=tuple(here),
        units=tuple(sorted(units)),
        minutes=sum(job.minutes for job in jobs) + sum(unit.minutes for unit in units.values()),
        cash_minor=sum(job.cash_minor for job in jobs) + sum(unit.cash_minor for unit in units.values()),
        saving_minor=savings - sum(unit.cost_minor for unit in units.values()),
    )


def _units(jobs: list[PlanJob]) -> dict[tuple[str, str], PlanUnit]:
    return {(job.vehicle, unit.key): unit for job in jobs for unit in job.units}


def _broken_by_jobs(problem: PlanProblem, listed: list[Placed]) -> Iterator[str]:
    at = {place.job: place.visit for place in listed}
    for number, times in Counter(place.job for place in listed).items():
        if times > 1:
            yield f"job {number} is planned {times} times"
    for jobs in problem.needs:
        if not any(index in at for index in jobs):
            yield f"{_named(jobs)} must be done and is left out"
    for index, visit in at.items():
        job = problem.jobs[index]
        for other in job.requires:
            if at.get(other, len(problem.visits)) > visit:
                yield f"job {index} requires job {other}, which is not done by then"
        for other in job.excludes:
            if other in at:
                yield f"jobs {index} and {other} exclude each other"


def _named(jobs: tuple[int, ...]) -> str:
    return f"job {jobs[0]}" if len(jobs) == 1 else f"one of jobs {', '.join(map(str, jobs))}"


def _broken_by_money(problem: PlanProblem, visits: tuple[VisitPlan, ...]) -> Iterator[str]:
    in_hand = 0
    for number, (visit, done) in enumerate(zip(problem.visits, visits, strict=True)):
        in_hand = visit.money_minor + (in_hand if problem.carry_over else 0) - done.cash_minor
        if in_hand < 0:
            yield f"visit {number} spends {-in_hand} more than there is"


def _broken_at_visit(problem: PlanProblem, number: int, here: list[Placed]) -> Iterator[str]:
    visit = problem.visits[number]
    jobs = [problem.jobs[place.job] for place in here]
    work: list[PlanJob | PlanUnit] = [*jobs, *_units(jobs).values()]
    if sum(each.minutes for each in work) > visit.minutes:
        yield f"visit {number} takes more minutes than it has"
    on_lift = sum(each.minutes for each in work if each.bay == "lift")
    raised = sum(each.minutes for each in work if each.bay)
    if visit.lift_minutes is not None:
        if on_lift > visit.lift_minutes:
            yield f"visit {number} uses the lift longer than it is there"
        if visit.stands_minutes is not None and raised > visit.lift_minutes + visit.stands_minutes:
            yield f"visit {number} uses lift and stands longer than they are there"
    yield from _broken_by_people(problem, number, here)
    for job in jobs:
        early = job.earliest_day is not None and visit.day < job.earliest_day
        late = job.latest_day is not None and visit.day > job.latest_day
        if early or late or (visit.vehicles and job.vehicle not in visit.vehicles):
            yield f"{job.key} of {job.vehicle} cannot be done at visit {number}"


def _broken_by_people(problem: PlanProblem, number: int, here: list[Placed]) -> Iterator[str]:
    visit = problem.visits[number]
    used: Counter[int] = Counter()
    for place in here:
        job = problem.jobs[place.job]
        used[place.person] += job.minutes
        if visit.people and not (
            0 <= place.person < len(visit.people) and set(job.skills) <= set(visit.people[place.person].skills)
        ):
            yield f"nobody able is named for job {place.job} at visit {number}"
    for index, person in enumerate(visit.people):
        if used[index] > person.minutes:
            yield f"{person.key} works longer at visit {number} than agreed"
