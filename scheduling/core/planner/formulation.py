"""The planning problem as a mixed integer program in plain arrays.

Variables: x = 1 where a job goes to a visit (and a person), y = 1 where an access or follow-up of a vehicle is opened
at a visit. Maximise savings of x less costs of y, with x <= y for each unit a job needs, capacities of minutes, money,
people and bays, and the orders among jobs. Units that only one job needs are folded into that job, units needed by
exactly the same jobs are one. The y need not be declared integer: with x whole, the cheapest y are whole too.
"""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from scheduling.core.planner.problem import Placed, PlanProblem, PlanUnit, Rule
from scheduling.core.planner.rules import possible_places, saving_at
from scheduling.core.types import FloatArray, IntArray

RESOURCES = ("minutes", "money", "lift-minutes", "bay-minutes")


@dataclass(frozen=True, slots=True)
class Need:
    """What a piece of work takes: its cost against the value, and one figure for each of RESOURCES."""

    cost_minor: int
    use: tuple[int, int, int, int]

    def with_unit(self, unit: PlanUnit) -> "Need":
        """The same and this unit."""
        own = (unit.minutes, unit.cash_minor, unit.minutes * (unit.bay == "lift"), unit.minutes * (unit.bay != ""))
        use = tuple(mine + more for mine, more in zip(self.use, own, strict=True))
        return Need(self.cost_minor + unit.cost_minor, (use[0], use[1], use[2], use[3]))


NOTHING = Need(0, (0, 0, 0, 0))


@dataclass(frozen=True, slots=True)
class Work:
    """Jobs with the units that only they need folded in, and the groups of units that several jobs share."""

    jobs: tuple[Need, ...]
    groups: tuple[Need, ...]
    groups_of: tuple[tuple[int, ...], ...]
    """For each job, the groups it needs."""


def work_of(problem: PlanProblem) -> Work:
    """Folds and groups the units of a problem."""
    sharers: dict[tuple[str, str], list[int]] = defaultdict(list)
    units: dict[tuple[str, str], PlanUnit] = {}
    for index, job in enumerate(problem.jobs):
        for unit in {unit.key: unit for unit in job.units}.values():
            sharers[job.vehicle, unit.key].append(index)
            units[job.vehicle, unit.key] = unit
    jobs = [NOTHING.with_unit(PlanUnit("", 0, job.cash_minor, job.minutes, job.bay)) for job in problem.jobs]
    groups: dict[tuple[int, ...], Need] = {}
    for place, sharing in sharers.items():
        if len(sharing) == 1:
            jobs[sharing[0]] = jobs[sharing[0]].with_unit(units[place])
        else:
            groups[tuple(sharing)] = groups.get(tuple(sharing), NOTHING).with_unit(units[place])
    groups_of: list[list[int]] = [[] for _ in problem.jobs]
    for number, sharing_jobs in enumerate(groups):
        for job_index in sharing_jobs:
            groups_of[job_index].append(number)
    return Work(tuple(jobs), tuple(groups.values()), tuple(tuple(each) for each in groups_of))


@dataclass(slots=True)
class Rows:
    """Constraints, collected entry by entry: lower <= sum of value * column <= upper."""

    row: list[int] = field(default_factory=list)
    column: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)

    def add(self, columns: list[int], values: list[float], upper: float, lower: float = -np.inf) -> int:
        """Adds a row and returns its number."""
        number = len(self.upper)
        self.row += [number] * len(columns)
        self.column += columns
        self.value += values
        self.lower.append(lower)
        self.upper.append(upper)
        return number


@dataclass(frozen=True, slots=True)
class Model:
    """A program to maximise `gain`; the first columns are `places` (whole), the rest units (shares suffice)."""

    places: tuple[Placed, ...]
    gain: FloatArray
    rows: Rows
    row_of: dict[tuple[Rule, int, int], int]
    """Rows that can be loosened: by rule, visit and person (-1: all), or "must", -1 and number of the need."""
    work: Work
    unit_column: dict[tuple[int, int], int]
    """Column of a group at a visit."""

    @property
    def columns(self) -> int:
        """How many variables there are."""
        return len(self.gain)

    def column_starts(self) -> tuple[IntArray, IntArray, FloatArray]:
        """The matrix column by column: starts (columns + 1,), row numbers and values."""
        column = np.array(self.rows.column, dtype=np.int64)
        order = np.lexsort((np.array(self.rows.row, dtype=np.int64), column))
        starts = np.searchsorted(column[order], np.arange(self.columns + 1))
        row, value = np.array(self.rows.row, dtype=np.int64), np.array(self.rows.value, dtype=np.float64)
        return starts, row[order], value[order]


