"""Prices on waiting: the expected cost of each way to wait with each job, and what that consists of.

A job over several parts is done once: by plan if none of them failed before, else after the first that fails. Their
failures are taken as independent, the first one's cost as their mean weighted by their chances. The cost book's
figures are for one position: of a job over several, `planned_minor` is a share, and the whole of it comes on top of
what a failure of one of them costs.

A job that does not renew leaves the part its age: afterwards it costs what such a part, seen sound, still costs until
it is renewed (`kept`). Waiting with a part is one thing whatever is done about it in the end: options for the same
parts are priced by the cheapest way to wait with any of them.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import Cells, CostBook
from scheduling.core.job_table import JobTable
from scheduling.core.types import FloatArray, IntArray
from scheduling.core.waiting import Waiting


@dataclass(frozen=True, slots=True)
class Priced:
    """What waiting with each of J jobs costs, in minor units; (J, 10) arrays are in the order of `waiting.WAYS`."""

    by_way_minor: FloatArray
    """J(d) of every way to wait."""
    best: IntArray
    """(J,): the cheapest way."""
    failure_minor: FloatArray
    """(J,), like the next four: the parts of the cheapest way's cost; the credit counts against it."""
    later_job_minor: FloatArray
    danger_minor: FloatArray
    major_minor: FloatArray
    credit_minor: FloatArray
    failure_chance_fraction: FloatArray
    """(J,): that any of its parts fails within the horizon."""
    failure_cost_minor: FloatArray
    """(J,): of its parts, weighted by their chance of failing within the horizon."""
    kept_minor: FloatArray
    """(J,): what the parts are still expected to cost after the job; 0 where it renews them."""

    @property
    def saved_minor(self) -> FloatArray:
        """(J,): what doing the job now spares: the best wait, less what is still to come after the job."""
        return self.waiting_minor - self.kept_minor

    @property
    def waiting_minor(self) -> FloatArray:
        """(J,): expected cost of the cheapest way to wait."""
        rows = np.arange(len(self.best))
        return np.asarray(self.by_way_minor[rows, self.best])


def kept_minor(
    repaired: Waiting,
    cells: Cells,
    costs: CostBook,
    credit_minor_per_km: FloatArray,
    life_factor: FloatArray | None = None,
) -> FloatArray:
    """What parts put right without being renewed are still expected to cost, shape (K,), by the best way to wait.

    `repaired` is what waiting leads to with parts of their age that look sound. Never below 0: an old part is at best
    as good as a new one, from which all costs are counted.
    """
    slot = cells.slot
    by_way = (
        repaired.failure_fraction * costs.failure_minor[slot][:, None]
        + (1.0 - repaired.failure_fraction) * costs.planned_minor[slot][:, None]
        + repaired.dangerous_km * costs.dangerous_minor_per_km[slot][:, None]
        + repaired.major_km * costs.major_minor_per_km[slot][:, None]
        - repaired.driven_km * _credit(credit_minor_per_km, slot, life_factor)[:, None]
    )
    return np.asarray(np.maximum(by_way.min(axis=1, initial=np.inf), 0.0))


