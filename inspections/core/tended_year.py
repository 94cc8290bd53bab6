"""What a part is expected to cost over the coming year if its vehicle is looked at and what is found is put right.

The part is renewed at the first look at which it is major (a look misses that with MISSED_FRACTION, the next does
not), or when it fails, whichever comes first. Over the horizon h, with T the distance to failure, M and D those to
major and dangerous, and U the distance to that look,

    E[ T <= min(U, h) ? failure cost : (U <= h ? planned cost : 0)
       + major cost per km * km driven in major + dangerous cost per km * km driven in dangerous, until min(T, U, h) ]

Nothing is expected of the part that follows. What leaving everything alone would cost is `yearly_cost`.
"""

import numpy as np

from inspections.core.looking import MISSED_FRACTION, first_found_km
from inspections.core.types import Cells, CostBook, FloatArray, Residuals
from inspections.core.yearly_cost import MONTHS, ROWS_AT_ONCE


def tended_year_cost(
    residuals: Residuals,
    costs: CostBook,
    cells: Cells,
    first_look_km: FloatArray,
    every_km: FloatArray,
    *,
    driven_km_per_clock_km: FloatArray,
) -> FloatArray:
    """Expected cost [minor units] of each part over the next 12 months of its vehicle's own use, shape (K,).

    `first_look_km` (0: due now) and `every_km`, both (K,), are clock km to the next look and between looks;
    `driven_km_per_clock_km`, (K,), turns clock km in a bad state into km driven, which the exposure is priced by.
    """
    expected = np.empty(len(cells.slot))
    for first in range(0, len(expected), ROWS_AT_ONCE):
        part = slice(first, first + ROWS_AT_ONCE)
        seen = first_found_km(residuals.to_major_km[part], first_look_km[part], every_km[part])
        ways = ((1.0 - MISSED_FRACTION, seen), (MISSED_FRACTION, seen + every_km[part, None]))
        expected[part] = sum(
            share * _expected_minor(residuals, part, until, costs, cells, driven_km_per_clock_km)
            for share, until in ways
        )
    return expected


def _expected_minor(
    residuals: Residuals, part: slice, until: FloatArray, costs: CostBook, cells: Cells, pace: FloatArray
) -> FloatArray:
    """With each possibility, (n, P), renewed at `until` or at failure."""
    slot, weight = cells.slot[part], residuals.weight[part]
    horizon = MONTHS * cells.clock_km_per_month[part, None]
    end = np.minimum(residuals.to_failure_km[part], until)
    fails = (residuals.to_failure_km[part] <= until) & (end <= horizon)
    renewed = (end <= horizon) & ~fails
    stop = np.minimum(end, horizon)
    dangerous_from = np.minimum(residuals.to_dangerous_km[part], stop)
    dangerous_km = np.vecdot(weight, stop - dangerous_from)
    major_km = np.vecdot(weight, dangerous_from - np.minimum(residuals.to_major_km[part], stop))
    exposure = costs.major_minor_per_km[slot] * major_km + costs.dangerous_minor_per_km[slot] * dangerous_km
    jobs = costs.failure_minor[slot] * np.vecdot(weight, fails.astype(np.float64))
    jobs += costs.planned_minor[slot] * np.vecdot(weight, renewed.astype(np.float64))
    return np.asarray(jobs + pace[part] * exposure)
