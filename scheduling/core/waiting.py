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
from dataclasses import dataclass, fields, replace

import numpy as np

from inspections.core.looking import MISSED_FRACTION
from inspections.core.types import Cells, Residuals
from scheduling.core.types import BoolArray, FloatArray, IntArray

WAIT_MONTHS = (3, 6, 9, 12, 18, 24, 36, 60)
UNTIL_MAJOR = len(WAIT_MONTHS)
UNTIL_FAILURE = UNTIL_MAJOR + 1
WAYS = (*(f"{months}-months" for months in WAIT_MONTHS), "until-major", "until-failure")
"""The ways to wait, in the order of the columns of `Waiting`."""

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
        _block(
            _Lives(_rows(residuals, at), None, np.ones(len(clock_km_per_month[at]))),
            clock_km_per_month[at],
            look_interval_km[at],
            first_look[at],
            horizon_km[at],
        )
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


def waiting_by_group(
    residuals: Residuals,
    group: IntArray,
    groups: int,
    clock_km_per_month: FloatArray,
    look_interval_km: FloatArray,
    horizon_km: FloatArray,
) -> tuple[Waiting, FloatArray]:
    """What each way to wait leads to within each group of possibilities, and the chance of each group.

    `group`, (K, P), says which group (0 to `groups` - 1) a possibility belongs to. The rows of the answer are cell by
    cell, group by group, (K * groups, ...); those of a group that cannot be are 0. Takes little longer than `waiting`.
    """
    cells = len(group)
    chunk = max(CHUNK_POSSIBILITIES // max(group.shape[1], 1), 1)
    blocks, chances = [], [np.zeros(0)]
    for at in (slice(start, start + chunk) for start in range(0, max(cells, 1), chunk)):
        left = _rows(residuals, at)
        owner = group[at] + groups * np.arange(len(left.weight))[:, None]
        chance = _grouped(owner, left.weight, groups * len(left.weight))
        share = 1.0 / np.where(chance > 0.0, chance, 1.0)
        lives = _Lives(replace(left, weight=left.weight * share[owner]), owner, (chance > 0.0).astype(np.float64))
        per_group = (np.repeat(each[at], groups) for each in (clock_km_per_month, look_interval_km, horizon_km))
        km_per_month, interval, horizon = per_group
        blocks.append(_block(lives, km_per_month, interval, interval, horizon))
        chances.append(chance)
    return joined(blocks), np.concatenate(chances)


def _rows(residuals: Residuals, at: slice) -> Residuals:
    return Residuals(*(getattr(residuals, field.name)[at] for field in fields(Residuals)))


@dataclass(frozen=True, slots=True)
class _Lives:
    """Possibilities (K, P), summed over each cell, or over each group within a cell: R rows."""

    left: Residuals
    owner: IntArray | None
    """(K, P): the row each possibility counts to; none where every cell is one row."""
    total: FloatArray
    """(R,): sum of weights."""

    def mean(self, value: FloatArray | BoolArray) -> FloatArray:
        """Weighted sums, (R,), of values (K, P)."""
        if self.owner is None:
            return np.asarray(np.einsum("kp,kp->k", self.left.weight, value.astype(np.float64, copy=False)))
        return _grouped(self.owner, self.left.weight * value, len(self.total))

    def spread(self, of_row: FloatArray) -> FloatArray:
        """Each possibility's value of its row (R,), to be broadcast with (K, P)."""
        return of_row[:, None] if self.owner is None else np.asarray(of_row[self.owner])


def _grouped(owner: IntArray, value: FloatArray, rows: int) -> FloatArray:
    return np.asarray(np.bincount(owner.ravel(), value.ravel(), rows), dtype=np.float64)


def _block(
    lives: _Lives, km_per_month: FloatArray, interval: FloatArray, first_look: FloatArray, horizon: FloatArray
) -> Waiting:
    left = lives.left
    ends = [lives.mean(each) for each in (left.to_major_km, left.to_dangerous_km, left.to_failure_km)]
    outcomes = (
        _after_months(lives, km_per_month),
        _after_a_look(lives, interval, first_look, ends[0]),
        _at_failure(lives, ends),
    )
    failed, driven, major, dangerous = (np.concatenate(column, axis=1) for column in zip(*outcomes, strict=True))
    chance = lives.mean(left.to_failure_km <= lives.spread(horizon))
    return Waiting(failed, driven, major, dangerous, chance)


_Outcome = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""The columns of failure_fraction, driven_km, major_km and dangerous_km, shape (R, ways)."""


def _after_months(lives: _Lives, km_per_month: FloatArray) -> _Outcome:
    until = (lives.total * km_per_month)[:, None] * np.asarray(WAIT_MONTHS, dtype=np.float64)
    failed, past_failure = _below(lives, lives.left.to_failure_km, km_per_month)
    _, past_dangerous = _below(lives, lives.left.to_dangerous_km, km_per_month)
    _, past_major = _below(lives, lives.left.to_major_km, km_per_month)
    return failed, until - past_failure, past_major - past_dangerous, past_dangerous - past_failure


def _below(lives: _Lives, distance: FloatArray, km_per_month: FloatArray) -> tuple[FloatArray, FloatArray]:
    """P(X <= d) and E[max(d - X, 0)] for every d of the grid, shape (R, 8), in one pass over the possibilities.

    A histogram over the grid's intervals, summed up: eight times fewer passes than one comparison a d.
    """
    rows, bins = len(lives.total), len(WAIT_MONTHS) + 1
    steps = np.ceil(distance * lives.spread(1.0 / (_STEP_MONTHS * km_per_month)) - 1e-9)
    np.minimum(steps, len(_BIN_OF_STEP) - 1, out=steps)
    place = _BIN_OF_STEP.take(steps.astype(np.intp))
    place += bins * (np.arange(rows)[:, None] if lives.owner is None else lives.owner)
    weight = lives.left.weight
    chance, moment = (
        _grouped(place, each, rows * bins).reshape(rows, bins)[:, :-1].cumsum(1) for each in (weight, weight * distance)
    )
    return chance, km_per_month[:, None] * np.asarray(WAIT_MONTHS) * chance - moment


_STEP_MONTHS = 3
_BIN_OF_STEP = np.searchsorted(WAIT_MONTHS, _STEP_MONTHS * np.arange(WAIT_MONTHS[-1] // _STEP_MONTHS + 2))
"""The grid's interval of each quarter of a year; every month of the grid is a whole number of quarters."""


def _after_a_look(lives: _Lives, interval: FloatArray, first_look: FloatArray, to_major: FloatArray) -> _Outcome:
    """Each possibility waits until the first look after it is major, or with MISSED_FRACTION until the next."""
    every, first = lives.spread(interval), lives.spread(first_look)
    until = np.ceil((lives.left.to_major_km - first) / every)
    np.maximum(until, 0.0, out=until)
    until *= every
    until += first
    seen = _until_each(lives, until)
    until += every
    missed = _until_each(lives, until)
    failed, driven, not_dangerous = (
        (1.0 - MISSED_FRACTION) * at_first + MISSED_FRACTION * at_next
        for at_first, at_next in zip(seen, missed, strict=True)
    )
    columns = (failed, driven, not_dangerous - to_major, driven - not_dangerous)
    return columns[0][:, None], columns[1][:, None], columns[2][:, None], columns[3][:, None]


def _until_each(lives: _Lives, until: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """P(T <= until), E[min(T, until)], E[min(D, until)]; `until` is never before the part is major."""
    failed = lives.mean(lives.left.to_failure_km <= until)
    driven = lives.mean(np.minimum(lives.left.to_failure_km, until))
    return failed, driven, lives.mean(np.minimum(lives.left.to_dangerous_km, until))


def _at_failure(lives: _Lives, ends: list[FloatArray]) -> _Outcome:
    to_major, to_dangerous, to_failure = (end[:, None] for end in ends)
    return lives.total[:, None], to_failure, to_dangerous - to_major, to_failure - to_dangerous
