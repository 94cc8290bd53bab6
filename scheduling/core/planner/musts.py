"""What must be done, taken by itself."""

from dataclasses import replace

from scheduling.core.planner.problem import PlanProblem


def musts_of(problem: PlanProblem) -> tuple[int, ...]:
    """The jobs that must be done or may be done for it, and those they require, ascending."""
    found = {index for jobs in problem.needs for index in jobs}
    while True:
        grown = found | {other for index in found for other in problem.jobs[index].requires}
        if grown == found:
            return tuple(sorted(found))
        found = grown


def musts_alone(problem: PlanProblem, kept: tuple[int, ...]) -> PlanProblem:
    """The problem with these jobs alone, and all that needs to be done."""
    place = {index: number for number, index in enumerate(kept)}
    jobs = [
        replace(
            problem.jobs[index],
            requires=tuple(place[other] for other in problem.jobs[index].requires),
            excludes=tuple(place[other] for other in problem.jobs[index].excludes if other in place),
        )
        for index in kept
    ]
    needed = tuple(tuple(place[index] for index in jobs) for jobs in problem.needed)
    return replace(problem, jobs=tuple(jobs), needed=needed)
