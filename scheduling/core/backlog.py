"""The backlog: jobs ranked by what waiting costs more than doing them now, per unit of cost now.

Greedy, vehicle by vehicle: take the job with the largest (J_wait - c_now) / c_now, open its access and follow-ups
(free for the jobs after it), look again, and stop when nothing is worth doing now. All vehicles advance together,
one pick each a round, so that one vehicle and two thousand are the same arrays. Jobs that put right a dangerous
safety part come first, worth or not: that is a rule, not a price.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np

from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import rounded_minor
from inspections.core.types import Cells, CostBook
from scheduling.core.backlog_items import Columns, backlog_item, columns
from scheduling.core.job_table import JobTable, job_table
from scheduling.core.picking import ALTERNATIVE_PICKED, Picks, picks
from scheduling.core.pricing import Priced, priced
from scheduling.core.types import Alternative, Backlog, BacklogItem, BoolArray, FloatArray, IntArray, JobOption
from scheduling.core.waiting import Waiting

HORIZON_KM = 10_000.0
"""Distance over which the chance of failing is told."""


@dataclass(frozen=True)
class Ranking:
    """The backlogs of a batch; documents are made vehicle by vehicle when asked for."""

    options: Sequence[JobOption]
    table: JobTable
    priced: Priced
    picks: Picks
    grade: IntArray
    """(J,): worst last grade of the job's parts; -1 where none was ever examined."""
    before_driving: BoolArray
    unseen: BoolArray
    horizon_km: float

    @cached_property
    def fleet_order(self) -> IntArray:
        """The jobs worth doing now, over all vehicles, in the order of one common greedy choice.

        A vehicle's next job is on offer only after the one before it, so each counts with the least worth so far.
        """
        chosen = np.flatnonzero(self.picks.round >= 0)
        vehicle, turn = self.table.vehicle[chosen], self.picks.round[chosen]
        chosen = chosen[np.lexsort((turn, vehicle))]
        first = self.before_driving[chosen]
        worth = np.where(first, np.inf, self.picks.worth_per_cost[chosen])
        least = _least_so_far(worth, self.table.vehicle[chosen])
        order = np.lexsort((np.arange(len(chosen)), -least, ~first))
        return np.asarray(chosen[order])

    def of(self, vehicle: int) -> Backlog:
        """The backlog of one vehicle of the batch; empty where it has no open jobs."""
        low, high = np.searchsorted(self.table.vehicle, [vehicle, vehicle + 1])
        jobs = np.arange(low, high)
        turn = self.picks.round[jobs]
        items = jobs[turn >= 0][np.argsort(turn[turn >= 0], kind="stable")]
        rest = jobs[turn == -1]
        can_wait = rest[np.lexsort((rest, -self.picks.worth_per_cost[rest]))]
        listed = [self.item(int(job), rank) for rank, job in enumerate((*items, *can_wait), start=1)]
        return Backlog(tuple(listed[: len(items)]), tuple(listed[len(items) :]))

    def item(self, job: int, rank: int) -> BacklogItem:
        """The document of row `job` of the table, ranked as told."""
        return backlog_item(self._columns, self.options, job, rank, self.horizon_km, self._others(job))

    def _others(self, job: int) -> tuple[Alternative, ...]:
        """The jobs left aside because this one was picked for one of their parts, the most worth first."""
        cells = self.table.cell[self.table.cell_at[job] : self.table.cell_at[job + 1]].tolist()
        rows = sorted({row for cell in cells for row in self._left_aside.get(cell, ())})
        worth, cost = self.picks.worth_per_cost, self.picks.cost_now_minor
        rows.sort(key=lambda row: -worth[row])
        option = self.table.option
        return tuple(Alternative(int(option[row]), rounded_minor(cost[row]), float(worth[row])) for row in rows)

    @cached_property
    def _left_aside(self) -> dict[int, list[int]]:
        """Rows of the alternatives left aside, by cell."""
        found: dict[int, list[int]] = {}
        for row in np.flatnonzero(self.picks.round == ALTERNATIVE_PICKED).tolist():
            for cell in self.table.cell[self.table.cell_at[row] : self.table.cell_at[row + 1]].tolist():
                found.setdefault(cell, []).append(row)
        return found

    @cached_property
    def _columns(self) -> Columns:
        return columns(self.table, self.priced, self.picks, self.grade, self.before_driving, self.unseen)

    @property
    def alternatives(self) -> IntArray:
        """Options left aside because another job for the same part was picked (indices of the options handed in)."""
        return np.asarray(self.table.option[self.picks.round == ALTERNATIVE_PICKED])


