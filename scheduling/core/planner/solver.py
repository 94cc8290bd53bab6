"""HiGHS, imported only when a plan is asked for: a web process that plans nothing never loads it."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from scheduling.core.planner.formulation import Model
from scheduling.core.types import FloatArray

Outcome = Literal["solved", "stopped", "infeasible"]


@dataclass(frozen=True, slots=True)
class Solved:
    """An answer of the solver: `bound` holds for every solution, `x` is None where it has none."""

    outcome: Outcome
    bound: float
    x: FloatArray | None


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The best of all plans that may do jobs by halves; the arrays are empty where even that is infeasible."""

    outcome: Outcome
    bound: float
    halves: FloatArray
    """Value of each column."""
    price: FloatArray
    """What one more unit of each row's limit is worth."""
    loss: FloatArray
    """What the bound falls by, at least, where a column that is at one of its ends is put to the other."""


@dataclass(frozen=True, slots=True)
class Limits:
    """When the solver may stop: seconds, and the gap as a fraction of the value."""

    seconds: float = 10.0
    tolerance_fraction: float = 0.0
    nodes: int | None = None
    """Branches looked at, at most; unlike seconds, the same on every machine."""


@dataclass(frozen=True, slots=True)
class Ends:
    """Between what values each column may lie: 0 and 1, or one of them where it is settled."""

    lower: FloatArray
    upper: FloatArray


def relaxed(model: Model) -> Relaxed:
    """An upper bound on every plan, and prices of the limits."""
    highs = _loaded(model, whole=False)
    highs.run()
    if _is_infeasible(highs):
        return Relaxed("infeasible", -np.inf, np.zeros(0), np.zeros(0), np.zeros(0))
    solution = highs.getSolution()
    bound = float(highs.getInfo().objective_function_value)
    price, loss = (np.abs(np.array(each)) for each in (solution.row_dual, solution.col_dual))
    return Relaxed("solved", bound, np.array(solution.col_value), price, loss)


def solved(model: Model, limits: Limits, start: FloatArray | None = None, ends: Ends | None = None) -> Solved:
    """The best plan within `limits`; `start` is a known plan (a value for every column) to improve on.

    `ends` settles some columns; bound and infeasibility then hold for what is left to choose.
    """
    highs = _loaded(model, whole=True, ends=ends)
    if limits.nodes is not None:
        highs.setOptionValue("mip_max_nodes", limits.nodes)
    highs.setOptionValue("time_limit", limits.seconds)
    highs.setOptionValue("mip_rel_gap", limits.tolerance_fraction)
    highs.setOptionValue("mip_abs_gap", 0.5)
    if start is not None:
        _set_start(highs, start)
    highs.run()
    if _is_infeasible(highs):
        return Solved("infeasible", -np.inf, None)
    info = highs.getInfo()
    stopped = highs.modelStatusToString(highs.getModelStatus()) != "Optimal"
    x = np.array(highs.getSolution().col_value) if info.primal_solution_status == 2 else None
    return Solved("stopped" if stopped else "solved", float(info.mip_dual_bound), x)


def _loaded(model: Model, *, whole: bool, ends: Ends | None = None) -> Any:
    import highspy

    # The class around it prints a banner to standard output when made, before anything can silence it.
    from highspy._core import _Highs

    lp = highspy.HighsLp()
    starts, row, value = model.column_starts()
    lp.num_col_, lp.num_row_ = model.columns, len(model.rows.upper)
    lp.col_cost_ = model.gain
    lp.col_lower_ = np.zeros(model.columns) if ends is None else ends.lower
    lp.col_upper_ = np.ones(model.columns) if ends is None else ends.upper
    lp.row_lower_, lp.row_upper_ = np.array(model.rows.lower), np.array(model.rows.upper)
    lp.sense_ = highspy.ObjSense.kMaximize
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = starts, row, value
    if whole:
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[column < len(model.places)] for column in range(model.columns)]
    highs: Any = _Highs()
    highs.setOptionValue("output_flag", False)  # noqa: FBT003 - the library's own signature
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("random_seed", 0)
    highs.passModel(lp)
    return highs


def _set_start(highs: Any, start: FloatArray) -> None:
    import highspy

    solution = highspy.HighsSolution()
    solution.col_value = start.tolist()
    highs.setSolution(solution)


def _is_infeasible(highs: Any) -> bool:
    status: str = highs.modelStatusToString(highs.getModelStatus())
    return "nfeasible" in status
