"""The decision index: what the ways to wait with a job lead to, for many fitted parts at once.

For a part with possible distances M, D, T to the grades major and dangerous and to failure, doing the job after d
(or at failure, if that comes first) costs

    J(d) = E[ T <= d ? C_f - g T : C - g d   + e3 (km dangerous before min(T, d)) + e2 (km major before it) ]

with C the planned job, C_f the job after a failure, e2 and e3 the costs per km in those states and g the long-run
cost per km of a new part (the renewal credit: every km still driven on the old part puts off the next ones). This
module finds the expectations, without money; `backlog` puts prices on them. With A_X(d) = E[max(d - X, 0)]:
E[min(T, d)] = d - A_T, km dangerous = A_D - A_T, km major = A_M - A_D.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields

import numpy as np

from inspections.core.types import Cells, Residuals
from scheduling.core.types import BoolArray, FloatArray, IntArray

WAIT_MONTHS = (3, 6, 9, 12, 18, 24, 36, 60)
UNTIL_MAJOR = len(WAIT_MONTHS)
UNTIL_FAILURE = UNTIL_MAJOR + 1
WAYS = (*(f"{months}-months" for months in WAIT_MONTHS), "until-major", "until-failure")
"""The ways to wait, in the order of the columns of `Waiting`."""

MISSED_FRACTION = 0.2
"""Chance that the first look after a part became major does not see it; the next one does."""

LOOK_EVERY_KM = 10_000.0
LOOK_MONTHS = (3.0, 24.0)
CHUNK_POSSIBILITIES = 46_080
"""Lives computed at once: few enough that the arrays stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """What each way to wait leads to; shape (K, 10) in the order of `WAYS`, except the last."""

    failure_fraction: FloatArray
    """Chance that it fails on the road before the job is done."""
    driven_km: FloatArray
    """Expected clock km until the part is renewed, by the job or after failing."""
    major_km: FloatArray
    """Of these, driven while major."""
    dangerous_km: FloatArray
    """Of these, driven while dangerous."""
    failure_chance_fraction: FloatArray
    """Shape (K,): chance of failing within the horizon if nothing is done."""

    def scattered(self, rows: IntArray, count: int) -> "Waiting":
        """The same laid out over `count` cells, these at `rows`; the others read 0 and must not be judged."""
        return Waiting(*(_scattered(getattr(self, field.name), rows, count) for field in fields(self)))


def _scattered(values: FloatArray, rows: IntArray, count: int) -> FloatArray:
    laid_out = np.zeros((count, *values.shape[1:]))
    laid_out[rows] = values
    return laid_out


def joined(parts: Iterable[Waiting]) -> Waiting:
    """Several blocks of cells under one another, in their order."""
    blocks = list(parts)
    return Waiting(*(np.concatenate([getattr(block, field.name) for block in blocks]) for field in fields(Waiting)))


def look_interval_clock_km(
    clock_km_per_month: FloatArray, km_per_month: FloatArray, every_km: float = LOOK_EVERY_KM
) -> FloatArray:
    """Clock distance between two looks: `every_km` of the vehicle's own use, kept within 3 to 24 months.

    Shapes (K,); `km_per_month` is what the vehicle drives.
    """
    months = np.clip(every_km / np.maximum(km_per_month, 1e-9), *LOOK_MONTHS)
    return np.asarray(months * clock_km_per_month)


