"""Prices on waiting: the expected cost of each way to wait with each job, and what that consists of.

A job over several parts is done once: by plan if none of them failed before, else after the first that fails. Their
failures are taken as independent, the first one's cost as their mean weighted by their chances. The cost book's
figures are for one position: of a job over several, `planned_minor` is a share, and the whole of it comes on top of
what a failure of one of them costs.
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

    @property
    def waiting_minor(self) -> FloatArray:
        """(J,): expected cost of the cheapest way to wait."""
        rows = np.arange(len(self.best))
        return np.asarray(self.by_way_minor[rows, self.best])


def priced(table: JobTable, cells: Cells, waiting: Waiting, costs: CostBook, credit_minor_per_km: FloatArray) -> Priced:
    """Prices the ways to wait with every job of `table`.

    `waiting` covers all cells (K, 10); `credit_minor_per_km`, shape (S,), is the long-run cost of a new part per
    clock km. A job that does not renew its parts earns no credit for being put off: it starts no new life.
    """
    cell, job = table.cell, table.cell_job
    slot = cells.slot[cell]
    failed = waiting.failure_fraction[cell]
    failure_cost = _failure_cost(table, costs, slot)[:, None]
    credit = credit_minor_per_km[slot] * table.renews[job]
    none_failed = _product(1.0 - failed, table)
    failure = (1.0 - none_failed) * _mean_by_chance(failed, failure_cost, table)
    later = none_failed * table.later_minor[:, None]
    danger = _sum(waiting.dangerous_km[cell] * costs.dangerous_minor_per_km[slot][:, None], table)
    major = _sum(waiting.major_km[cell] * costs.major_minor_per_km[slot][:, None], table)
    saved = _sum(waiting.driven_km[cell] * credit[:, None], table)
    by_way = failure + later + danger + major - saved
    best = np.argmin(by_way, axis=1) if len(by_way) else np.zeros(0, dtype=np.int64)
    rows = np.arange(len(best))
    chance = waiting.failure_chance_fraction[cell][:, None]
    failure_chance = 1.0 - _product(1.0 - chance, table)[:, 0]
    return Priced(
        by_way_minor=by_way,
        best=best,
        failure_minor=failure[rows, best],
        later_job_minor=later[rows, best],
        danger_minor=danger[rows, best],
        major_minor=major[rows, best],
        credit_minor=saved[rows, best],
        failure_chance_fraction=failure_chance,
        failure_cost_minor=_mean_by_chance(chance, failure_cost, table)[:, 0],
    )


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