def priced(
    table: JobTable,
    cells: Cells,
    waiting: Waiting,
    costs: CostBook,
    credit_minor_per_km: FloatArray,
    kept: FloatArray | None = None,
    life_factor: FloatArray | None = None,
) -> Priced:
    """Prices the ways to wait with every job of `table`.

    `waiting` covers all cells (K, 10); `credit_minor_per_km`, shape (S,), is the long-run cost of a new part per
    clock km; `kept`, shape (K,), what each part still costs after a job that does not renew it. Such a job earns no
    credit for being put off: it starts no new life. `life_factor`, shape (K,), is how much longer than the book says
    the part of a cell lasts: by so much a km of its life is cheaper.
    """
    cell, job = table.cell, table.cell_job
    slot = cells.slot[cell]
    failed = waiting.failure_fraction[cell]
    failure_cost = _failure_cost(table, costs, slot)[:, None]
    factor = None if life_factor is None else life_factor[cell]
    credit = _credit(credit_minor_per_km, slot, factor) * table.renews[job]
    none_failed = _product(1.0 - failed, table)
    failure = (1.0 - none_failed) * _mean_by_chance(failed, failure_cost, table)
    after = _kept(table, kept)
    later = none_failed * (table.later_minor + after)[:, None]
    danger = _sum(waiting.dangerous_km[cell] * costs.dangerous_minor_per_km[slot][:, None], table)
    major = _sum(waiting.major_km[cell] * costs.major_minor_per_km[slot][:, None], table)
    saved = _sum(waiting.driven_km[cell] * credit[:, None], table)
    by_way = failure + later + danger + major - saved
    best = np.argmin(by_way, axis=1) if len(by_way) else np.zeros(0, dtype=np.int64)
    rows = np.arange(len(best))
    chance = waiting.failure_chance_fraction[cell][:, None]
    failure_chance = 1.0 - _product(1.0 - chance, table)[:, 0]
    rows = _cheapest_to_wait_with(table, by_way[rows, best])
    best = best[rows]
    return Priced(
        by_way_minor=by_way[rows],
        best=best,
        failure_minor=failure[rows, best],
        later_job_minor=later[rows, best],
        danger_minor=danger[rows, best],
        major_minor=major[rows, best],
        credit_minor=saved[rows, best],
        kept_minor=after,
        failure_chance_fraction=failure_chance,
        failure_cost_minor=_mean_by_chance(chance, failure_cost, table)[:, 0],
    )


def _credit(credit_minor_per_km: FloatArray, slot: IntArray, life_factor: FloatArray | None) -> FloatArray:
    """What a clock km of each part's life is worth."""
    of_book = credit_minor_per_km[slot]
    return of_book if life_factor is None else of_book / life_factor


def _kept(table: JobTable, kept: FloatArray | None) -> FloatArray:
    """What is still to come after each job, shape (J,)."""
    if kept is None or not len(table.cell):
        return np.zeros(len(table.option))
    return np.asarray(np.add.reduceat(kept[table.cell], table.cell_at[:-1]) * ~table.renews)


def _cheapest_to_wait_with(table: JobTable, waiting_minor: FloatArray) -> IntArray:
    """For each option, the one for the very same parts that is cheapest to wait with, shape (J,): most often itself."""
    rows = np.arange(len(waiting_minor))
    if table.renews.all():
        return rows
    same: dict[tuple[int, ...], list[int]] = {}
    for job in rows.tolist():
        cells = table.cell[table.cell_at[job] : table.cell_at[job + 1]]
        same.setdefault(tuple(np.sort(cells).tolist()), []).append(job)
    for jobs in same.values():
        rows[jobs] = min(jobs, key=lambda job: (waiting_minor[job], job))
    return rows


def _failure_cost(table: JobTable, costs: CostBook, slot: IntArray) -> FloatArray:
    """What a failure of each entry of `table.cell` costs: one position's, and what the job takes beyond that.

    The cost book knows one position's share of the usual job; an axle's job renews the other side too, whoever fails.
    """
    beyond = table.later_minor[table.cell_job] - costs.planned_minor[slot]
    return np.asarray(costs.failure_minor[slot] + np.maximum(beyond, 0.0))


def _sum(values: FloatArray, table: JobTable) -> FloatArray:
    return np.asarray(np.add.reduceat(values, table.cell_at[:-1], axis=0)) if len(values) else values


def _product(values: FloatArray, table: JobTable) -> FloatArray:
    return np.asarray(np.multiply.reduceat(values, table.cell_at[:-1], axis=0)) if len(values) else values


def _mean_by_chance(chance: FloatArray, cost: FloatArray, table: JobTable) -> FloatArray:
    """Mean of the cells' costs weighted by their chances; a trace of weight keeps the plain mean where all are 0."""
    weight = chance + 1e-12
    return _sum(weight * cost, table) / _sum(weight, table)
