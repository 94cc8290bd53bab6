"""What a part is expected to cost over the coming year if nothing is done before it falls due.

Over the horizon h, with T the distance to failure, M and D those to major and dangerous,

    E[ T <= h ? failure cost : (M <= h ? planned cost : 0)
       + major cost per km * km driven in major + dangerous cost per km * km driven in dangerous, until min(T, h) ]

The planned job falls due when the part is graded major. Nothing is expected of the part that replaces a failed one.
"""

import numpy as np

from inspections.core.types import BoolArray, Cells, CostBook, FloatArray, IntArray, Residuals

MONTHS = 12
ROWS_AT_ONCE = 256
"""Parts worked on together, so that memory does not grow with the batch."""


def next_year_cost(
    residuals: Residuals, costs: CostBook, cells: Cells, *, driven_km_per_clock_km: FloatArray | float = 1.0
) -> FloatArray:
    """Expected cost [minor units] of each part over the next 12 months of its vehicle's own use, shape (K,).

    `driven_km_per_clock_km` (scalar or (K,)) turns clock km in a bad state into km driven, which the exposure is
    priced by; 1 where the clock keeps pace with the odometer.
    """
    horizon = MONTHS * cells.clock_km_per_month
    pace = np.broadcast_to(np.asarray(driven_km_per_clock_km, dtype=np.float64), horizon.shape)
    expected = np.empty(len(horizon))
    for first in range(0, len(horizon), ROWS_AT_ONCE):
        part = slice(first, first + ROWS_AT_ONCE)
        expected[part] = _expected_minor(_rows(residuals, part), costs, cells.slot[part], horizon[part], pace[part])
    return expected


def _expected_minor(
    residuals: Residuals, costs: CostBook, slot: IntArray, horizon_km: FloatArray, pace: FloatArray
) -> FloatArray:
    horizon = horizon_km[:, None]
    end = np.minimum(residuals.to_failure_km, horizon)
    dangerous_from = np.minimum(residuals.to_dangerous_km, end)
    major_from = np.minimum(residuals.to_major_km, end)
    fails = _chance(residuals, residuals.to_failure_km <= horizon)
    falls_due = _chance(residuals, residuals.to_major_km <= horizon)
    dangerous_km = np.vecdot(residuals.weight, end - dangerous_from)
    major_km = np.vecdot(residuals.weight, dangerous_from - major_from)
    exposure = costs.major_minor_per_km[slot] * major_km + costs.dangerous_minor_per_km[slot] * dangerous_km
    jobs = costs.failure_minor[slot] * fails + costs.planned_minor[slot] * (falls_due - fails)
    return np.asarray(jobs + pace * exposure)


def _chance(residuals: Residuals, happens: BoolArray) -> FloatArray:
    return np.asarray(np.vecdot(residuals.weight, happens.astype(np.float64)))


def _rows(residuals: Residuals, part: slice) -> Residuals:
    return Residuals(
        residuals.weight[part],
        residuals.to_minor_km[part],
        residuals.to_major_km[part],
        residuals.to_dangerous_km[part],
        residuals.to_failure_km[part],
    )
