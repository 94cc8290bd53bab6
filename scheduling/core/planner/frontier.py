"""What each further amount of money or hours buys."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import Placed, Plan, PlanProblem, Status
from scheduling.core.planner.solver import Limits

Of = Literal["money", "minutes"]


@dataclass(frozen=True, slots=True)
class Step:
    """One point of the frontier."""

    amount: int
    """Minor units or minutes in all visits together."""
    value_minor: int
    """0 where not all that must be done fits (`status` "infeasible")."""
    bound_minor: int
    """No plan with this much saves more."""
    status: Status
    placed: tuple[Placed, ...]
    bought_minor: int
    """What the plan saves beyond the step before."""

    @property
    def gap_fraction(self) -> float:
        """How much of the bound the plan may fall short of, at most."""
        return (self.bound_minor - self.value_minor) / max(abs(self.bound_minor), 1)

    @property
    def jobs(self) -> frozenset[int]:
        """Which jobs the plan does."""
        return frozenset(place.job for place in self.placed)


def frontier(
    problem: PlanProblem, amounts: Sequence[int], of: Of = "money", limits: Limits | None = None
) -> tuple[Step, ...]:
    """Plans for ascending amounts of money (minor units) or working minutes, split over the visits as they are now.

    With `limits` each is solved exactly within them, else answered at once. A plan for less stays possible with more,
    so among the amounts with which all that must be done fits, values never fall: where an answer is worse than the
    one before it, that one stands. Nor is the bound of less ever above the bound of more.
    """
    kept: list[tuple[int, Plan, Plan]] = []
    for amount in sorted(set(amounts)):
        trial = _with(problem, amount, of)
        plan = plan_at_once(trial) if limits is None else plan_visits(trial, limits)
        before = kept[-1][1] if kept else plan
        kept.append((amount, _better(before, plan), plan))
    steps: list[Step] = []
    for number, (amount, best, _) in enumerate(kept):
        bound = min(max(later.bound_minor, held.value_minor) for _, held, later in kept[number:])
        bound = max(bound, best.value_minor) if best.status != "infeasible" else 0
        bought = best.value_minor - (steps[-1].value_minor if steps else 0)
        steps.append(Step(amount, best.value_minor, bound, _status(best, bound, limits), best.placed, bought))
    return tuple(steps)


def _status(best: Plan, bound_minor: int, limits: Limits | None) -> Status:
    if best.status == "infeasible":
        return "infeasible"
    tolerance = limits.tolerance_fraction if limits else 0.0
    return "optimal" if bound_minor - best.value_minor <= tolerance * max(abs(bound_minor), 1) else "feasible"


def _better(before: Plan, plan: Plan) -> Plan:
    """What is done with more: the new plan, unless the one for less, which stays possible, saves more."""
    if before.status == "infeasible":
        return plan
    return plan if plan.status != "infeasible" and plan.value_minor >= before.value_minor else before


def useful_amount(problem: PlanProblem, of: Of = "money") -> int:
    """Beyond this much money (minor units) or time (minutes) nothing further is bought: all jobs with all their units.

    An upper limit; units are counted once for each job that needs them, since visits may be many.
    """
    if of == "money":
        return sum(job.cash_minor + sum(unit.cash_minor for unit in job.units) for job in problem.jobs)
    return sum(job.minutes + sum(unit.minutes for unit in job.units) for job in problem.jobs)


def _with(problem: PlanProblem, amount: int, of: Of) -> PlanProblem:
    """The visits with this much in all, each keeping its share, rounded down so that none shrinks as it grows."""
    now = [visit.money_minor if of == "money" else visit.minutes for visit in problem.visits]
    total = sum(now)
    shares = [amount * each // total if total else amount // len(now) for each in now]
    visits = [
        replace(visit, money_minor=share) if of == "money" else replace(visit, minutes=share)
        for visit, share in zip(problem.visits, shares, strict=True)
    ]
    return replace(problem, visits=tuple(visits))
