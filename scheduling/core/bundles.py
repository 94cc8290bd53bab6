"""Jobs that become worth doing only together, because they share access or follow-ups.

What a set of jobs saves is the sum of what each saves without its units, less each closed unit once. The best set is
a maximum closure (Picard 1976): found exactly by a minimum cut between jobs (from the source) and units (to the sink).
"""

from collections import defaultdict, deque
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fleetcare.kernel.money import rounded_minor
from scheduling.core.backlog import Ranking
from scheduling.core.picking import NOT_WORTH


@dataclass(frozen=True, slots=True)
class Bundle:
    """Jobs of one vehicle that can wait singly and are worth doing together."""

    vehicle: int
    options: tuple[int, ...]
    """Indices of the options handed to `rank_jobs`, ascending."""
    shared: tuple[str, ...]
    """The access and follow-ups that two or more of them share."""
    saving_minor: int
    """Expected cost of waiting with all of them, less the cost of all of them now."""
    cost_minor: int


def bundles(ranking: Ranking, vehicle: int) -> tuple[Bundle, ...]:
    """Bundles among the jobs of a vehicle that can wait, given what its other jobs open; the most saving first.

    Together they are the best set of all: no choice of jobs that can wait saves more.
    """
    low, high = np.searchsorted(ranking.table.vehicle, [vehicle, vehicle + 1])
    waiting = [job for job in range(low, high) if ranking.picks.round[job] == NOT_WORTH]
    closed = _Closed(ranking, _one_per_cell(ranking, waiting))
    found = [closed.bundle(vehicle, part) for part in closed.parts(closed.best_set())]
    return tuple(sorted((each for each in found if each.saving_minor > 0), key=lambda each: -each.saving_minor))


def _one_per_cell(ranking: Ranking, jobs: list[int]) -> list[int]:
    """Of alternatives for the same part, the one that saves most without its units."""
    table, waiting_minor = ranking.table, ranking.priced.saved_minor
    kept: list[int] = []
    taken: set[int] = set()
    for job in sorted(jobs, key=lambda each: (table.own_minor[each] - waiting_minor[each], each)):
        cells = set(table.cell[table.cell_at[job] : table.cell_at[job + 1]].tolist())
        if not cells & taken:
            kept.append(job)
            taken |= cells
    return sorted(kept)


class _Closed:
    """Jobs, what each saves without units, and the units not yet opened that they need."""

    def __init__(self, ranking: Ranking, jobs: list[int]) -> None:
        self.ranking = ranking
        table = ranking.table
        savings = ranking.priced.saved_minor - table.own_minor
        self.saving = {job: float(savings[job]) for job in jobs if savings[job] > 0}
        self.units: dict[int, list[int]] = {}
        for job in self.saving:
            low, high = np.searchsorted(table.unit_job, [job, job + 1])
            self.units[job] = table.unit[low:high][~ranking.picks.opened[low:high]].tolist()
        self.cost = {unit: float(table.unit_minor[unit]) for units in self.units.values() for unit in units}

    def best_set(self) -> list[int]:
        """The set that saves most: the jobs on the source's side of a minimum cut."""
        cut = _MaximumFlow()
        for job, saving in self.saving.items():
            cut.add("source", ("job", job), saving)
            for unit in self.units[job]:
                cut.add(("job", job), ("unit", unit), float("inf"))
        for unit, cost in self.cost.items():
            cut.add(("unit", unit), "sink", cost)
        reached = cut.source_side("source", "sink")
        return [job for job in self.saving if ("job", job) in reached]

    def parts(self, jobs: list[int]) -> list[list[int]]:
        """The set taken apart where no unit connects it; single jobs are no bundle."""
        left, parts = set(jobs), []
        while left:
            part = {min(left)}
            while grown := {
                job for job in left - part for other in part if set(self.units[job]) & set(self.units[other])
            }:
                part |= grown
            left -= part
            if len(part) > 1:
                parts.append(sorted(part))
        return parts

    def bundle(self, vehicle: int, jobs: list[int]) -> Bundle:
        """The document of a set of jobs."""
        table = self.ranking.table
        sharing: dict[int, int] = defaultdict(int)
        for job in jobs:
            for unit in self.units[job]:
                sharing[unit] += 1
        units = sum(self.cost[unit] for unit in sharing)
        return Bundle(
            vehicle,
            tuple(sorted(int(table.option[job]) for job in jobs)),
            tuple(table.unit_key[unit] for unit, times in sharing.items() if times > 1),
            rounded_minor(sum(self.saving[job] for job in jobs) - units),
            rounded_minor(sum(float(table.own_minor[job]) for job in jobs) + units),
        )


_Node = str | tuple[str, int]
TRACE = 1e-9
"""Capacity that counts as used up."""


class _MaximumFlow:
    """Shortest augmenting paths (Edmonds & Karp 1972); a vehicle's graph has some dozens of nodes."""

    def __init__(self) -> None:
        self.capacity: dict[_Node, dict[_Node, float]] = defaultdict(dict)

    def add(self, tail: _Node, head: _Node, capacity: float) -> None:
        self.capacity[tail][head] = capacity
        self.capacity[head].setdefault(tail, 0.0)

    def source_side(self, source: _Node, sink: _Node) -> set[_Node]:
        """Nodes still reached from the source once no more flow fits: one side of a minimum cut."""
        came_from = self._reached(source)
        while sink in came_from:
            self._augment(source, sink, came_from)
            came_from = self._reached(source)
        return set(came_from)

    def _reached(self, source: _Node) -> dict[_Node, _Node]:
        came_from: dict[_Node, _Node] = {source: source}
        waiting = deque([source])
        while waiting:
            tail = waiting.popleft()
            for head, capacity in self.capacity[tail].items():
                if capacity > TRACE and head not in came_from:
                    came_from[head] = tail
                    waiting.append(head)
        return came_from

    def _augment(self, source: _Node, sink: _Node, came_from: dict[_Node, _Node]) -> None:
        path = [sink]
        while path[-1] != source:
            path.append(came_from[path[-1]])
        edges = [(tail, head) for head, tail in pairwise(path)]
        flow = min(self.capacity[tail][head] for tail, head in edges)
        for tail, head in edges:
            self.capacity[tail][head] -= flow
            self.capacity[head][tail] += flow