def _least_so_far(worth: FloatArray, vehicle: IntArray) -> FloatArray:
    """Running minimum within each run of equal vehicles."""
    least = worth.copy()
    step = 1
    while step < len(least):
        same = vehicle[step:] == vehicle[:-step]
        if not same.any():
            break
        least[step:] = np.where(same, np.minimum(least[step:], least[:-step]), least[step:])
        step *= 2
    return least


def rank_jobs(
    options: Sequence[JobOption],
    cells: Cells,
    grade: IntArray,
    waiting: Waiting,
    costs: CostBook,
    credit_minor_per_km: FloatArray,
    rate_minor_per_hour: FloatArray,
    unseen_too_long: BoolArray | None = None,
    horizon_km: float = HORIZON_KM,
    kept: FloatArray | None = None,
    life_factor: FloatArray | None = None,
) -> Ranking:
    """Ranks the jobs of one or of many vehicles; every vehicle on its own, each by the same rule.

    options: jobs that could be done; those none of whose parts has a finding or is unseen for too long are ignored.
    grade: last grade of each cell, shape (K,), -1 where it was never examined.
    waiting: what each way to wait leads to, for all cells (K, 10), see `waiting.waiting`; rows of cells that no
        candidate touches are not read. `candidates` tells which rows are.
    credit_minor_per_km: long-run cost of a new part per clock km, shape (S,), see `long_run.long_run_cost_per_km`.
    rate_minor_per_hour: what an hour of work counts for, shape (V,).
    unseen_too_long: cells listed although they have no finding, shape (K,).
    horizon_km: the distance that `waiting.failure_chance_fraction` stands for, only told in the reasons.
    kept: what each part still costs after a job that puts it right without renewing it, shape (K,), see
        `pricing.kept_minor`; only read for cells of such jobs.
    life_factor: how much longer than the book says each cell's part lasts, shape (K,); None: as the book says.

    Raises ValueError where an option has no cells.
    """
    unseen = np.zeros(len(grade), dtype=bool) if unseen_too_long is None else unseen_too_long
    listed = (grade >= Grade.MINOR) | unseen
    judged = _touching(options, listed)
    table = job_table([options[index] for index in judged.tolist()], rate_minor_per_hour)
    danger = costs.safety[cells.slot] & (grade == Grade.DANGEROUS)
    prices = priced(table, cells, waiting, costs, credit_minor_per_km, kept, life_factor)
    first = _any(danger, table)
    picked = picks(table, prices.saved_minor, first)
    table = table.numbered(judged)
    return Ranking(options, table, prices, picked, _worst(grade, table), first, _any(unseen, table), horizon_km)


def candidates(options: Sequence[JobOption], grade: IntArray, unseen_too_long: BoolArray | None = None) -> IntArray:
    """Rows of the cells whose residuals `rank_jobs` needs: all cells of the jobs that it will judge, ascending."""
    unseen = np.zeros(len(grade), dtype=bool) if unseen_too_long is None else unseen_too_long
    kept = _touching(options, (grade >= Grade.MINOR) | unseen)
    cells = chain.from_iterable(options[index].cells for index in kept.tolist())
    return np.unique(np.fromiter(cells, np.int64))


def _touching(options: Sequence[JobOption], listed: BoolArray) -> IntArray:
    """Indices of the options with at least one cell that is listed."""
    lengths = np.fromiter((len(option.cells) for option in options), np.int64, len(options))
    if not lengths.all():
        raise ValueError("A job option must put at least one fitted part right.")
    cell = np.fromiter(chain.from_iterable(option.cells for option in options), np.int64, int(lengths.sum()))
    option = np.repeat(np.arange(len(options)), lengths)
    return np.unique(option[listed[cell]])


def _any(flag: BoolArray, table: JobTable) -> BoolArray:
    if not len(table.cell):
        return np.zeros(0, dtype=bool)
    return np.asarray(np.logical_or.reduceat(flag[table.cell], table.cell_at[:-1]))


def _worst(grade: IntArray, table: JobTable) -> IntArray:
    if not len(table.cell):
        return np.zeros(0, dtype=np.int64)
    return np.asarray(np.maximum.reduceat(grade[table.cell], table.cell_at[:-1]))
