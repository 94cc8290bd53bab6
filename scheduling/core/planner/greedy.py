"""A plan at once: put jobs in one after the other, each time the one that saves most for what it takes.

What a job takes is priced: with the relaxed program's prices of money and minutes where they are known, else by the
share of all money and minutes. Access opened by one job is free for the next of that vehicle at that visit. Jobs
that must be done go first, those with the fewest places foremost.
"""

from collections.abc import Iterable

import numpy as np

from scheduling.core.planner.formulation import RESOURCES, Model
from scheduling.core.planner.problem import Placed, PlanProblem
from scheduling.core.types import BoolArray, FloatArray, IntArray

NO_LIMIT = np.iinfo(np.int64).max // 4
TRACE_OF_PRICE = 1e-3
"""Added to a price that is nil, so that of two free jobs the one that takes less goes first."""


def greedy(
    problem: PlanProblem, model: Model, prices: FloatArray | None = None, first: Iterable[int] = ()
) -> tuple[Placed, ...] | None:
    """Places chosen by the greedy rule, or None where a job that must be done found no place.

    `prices`, shape (visits, 2), is what a minute and a minor unit of money at each visit are worth; `first` are
    columns of the model put in before all else, as far as they fit.
    """
    filling = _Filling(problem, model, prices)
    for column in first:
        if filling.allowed(np.array([column]))[0]:
            filling.put(column)
    if not filling.put_musts():
        return None
    filling.fill()
    return tuple(sorted(model.places[column] for column in filling.chosen))


