"""The jobs of a batch of vehicles in their order: what waiting costs, against what doing them now costs."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.looking import LOOK_EVERY_KM, look_interval_clock_km
from inspections.core.types import CostBook, FloatArray, IntArray, LifeBook, Looks, Residuals
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch
from inspections.services.left import cells_at, residuals_at
from scheduling.core.backlog import HORIZON_KM, Ranking, candidates, rank_jobs
from scheduling.core.long_run import long_run_cost_per_km, new_part_residuals
from scheduling.core.look_worth import unseen_too_long
from scheduling.core.pricing import kept_minor
from scheduling.core.types import JobOption
from scheduling.core.waiting import Waiting, joined, waiting
from scheduling.services.options import job_options

_ROWS_AT_ONCE = 1_024


class OpenJobs:
    """The jobs that could put right what was found in a batch, and what becomes of their parts as that is seen."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.options = job_options(batch)
        self.interval_km = look_interval(batch)
        cells = batch.cells
        # The horizon is told in km of the road; each part's own clock runs slower or faster.
        self.horizon_km = HORIZON_KM * cells.clock_km_per_month / (batch.km_per_year[cells.vehicle] / 12.0)
        self.rows: IntArray = (
            candidates(self.options, batch.last_grade) if self.options else np.zeros(0, dtype=np.int64)
        )
        self.wanted = np.zeros(len(cells.slot), dtype=bool)
        self.wanted[self.rows] = True
        self._seen: list[Waiting] = []

    def see(self, rows: IntArray, left: Residuals) -> None:
        """What is left of the next cells at `rows`, in ascending order from call to call."""
        chosen = np.flatnonzero(self.wanted[rows])
        if len(chosen):
            mine, rows = left.at(chosen), rows[chosen]
            pace = self.batch.cells.clock_km_per_month[rows]
            self._seen.append(waiting(mine, pace, self.interval_km[rows], self.horizon_km[rows]))

    def ranking(self) -> Ranking | None:
        """The jobs of every vehicle in their order, once all wanted cells were seen; None where there are none."""
        if not self.options:
            return None
        batch, cells = self.batch, self.batch.cells
        costs = fleet_costs(batch.prices)
        return rank_jobs(
            self.options,
            cells,
            batch.last_grade,
            joined(self._seen).scattered(self.rows, len(cells.slot)),
            costs,
            renewal_credit(batch),
            np.full(len(batch.vehicles), batch.prices.terms.own_minor_per_hour),
            unseen_too_long(batch.last_grade, batch.since_look_km, self.interval_km, costs.safety[cells.slot]),
            kept=_kept(batch, self.options, self.interval_km, self.horizon_km),
            life_factor=batch.life_factor[cells.vehicle],
        )


def ranked(batch: Batch) -> Ranking | None:
    """The jobs of every vehicle of a batch in their order; None where nothing was found at all."""
    jobs = OpenJobs(batch)
    for start in range(0, len(jobs.rows), _ROWS_AT_ONCE):
        rows = jobs.rows[start : start + _ROWS_AT_ONCE]
        jobs.see(rows, residuals_at(batch, rows))
    return jobs.ranking()


def look_interval(batch: Batch) -> FloatArray:
    """Clock distance between looks at each part, shape (K,)."""
    return look_interval_clock_km(batch.cells.clock_km_per_month, batch.km_per_year[batch.cells.vehicle] / 12.0)


def _kept(batch: Batch, options: Sequence[JobOption], interval: FloatArray, horizon: FloatArray) -> FloatArray:
    """What parts put right without being renewed still cost, shape (K,); 0 where no such job is offered."""
    kept = np.zeros(len(batch.cells.slot))
    rows = np.unique([cell for option in options if not option.work.renews for cell in option.cells]).astype(np.int64)
    if not len(rows):
        return kept
    mended = seen_sound(batch, rows)
    cells = cells_at(batch.cells, rows)
    after = waiting(residuals_at(mended, rows), cells.clock_km_per_month, interval[rows], horizon[rows])
    factor = batch.life_factor[cells.vehicle]
    kept[rows] = kept_minor(after, cells, fleet_costs(batch.prices), renewal_credit(batch), factor)
    return kept


def seen_sound(batch: Batch, rows: IntArray) -> Batch:
    """The batch as if these parts had just been put right: at their age, and seen sound now.

    The defects seen since they were last sound, and the figures measured, say no more of them.
    """
    looks, now = batch.looks, batch.cells.now_clock_km
    mended = np.zeros(len(now), dtype=bool)
    mended[rows] = True
    sound = looks.grade == Grade.SOUND
    last_sound = np.full(len(now), -np.inf)
    np.maximum.at(last_sound, looks.cell[sound], looks.clock_km[sound])
    over = mended[looks.cell] & (looks.clock_km > last_sound[looks.cell])
    cell = np.concatenate([looks.cell[~over], rows])
    clock = np.concatenate([looks.clock_km[~over], now[rows]])
    grade = np.concatenate([looks.grade[~over], np.full(len(rows), int(Grade.SOUND))])
    order = np.argsort(cell, kind="stable")
    fresh = Looks(cell[order], clock[order], grade[order])
    return replace(batch, looks=fresh, measured=batch.measured.without(rows))


def renewal_credit(batch: Batch) -> FloatArray:
    """Long-run cost of a new part per clock km, by slot, at the fleet's prices and with the lives it learned."""
    book = batch.book
    key = (batch.prices.key, book.life_km.tobytes(), book.life_cv.tobytes())
    return _credit(key, lambda: (book, fleet_costs(batch.prices)))


_credits: dict[tuple[Any, ...], FloatArray] = {}
_CREDITS_KEPT = 64


def _credit(key: tuple[Any, ...], inputs: Callable[[], tuple[LifeBook, CostBook]]) -> FloatArray:
    """Kept between batches, since it takes longer than ranking one vehicle; the key says all it rests on."""
    if key not in _credits:
        if len(_credits) >= _CREDITS_KEPT:
            _credits.clear()
        book, costs = inputs()
        interval = np.full(len(book.life_km), LOOK_EVERY_KM)
        _credits[key] = long_run_cost_per_km(new_part_residuals(book), costs, interval)
    return _credits[key]
