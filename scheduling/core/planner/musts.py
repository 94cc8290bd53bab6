"""The jobs that must be done, taken by themselves."""

from dataclasses import replace

from scheduling.core.planner.problem import PlanProblem


def musts_of(problem: PlanProblem) -> tuple[int, ...]:
    """The jobs that must be done, and those they require, ascending."""
    found = {index for index, job in enumerate(problem.jobs) if job.must}
    grown = set(found)
    while True:
        grown = found | {other for index in found for other in problem.jobs[index].requires}
        if grown == found:
            return tuple(sorted(found))
        found = grown


def musts_alone(problem: PlanProblem, kept: tuple[int, ...]) -> PlanProblem:
    """The problem with these jobs alone, all of which must be done."""
    place = {index: number for number, index in enumerate(kept)}
    jobs = [
        replace(
            problem.jobs[index],
            must=True,
            requires=tuple(place[other] for other in problem.jobs[index].requires),
            excludes=tuple(place[other] for other in problem.jobs[index].excludes if other in place),
        )
        for index in kept
    ]
    return replace(problem, jobs=tuple(jobs))
