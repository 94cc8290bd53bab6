"""The greedy order: every vehicle picks its best job, opens that job's access, and looks again."""

from dataclasses import dataclass

import numpy as np

from scheduling.core.job_table import JobTable
from scheduling.core.types import BoolArray, FloatArray, IntArray

LEAST_COST_MINOR = 1.0
"""Below one minor unit a job counts as costing one, so that a free job ranks first instead of nowhere."""


@dataclass(frozen=True, slots=True)
class Picks:
    """What became of each of J options."""

    round: IntArray
    """The round in which it was picked; -1: not worth doing now, -2: an alternative was picked."""
    cost_now_minor: FloatArray
    """With what was open when it was picked, or at the end for those that were not."""
    hours: FloatArray
    worth_per_cost: FloatArray
    opened: BoolArray
    """(N,) along `unit_job`: that unit was already paid for by an earlier pick."""


NOT_WORTH = -1
ALTERNATIVE_PICKED = -2


def picks(table: JobTable, waiting_minor: FloatArray, first: BoolArray) -> Picks:
    """Picks in rounds until no vehicle has a job worth doing; those marked `first` (J,) go first, worth or not."""
    return _Picking(table, waiting_minor, first).run()


class _Picking:
    def __init__(self, table: JobTable, waiting_minor: FloatArray, first: BoolArray) -> None:
        jobs = len(table.option)
        self.table, self.waiting_minor, self.first = table, waiting_minor, first
        self.round = np.full(jobs, NOT_WORTH, dtype=np.int64)
        self.left = np.ones(jobs, dtype=bool)
        self.open = np.zeros(len(table.unit_minor), dtype=bool)
        self.opened = np.zeros(len(table.unit), dtype=bool)
        self.cost = np.zeros(jobs)
        self.hours = np.zeros(jobs)
        self.worth = np.zeros(jobs)
        self.unit_at = np.searchsorted(table.unit_job, np.arange(jobs + 1))
        self.cell_job = table.cell_job
        self.shares_cells = len(np.unique(table.cell)) < len(table.cell)

    def run(self) -> Picks:
        jobs = np.arange(len(self.round))
        number = 0
        while len(jobs):
            self._price(jobs)
            picked = self._best_of_each_vehicle(jobs)
            self.round[picked] = number
            self.left[picked] = False
            self._open_units(picked)
            self._drop_alternatives(picked)
            vehicles = np.zeros(int(self.table.vehicle[-1]) + 1, dtype=bool)
            vehicles[self.table.vehicle[picked]] = True
            jobs = jobs[self.left[jobs] & vehicles[self.table.vehicle[jobs]]]
            number += 1
        return Picks(self.round, self.cost, self.hours, self.worth, self.opened)

    def _price(self, jobs: IntArray) -> None:
        """Costs of these jobs with what is open now; whatever is not priced again keeps its last price."""
        entries = _entries(self.unit_at, jobs)
        units = self.table.unit[entries]
        self.opened[entries] = self.open[units]
        place = np.repeat(np.arange(len(jobs)), self.unit_at[jobs + 1] - self.unit_at[jobs])
        closed = ~self.open[units]
        extra = np.bincount(place, weights=self.table.unit_minor[units] * closed, minlength=len(jobs))
        hours = np.bincount(place, weights=self.table.unit_hours[units] * closed, minlength=len(jobs))
        self.cost[jobs] = self.table.own_minor[jobs] + extra
        self.hours[jobs] = self.table.own_hours[jobs] + hours
        saving = self.waiting_minor[jobs] - self.cost[jobs]
        self.worth[jobs] = saving / np.maximum(self.cost[jobs], LEAST_COST_MINOR)

    def _best_of_each_vehicle(self, jobs: IntArray) -> IntArray:
        """The first of the best of each vehicle, where it is worth doing or must go first."""
        order = np.lexsort((jobs, -self.worth[jobs], ~self.first[jobs], self.table.vehicle[jobs]))
        vehicle = self.table.vehicle[jobs][order]
        leads = np.concatenate([[True], vehicle[1:] != vehicle[:-1]])
        best = jobs[order[leads]]
        return np.asarray(best[self.first[best] | (self.worth[best] > 0.0)])

    def _open_units(self, picked: IntArray) -> None:
        self.open[self.table.unit[_entries(self.unit_at, picked)]] = True

    def _drop_alternatives(self, picked: IntArray) -> None:
        if not self.shares_cells or not len(picked):
            return
        covered = np.zeros(int(self.table.cell.max()) + 1, dtype=bool)
        covered[self.table.cell[_entries(self.table.cell_at, picked)]] = True
        drop = np.unique(self.cell_job[covered[self.table.cell]])
        drop = drop[self.left[drop]]
        self.left[drop] = False
        self.round[drop] = ALTERNATIVE_PICKED


def _entries(at: IntArray, rows: IntArray) -> IntArray:
    """The flat places of ragged rows, one row after the other."""
    lengths = at[rows + 1] - at[rows]
    within = np.arange(int(lengths.sum())) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    return np.asarray(np.repeat(at[rows], lengths) + within)