def formulated(problem: PlanProblem, places: list[Placed] | None = None) -> Model:
    """The program of a problem. `places` limits where jobs may go; usually everywhere they can."""
    listed = possible_places(problem) if places is None else places
    work = work_of(problem)
    unit_column: dict[tuple[int, int], int] = {}
    for place in listed:
        for group in work.groups_of[place.job]:
            unit_column.setdefault((group, place.visit), len(listed) + len(unit_column))
    gains = [
        saving_at(problem, problem.jobs[place.job], problem.visits[place.visit]) - work.jobs[place.job].cost_minor
        for place in listed
    ]
    gains += [-work.groups[group].cost_minor for group, _ in unit_column]
    building = _Building(problem, listed, work, unit_column)
    building.build()
    gain = np.array(gains, dtype=np.float64)
    return Model(tuple(listed), gain, building.rows, building.row_of, work, unit_column)


class _Building:
    def __init__(
        self, problem: PlanProblem, places: list[Placed], work: Work, unit_column: dict[tuple[int, int], int]
    ) -> None:
        self.problem, self.places, self.work, self.unit_column = problem, places, work, unit_column
        self.rows = Rows()
        self.row_of: dict[tuple[Rule, int, int], int] = {}
        self.of_job: list[list[int]] = [[] for _ in problem.jobs]
        self.at_visit: list[list[int]] = [[] for _ in problem.visits]
        for column, place in enumerate(places):
            self.of_job[place.job].append(column)
            self.at_visit[place.visit].append(column)
        self.units_at: list[list[tuple[int, int]]] = [[] for _ in problem.visits]
        for (group, visit), column in unit_column.items():
            self.units_at[visit].append((group, column))

    def build(self) -> None:
        self._once()
        self._units()
        for visit in range(len(self.problem.visits)):
            self._minutes(visit)
            self._bays(visit)
            self._people(visit)
        self._money()
        self._orders()

    def _once(self) -> None:
        for columns in self.of_job:
            if len(columns) > 1:
                self.rows.add(columns, [1.0] * len(columns), 1.0)
        for number, jobs in enumerate(self.problem.needs):
            columns = [column for job in jobs for column in self.of_job[job]]
            self.row_of["must", -1, number] = self.rows.add(columns, [1.0] * len(columns), np.inf, 1.0)

    def _units(self) -> None:
        together: dict[tuple[int, int], list[int]] = defaultdict(list)
        for column, place in enumerate(self.places):
            together[place.job, place.visit].append(column)
        for (job, visit), columns in together.items():
            for group in self.work.groups_of[job]:
                unit = self.unit_column[group, visit]
                self.rows.add([*columns, unit], [1.0] * len(columns) + [-1.0], 0.0)

    def _use(self, visit: int, resource: int) -> tuple[list[int], list[float]]:
        """Columns and what each takes of a resource at a visit."""
        entries = [(column, self.work.jobs[self.places[column].job].use[resource]) for column in self.at_visit[visit]]
        entries += [(column, self.work.groups[group].use[resource]) for group, column in self.units_at[visit]]
        taking = [(column, float(use)) for column, use in entries if use]
        return [column for column, _ in taking], [use for _, use in taking]

    def _minutes(self, visit: int) -> None:
        columns, use = self._use(visit, 0)
        row = self.rows.add(columns, use, float(self.problem.visits[visit].minutes))
        self.row_of["minutes", visit, -1] = row

    def _bays(self, visit: int) -> None:
        lift, stands = self.problem.visits[visit].lift_minutes, self.problem.visits[visit].stands_minutes
        if lift is None:
            return
        self.row_of["lift-minutes", visit, -1] = self.rows.add(*self._use(visit, 2), float(lift))
        if stands is not None:
            self.row_of["bay-minutes", visit, -1] = self.rows.add(*self._use(visit, 3), float(lift + stands))

    def _people(self, visit: int) -> None:
        for index, person in enumerate(self.problem.visits[visit].people):
            columns = [column for column in self.at_visit[visit] if self.places[column].person == index]
            use = [float(self.problem.jobs[self.places[column].job].minutes) for column in columns]
            self.row_of["person-minutes", visit, index] = self.rows.add(columns, use, float(person.minutes))

    def _money(self) -> None:
        columns: list[int] = []
        use: list[float] = []
        in_hand = 0
        for visit, occasion in enumerate(self.problem.visits):
            here, spent = self._use(visit, 1)
            carried = self.problem.carry_over
            columns, use = (columns + here, use + spent) if carried else (here, spent)
            in_hand = occasion.money_minor + (in_hand if carried else 0)
            self.row_of["money", visit, -1] = self.rows.add(columns, use, float(in_hand))

    def _orders(self) -> None:
        apart = {frozenset((index, other)) for index, job in enumerate(self.problem.jobs) for other in job.excludes}
        for pair in sorted(sorted(each) for each in apart):
            columns = [column for job in pair for column in self.of_job[job]]
            self.rows.add(columns, [1.0] * len(columns), 1.0)
        for index, job in enumerate(self.problem.jobs):
            for other in job.requires:
                for visit in range(len(self.problem.visits)):
                    mine = [column for column in self.of_job[index] if self.places[column].visit == visit]
                    before = [column for column in self.of_job[other] if self.places[column].visit <= visit]
                    self.rows.add([*mine, *before], [1.0] * len(mine) + [-1.0] * len(before), 0.0)