class _Filling:
    """The state of a plan being filled: what is left of every limit, what is open, what each place would add."""

    def __init__(self, problem: PlanProblem, model: Model, prices: FloatArray | None) -> None:
        self.problem, self.model = problem, model
        places = model.places
        self.job = np.array([place.job for place in places], dtype=np.int64)
        self.visit = np.array([place.visit for place in places], dtype=np.int64)
        self.person = np.array([place.person for place in places], dtype=np.int64)
        self.saving = model.gain[: len(places)].copy()
        uses = np.array([need.use for need in model.work.jobs], dtype=np.int64).reshape(-1, len(RESOURCES))
        self.use = uses[self.job]
        self.own_minutes = np.array([job.minutes for job in problem.jobs], dtype=np.int64)[self.job]
        self.free = np.ones(len(places), dtype=bool)
        self.chosen: list[int] = []
        self.done_at: dict[int, int] = {}
        self._limits()
        self._share_units()
        share = self._shares()
        self.prices = (share if prices is None else prices + TRACE_OF_PRICE * share)[self.visit]
        self.excluded: dict[int, set[int]] = {}
        for index, job in enumerate(problem.jobs):
            for other in job.excludes:
                self.excluded.setdefault(index, set()).add(other)
                self.excluded.setdefault(other, set()).add(index)
        self.waits_for = {column for column, place in enumerate(places) if problem.jobs[place.job].requires}
        self.columns_of: list[list[int]] = [[] for _ in problem.jobs]
        for column, place in enumerate(places):
            self.columns_of[place.job].append(column)

    def _limits(self) -> None:
        visits = self.problem.visits
        self.left = np.full((len(visits), len(RESOURCES)), NO_LIMIT, dtype=np.int64)
        self.left[:, 0] = [visit.minutes for visit in visits]
        money = np.array([visit.money_minor for visit in visits], dtype=np.int64)
        self.left[:, 1] = np.cumsum(money) if self.problem.carry_over else money
        for number, visit in enumerate(visits):
            if visit.lift_minutes is not None:
                self.left[number, 2] = visit.lift_minutes
                if visit.stands_minutes is not None:
                    self.left[number, 3] = visit.lift_minutes + visit.stands_minutes
        most = max((len(visit.people) for visit in visits), default=0)
        self.person_left = np.full((len(visits), most + 1), NO_LIMIT, dtype=np.int64)
        for number, visit in enumerate(visits):
            self.person_left[number, : len(visit.people)] = [person.minutes for person in visit.people]

    def _share_units(self) -> None:
        """Adds the cost and use of closed units to every place, and remembers whom an opened one relieves."""
        self.relieves: dict[tuple[int, int], list[int]] = {}
        for column, place in enumerate(self.model.places):
            for group in self.model.work.groups_of[place.job]:
                self.relieves.setdefault((group, place.visit), []).append(column)
        for (group, _), columns in self.relieves.items():
            need = self.model.work.groups[group]
            self.saving[columns] -= need.cost_minor
            self.use[columns] += np.array(need.use, dtype=np.int64)

    def _shares(self) -> FloatArray:
        """Prices where none are known: what is taken as a share of all money and minutes there are."""
        minutes = max(sum(visit.minutes for visit in self.problem.visits), 1)
        money = max(sum(visit.money_minor for visit in self.problem.visits), 1)
        return np.tile([1.0 / minutes, 1.0 / money], (len(self.problem.visits), 1))

    def allowed(self, columns: IntArray) -> BoolArray:
        """Which of these places are not yet taken and fit into what is left."""
        left = self.left
        if self.problem.carry_over and len(left) > 1:
            left = left.copy()
            left[:, 1] = np.minimum.accumulate(left[::-1, 1])[::-1]
        visit = self.visit[columns]
        fits = (self.use[columns] <= left[visit]).all(axis=1)
        fits &= self.own_minutes[columns] <= self.person_left[visit, self.person[columns]]
        fits &= self.free[columns]
        for at, column in enumerate(columns.tolist() if self.waits_for else ()):
            fits[at] &= column not in self.waits_for or self._requirements_met(column)
        return np.asarray(fits)

    def _requirements_met(self, column: int) -> bool:
        visit = int(self.visit[column])
        required = self.problem.jobs[self.job[column]].requires
        return all(self.done_at.get(other, len(self.problem.visits)) <= visit for other in required)

    def put(self, column: int) -> None:
        """Puts the job of this place in, opens its units, and closes what it excludes."""
        visit, job = int(self.visit[column]), int(self.job[column])
        used = self.use[column].copy()
        later = slice(visit, None) if self.problem.carry_over else slice(visit, visit + 1)
        self.left[visit, [0, 2, 3]] -= used[[0, 2, 3]]
        self.left[later, 1] -= used[1]
        self.person_left[visit, self.person[column]] -= self.own_minutes[column]
        for group in self.model.work.groups_of[job]:
            columns = self.relieves.pop((group, visit), None)
            if columns is not None:
                self.saving[columns] += self.model.work.groups[group].cost_minor
                self.use[columns] -= np.array(self.model.work.groups[group].use, dtype=np.int64)
        for closed in (job, *self.excluded.get(job, ())):
            self.free[self.columns_of[closed]] = False
        self.done_at[job] = visit
        self.chosen.append(column)

    def put_musts(self) -> bool:
        """Puts in a job for all that needs to be done, and what it requires; False where one finds no place."""
        waiting = self._unmet(self._needs())
        while waiting:
            open_to = {jobs: self._open_to(jobs) for jobs in waiting}
            ready = [jobs for jobs in waiting if len(open_to[jobs])]
            if not ready:
                return False
            columns = open_to[min(ready, key=lambda each: (len(open_to[each]), each))]
            self.put(int(columns[np.argmax(self.saving[columns])]))
            waiting = self._unmet(waiting)
        return True

    def _open_to(self, jobs: tuple[int, ...]) -> IntArray:
        columns = np.array([column for job in jobs for column in self.columns_of[job]], dtype=np.int64)
        return np.asarray(columns[self.allowed(columns)])

    def _unmet(self, needs: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
        return [jobs for jobs in needs if not any(job in self.done_at for job in jobs)]

    def _needs(self) -> list[tuple[int, ...]]:
        """All that needs to be done, with what the jobs that no other can stand for require."""
        alone = {jobs[0] for jobs in self.problem.needs if len(jobs) == 1}
        reached: set[int] = set()
        while alone - reached:
            job = min(alone - reached)
            reached.add(job)
            alone |= set(self.problem.jobs[job].requires)
        return [*((job,) for job in sorted(alone)), *(jobs for jobs in self.problem.needs if len(jobs) > 1)]

    def fill(self) -> None:
        """Puts in the best of what fits and saves something, until nothing does."""
        columns = np.arange(len(self.model.places))
        while len(columns):
            fitting = columns[self.allowed(columns) & (self.saving[columns] > 0)]
            if not len(fitting):
                return
            self.put(int(fitting[np.argmax(self._worth(fitting))]))
            columns = columns[self.free[columns]]

    def _worth(self, columns: IntArray) -> FloatArray:
        price = (self.use[columns, :2] * self.prices[columns]).sum(axis=1) + 1e-12
        return np.asarray(self.saving[columns] / price)
