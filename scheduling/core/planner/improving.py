"""A plan in hand made better: what one vehicle has done at one visit is taken out, and the room filled anew.

Jobs of a vehicle share what has to be opened, so that they move best together; a greedy search that puts in one job
after the other never finds that.
"""

from collections.abc import Callable, Sequence

from scheduling.core.planner.formulation import Model
from scheduling.core.planner.greedy import greedy
from scheduling.core.planner.problem import Placed, PlanProblem
from scheduling.core.types import FloatArray

Plan = tuple[Placed, ...]


def improved(
    problem: PlanProblem,
    model: Model,
    prices: Sequence[FloatArray | None],
    plan: Plan,
    value_of: Callable[[Plan], int | None],
    tries: int,
) -> Plan:
    """The plan, or a better one found within so many fillings; `value_of` tells what a plan is worth, None: unsound.

    Each room is filled once with each of `prices` (see `greedy`). The same problem gives the same plan.
    """
    column_of = {place: column for column, place in enumerate(model.places)}
    best, value = plan, value_of(plan)
    untried = _groups(problem, best)
    while untried and tries > 0:
        vehicle, visit = untried.pop(0)
        kept = [column_of[each] for each in best if (problem.jobs[each.job].vehicle, each.visit) != (vehicle, visit)]
        for price in prices[:tries]:
            tries -= 1
            filled = greedy(problem, model, price, kept)
            found = None if filled is None else value_of(filled)
            if filled is not None and found is not None and (value is None or found > value):
                best, value = filled, found
                untried = _groups(problem, best)
                break
    return best


def _groups(problem: PlanProblem, plan: Plan) -> list[tuple[str, int]]:
    """Each vehicle at each visit at which something is done on it, once."""
    return list(dict.fromkeys((problem.jobs[each.job].vehicle, each.visit) for each in plan))
