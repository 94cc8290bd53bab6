"""The coming year's cost of parts that came with the vehicle and that nobody has looked at.

They are most of a vehicle's parts, and mostly all that is asked of them is this one figure. With no look to weigh, a
life p of failure X_p on a vehicle of clock x is met at the age and with the weight of `as_bought`, and the cost of
`tended_year` becomes sums over lives of one array of ages, so that what is left of each life is never laid out. With
c = min(U, h) and the distances M <= D <= T to major, dangerous and failure, and M <= U:

    fails  T <= c        renewed  U <= h and T > c
    km dangerous  min(T, c) - min(D, c)        km major  min(D, c) - min(M, h)

The figures are those of `life_filter` and `tended_year`, up to the order in which sums are taken.
"""

import numpy as np

from inspections.core.as_bought import ages_at_start
from inspections.core.looking import MISSED_FRACTION
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.types import Cells, CostBook, FloatArray, IntArray
from inspections.core.yearly_cost import MONTHS

PARTS_AT_ONCE = 128
"""Rows of lives worked on together, so that they stay in the processor's cache."""
_MAJOR, _DANGEROUS, _FAILED = 1, 2, 3


def unlooked_year_cost(
    lives: PlausibleLives,
    costs: CostBook,
    cells: Cells,
    first_look_km: FloatArray,
    every_km: FloatArray,
    *,
    driven_km_per_clock_km: FloatArray,
) -> FloatArray:
    """Expected cost [minor units] of each part over the next 12 months of its vehicle's own use, shape (K,).

    `lives` are those of the whole book, and `cells` parts as bought without a look at them; the rest as in
    `tended_year.tended_year_cost`.
    """
    order = np.argsort(cells.slot, kind="stable")  # parts of one kind together: their lives stay in the cache
    expected = np.empty(len(order))
    for first in range(0, len(order), PARTS_AT_ONCE):
        part = order[first : first + PARTS_AT_ONCE]
        slot = cells.slot[part]
        fails, renewed, major_km, dangerous_km = _expected(
            lives,
            slot,
            cells.now_clock_km[part],
            MONTHS * cells.clock_km_per_month[part],
            first_look_km[part],
            every_km[part],
        )
        exposure = costs.major_minor_per_km[slot] * major_km + costs.dangerous_minor_per_km[slot] * dangerous_km
        jobs = costs.failure_minor[slot] * fails + costs.planned_minor[slot] * renewed
        expected[part] = jobs + driven_km_per_clock_km[part] * exposure
    return expected


def _expected(
    lives: PlausibleLives,
    row: IntArray,
    now_clock_km: FloatArray,
    horizon_km: FloatArray,
    first_look_km: FloatArray,
    every_km: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Chances of failing and of being renewed by plan, and km in `major` and `dangerous`, each (n,)."""
    first, every, horizon = first_look_km[:, None], every_km[:, None], horizon_km[:, None]
    failure = lives.threshold_km[_FAILED].take(row, axis=0)
    age, weight = ages_at_start(
        failure, lives.weight, lives.age_fraction, np.minimum(now_clock_km, lives.oldest_km[row])
    )
    failure -= age
    major, dangerous = (_left(lives, row, threshold, age) for threshold in (_MAJOR, _DANGEROUS))
    until = (major - first) / every
    np.maximum(np.ceil(until, out=until), 0.0, out=until)
    until *= every
    until += first
    free_km = np.vecdot(weight, np.minimum(major, horizon, out=major))
    room = age
    sums = np.zeros((4, len(row)))
    for share in (1.0 - MISSED_FRACTION, MISSED_FRACTION):
        end = np.minimum(until, horizon, out=major)
        gone = failure <= end
        by_plan = (until <= horizon) & ~gone
        sums += share * np.array(
            [
                np.vecdot(weight, gone.astype(np.float64)),
                np.vecdot(weight, by_plan.astype(np.float64)),
                np.vecdot(weight, np.minimum(dangerous, end, out=room)),
                np.vecdot(weight, np.minimum(failure, end, out=room)),
            ]
        )
        until += every
    fails, renewed, safe_km, driven_km = sums / weight.sum(axis=1)
    return fails, renewed, safe_km - free_km / weight.sum(axis=1), driven_km - safe_km


def _left(lives: PlausibleLives, row: IntArray, threshold: int, age: FloatArray) -> FloatArray:
    left: FloatArray = lives.threshold_km[threshold].take(row, axis=0)
    left -= age
    np.maximum(left, 0.0, out=left)
    return left