def waiting(
    residuals: Residuals,
    clock_km_per_month: FloatArray,
    look_interval_km: FloatArray,
    horizon_km: FloatArray,
    next_look_km: FloatArray | None = None,
) -> Waiting:
    """What each way to wait leads to, for cells with these residuals (K, P).

    `clock_km_per_month`, `look_interval_km` (between looks), `horizon_km` (for the chance of failing) and
    `next_look_km` (until the next look; one interval if not given) have shape (K,) and are clock km.
    """
    first_look = look_interval_km if next_look_km is None else next_look_km
    cells, possibilities = residuals.weight.shape
    chunk = max(CHUNK_POSSIBILITIES // max(possibilities, 1), 1)
    blocks = [
        _block(_rows(residuals, at), clock_km_per_month[at], look_interval_km[at], first_look[at], horizon_km[at])
        for at in (slice(start, start + chunk) for start in range(0, max(cells, 1), chunk))
    ]
    return joined(blocks)


def waiting_of_rows(
    residuals_of: Callable[[IntArray], Residuals],
    cells: Cells,
    rows: IntArray,
    look_interval_km: FloatArray,
    horizon_km: FloatArray,
    chunk_cells: int = 4096,
) -> Waiting:
    """The same for the cells at `rows` only, laid out over all cells, with flat memory.

    `residuals_of(rows)` gives the residuals of a block of cells; the other arguments cover all cells (K,).
    """
    blocks = [
        waiting(residuals_of(block), cells.clock_km_per_month[block], look_interval_km[block], horizon_km[block])
        for block in (rows[start : start + chunk_cells] for start in range(0, max(len(rows), 1), chunk_cells))
    ]
    return joined(blocks).scattered(rows, len(cells.slot))


def _rows(residuals: Residuals, at: slice) -> Residuals:
    return Residuals(*(getattr(residuals, field.name)[at] for field in fields(Residuals)))


def _block(
    left: Residuals, km_per_month: FloatArray, interval: FloatArray, first_look: FloatArray, horizon: FloatArray
) -> Waiting:
    ends = [_mean(left.weight, each) for each in (left.to_major_km, left.to_dangerous_km, left.to_failure_km)]
    outcomes = (
        _after_months(left, km_per_month),
        _after_a_look(left, interval, first_look, ends[0]),
        _at_failure(ends),
    )
    failed, driven, major, dangerous = (np.concatenate(column, axis=1) for column in zip(*outcomes, strict=True))
    return Waiting(failed, driven, major, dangerous, left.failure_chance_fraction(horizon))


_Outcome = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""The columns of failure_fraction, driven_km, major_km and dangerous_km, shape (K, ways)."""


def _after_months(left: Residuals, km_per_month: FloatArray) -> _Outcome:
    until = km_per_month[:, None] * np.asarray(WAIT_MONTHS, dtype=np.float64)
    failed, past_failure = _below(left.to_failure_km, left.weight, km_per_month)
    _, past_dangerous = _below(left.to_dangerous_km, left.weight, km_per_month)
    _, past_major = _below(left.to_major_km, left.weight, km_per_month)
    return failed, until - past_failure, past_major - past_dangerous, past_dangerous - past_failure


def _below(distance: FloatArray, weight: FloatArray, km_per_month: FloatArray) -> tuple[FloatArray, FloatArray]:
    """P(X <= d) and E[max(d - X, 0)] for every d of the grid, shape (K, 8), in one pass over the possibilities.

    A histogram over the grid's intervals, summed up: eight times fewer passes than one comparison a d.
    """
    cells, bins = len(distance), len(WAIT_MONTHS) + 1
    steps = np.ceil(distance * (1.0 / (_STEP_MONTHS * km_per_month))[:, None] - 1e-9)
    np.minimum(steps, len(_BIN_OF_STEP) - 1, out=steps)
    place = _BIN_OF_STEP.take(steps.astype(np.intp))
    place += np.arange(0, cells * bins, bins)[:, None]
    chance, moment = (
        np.bincount(place.ravel(), weights=each.ravel(), minlength=cells * bins).reshape(cells, bins)[:, :-1].cumsum(1)
        for each in (weight, weight * distance)
    )
    return chance, km_per_month[:, None] * np.asarray(WAIT_MONTHS) * chance - moment


_STEP_MONTHS = 3
_BIN_OF_STEP = np.searchsorted(WAIT_MONTHS, _STEP_MONTHS * np.arange(WAIT_MONTHS[-1] // _STEP_MONTHS + 2))
"""The grid's interval of each quarter of a year; every month of the grid is a whole number of quarters."""


def _after_a_look(left: Residuals, interval: FloatArray, first_look: FloatArray, to_major: FloatArray) -> _Outcome:
    """Each possibility waits until the first look after it is major, or with MISSED_FRACTION until the next."""
    every = interval[:, None]
    until = np.ceil((left.to_major_km - first_look[:, None]) / every)
    np.maximum(until, 0.0, out=until)
    until *= every
    until += first_look[:, None]
    seen = _until_each(left, until)
    until += every
    missed = _until_each(left, until)
    failed, driven, not_dangerous = (
        (1.0 - MISSED_FRACTION) * at_first + MISSED_FRACTION * at_next
        for at_first, at_next in zip(seen, missed, strict=True)
    )
    columns = (failed, driven, not_dangerous - to_major, driven - not_dangerous)
    return columns[0][:, None], columns[1][:, None], columns[2][:, None], columns[3][:, None]


def _until_each(left: Residuals, until: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """P(T <= until), E[min(T, until)], E[min(D, until)]; `until` is never before the part is major."""
    failed = _mean(left.weight, left.to_failure_km <= until)
    driven = _mean(left.weight, np.minimum(left.to_failure_km, until))
    return failed, driven, _mean(left.weight, np.minimum(left.to_dangerous_km, until))


def _at_failure(ends: list[FloatArray]) -> _Outcome:
    to_major, to_dangerous, to_failure = (end[:, None] for end in ends)
    return np.ones_like(to_failure), to_failure, to_dangerous - to_major, to_failure - to_dangerous


def _mean(weight: FloatArray, value: FloatArray | BoolArray) -> FloatArray:
    return np.asarray(np.einsum("kp,kp->k", weight, value.astype(np.float64, copy=False)))
