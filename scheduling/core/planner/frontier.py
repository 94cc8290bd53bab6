"""What each further amount of money or hour buys."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import Plan, PlanProblem, Status
from scheduling.core.planner.solver import Limits


@dataclass(frozen=True, slots=True)
class Step:
    """One point of the frontier."""

    amount: int
    """Minor units or minutes in all visits together."""
    value_minor: int
    bound_minor: int
    status: Status
    jobs: int
    bought_minor: int
    """What the plan saves beyond the step before."""


def frontier(
    problem: PlanProblem,
    amounts: Sequence[int],
    of: Literal["money", "minutes"] = "money",
    limits: Limits | None = None,
) -> tuple[Step, ...]:
    """Plans for ascending amounts of money (minor units) or working minutes, split over the visits as they are now.

    With `limits` each is solved exactly within them, else answered at once. A plan for less stays possible with more,
    so values never fall: where a quick answer is worse than the one before it, that one stands.
    """
    ordered = sorted(set(amounts))
    steps: list[Step] = []
    best: Plan | None = None
    for amount in ordered:
        trial = _with(problem, amount, of)
        plan = plan_at_once(trial) if limits is None else plan_visits(trial, limits)
        best = plan if best is None or best.status == "infeasible" or plan.value_minor >= best.value_minor else best
        value = best.value_minor
        before = steps[-1].value_minor if steps else 0
        bound = max(plan.bound_minor, value)
        steps.append(Step(amount, value, bound, plan.status, len(best.placed), value - before))
    return tuple(steps)


def _with(problem: PlanProblem, amount: int, of: Literal["money", "minutes"]) -> PlanProblem:
    """The visits with this much in all, each keeping its share, rounded down so that none shrinks as it grows."""
    now = [visit.money_minor if of == "money" else visit.minutes for visit in problem.visits]
    total = sum(now)
    shares = [amount * each // total if total else amount // len(now) for each in now]
    visits = [
        replace(visit, money_minor=share) if of == "money" else replace(visit, minutes=share)
        for visit, share in zip(problem.visits, shares, strict=True)
    ]
    return replace(problem, visits=tuple(visits))
