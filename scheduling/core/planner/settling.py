"""Which columns of a program are settled, so that only the core of it need be searched.

Where the relaxed program leaves a column at one of its ends, putting it to the other costs its reduced cost at least.
So with z the relaxed bound and v the value of a plan in hand, no better plan moves a column whose reduced cost is
above z - v - 1: values are whole. (Core problems: Balas & Zemel, Operations Research 28, 1980.)
"""

import numpy as np

from scheduling.core.planner.formulation import Model
from scheduling.core.planner.solver import Ends, Relaxed

SLACK = 1e-6
"""Of the bound, given for the solver's arithmetic."""
AT_END = 1e-7


def settled(model: Model, bound: Relaxed, value_minor: int) -> Ends:
    """The columns that every plan better than `value_minor` has where the relaxed program has them."""
    room = bound.bound - (value_minor + 1) + SLACK * max(1.0, abs(bound.bound)) ** 0.5
    return _ends(model, bound, bound.loss > room)


def near(model: Model, bound: Relaxed, places: int) -> Ends:
    """All but the `places` job columns that cost least to move, and those done by halves.

    No proof, but where better plans are to be sought.
    """
    loss = bound.loss[: len(model.places)].copy()
    loss[_between(bound.halves[: len(loss)])] = 0.0
    away = np.zeros(model.columns, dtype=bool)
    away[np.argsort(loss, kind="stable")[places:]] = True
    return _ends(model, bound, away)


def _ends(model: Model, bound: Relaxed, fixed: np.ndarray) -> Ends:
    lower, upper = np.zeros(model.columns), np.ones(model.columns)
    fixed = fixed & ~_between(bound.halves)
    lower[fixed] = upper[fixed] = np.round(bound.halves[fixed])
    return Ends(lower, upper)


def _between(halves: np.ndarray) -> np.ndarray:
    return np.asarray((halves > AT_END) & (halves < 1.0 - AT_END))
