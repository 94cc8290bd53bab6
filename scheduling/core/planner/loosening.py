"""Where not all that must be done fits: which rules to loosen, and by how much.

Elastic relaxation: the jobs that must be done alone, with slack in one kind of rule, and the least slack sought.
Every kind that suffices alone is a way out; if none does, all kinds together are, and as a last resort the jobs that
no visit can take are named.
"""

from dataclasses import replace
from math import ceil

import numpy as np

from scheduling.core.planner.formulation import Model, formulated
from scheduling.core.planner.musts import musts_alone, musts_of
from scheduling.core.planner.problem import Loosening, Placed, PlanJob, PlanProblem, Rule, Visit
from scheduling.core.planner.rules import has_bay, in_time, may_come, people_for
from scheduling.core.planner.solver import Limits, solved
from scheduling.core.types import FloatArray

HOURS: frozenset[Rule] = frozenset({"minutes", "person-minutes"})
BAYS: frozenset[Rule] = frozenset({"lift-minutes", "bay-minutes"})
KINDS: tuple[frozenset[Rule], ...] = (frozenset({"money"}), HOURS, HOURS | BAYS, frozenset({"latest-day"}))
ALL: frozenset[Rule] = HOURS | BAYS | {"money", "latest-day", "must"}
DAYS_LIKE_A_WHOLE_VISIT = 30.0
"""Being so many days late weighs as much as needing all that the jobs take once more in money or hours."""
DROPPED = 1_000.0
"""Leaving a job out weighs as much as so many of these: only where nothing else helps."""
LIMITS = Limits(seconds=2.0, tolerance_fraction=1e-6)

WayOut = tuple[Loosening, ...]


def ways_out(problem: PlanProblem) -> tuple[WayOut, ...]:
    """Ways to make a plan possible; each is complete by itself. Empty where nothing stands in the way."""
    musts = musts_of(problem)
    single = [_way_out(problem, musts, kind) for kind in KINDS]
    found = tuple(dict.fromkeys(way for way in single if way is not None))
    if () in found:
        return ()
    everything = None if found else _way_out(problem, musts, ALL)
    return found if everything is None else (everything,)


def loosened(problem: PlanProblem, way_out: WayOut) -> PlanProblem:
    """The problem with these rules loosened by these amounts."""
    jobs, visits, needed = list(problem.jobs), list(problem.visits), problem.needed
    for each in way_out:
        if each.rule == "must":
            jobs[each.job] = replace(jobs[each.job], must=False)
            needed = tuple(one_of for one_of in needed if one_of[0] != each.job)
        elif each.rule == "latest-day":
            latest = jobs[each.job].latest_day
            jobs[each.job] = replace(jobs[each.job], latest_day=None if latest is None else latest + each.amount)
        else:
            visits[each.visit] = _more(visits[each.visit], each)
    return replace(problem, jobs=tuple(jobs), visits=tuple(visits), needed=needed)


def _more(visit: Visit, each: Loosening) -> Visit:
    if each.rule == "money":
        return replace(visit, money_minor=visit.money_minor + each.amount)
    if each.rule == "minutes":
        return replace(visit, minutes=visit.minutes + each.amount)
    if each.rule == "lift-minutes":
        return replace(visit, lift_minutes=(visit.lift_minutes or 0) + each.amount)
    if each.rule == "bay-minutes":
        return replace(visit, stands_minutes=(visit.stands_minutes or 0) + each.amount)
    people = list(visit.people)
    people[each.person] = replace(people[each.person], minutes=people[each.person].minutes + each.amount)
    return replace(visit, people=tuple(people))


def _way_out(problem: PlanProblem, musts: tuple[int, ...], kind: frozenset[Rule]) -> WayOut | None:
    """The least loosening of these rules with which all that must be done fits; None if there is none."""
    alone = musts_alone(problem, musts)
    places = _places(alone, kind)
    model = formulated(alone, places)
    lateness = np.array([_days_late(alone.jobs[place.job], alone.visits[place.visit]) for place in places], dtype=float)
    gain = np.zeros(model.columns)
    gain[: len(places)] = -lateness / DAYS_LIKE_A_WHOLE_VISIT
    slacks = _Slacks(alone, model, kind)
    elastic = replace(model, gain=np.concatenate([gain, slacks.gain]))
    answer = solved(elastic, LIMITS)
    if answer.x is None:
        return None
    late = [
        Loosening("latest-day", int(days), job=musts[place.job])
        for place, days, taken in zip(places, lateness, answer.x, strict=False)
        if taken > 0.5 and days > 0
    ]
    asked = [_named(musts, each) for each in slacks.read(answer.x[model.columns :])]
    return tuple(sorted({*asked, *late}))


def _named(musts: tuple[int, ...], each: Loosening) -> Loosening:
    """With the problem's own number for a job."""
    return replace(each, job=musts[each.job]) if each.rule == "must" else each


def _places(problem: PlanProblem, kind: frozenset[Rule]) -> list[Placed]:
    return [
        Placed(job, number, person)
        for job, wanted in enumerate(problem.jobs)
        for number, visit in enumerate(problem.visits)
        if may_come(wanted, visit)
        and (in_time(wanted, visit) or ("latest-day" in kind and _days_late(wanted, visit) > 0))
        and (has_bay(wanted, visit) or "lift-minutes" in kind)
        for person in people_for(wanted, visit)
    ]


def _days_late(job: PlanJob, visit: Visit) -> int:
    return 0 if job.latest_day is None else max(visit.day - job.latest_day, 0)


class _Slacks:
    """Columns that loosen rows: each a share of the most that could be asked for."""

    def __init__(self, problem: PlanProblem, model: Model, kind: frozenset[Rule]) -> None:
        self.problem, self.model = problem, model
        self.offered: list[tuple[Loosening, int]] = []
        self.weights: list[float] = []
        for (rule, visit, which), row in sorted(model.row_of.items()):
            if rule not in kind:
                continue
            if rule == "must":
                self._offer(Loosening("must", 0, job=problem.needs[which][0]), 1, [row], [1.0], DROPPED)
            else:
                self._offer_more(rule, visit, which, row)

    @property
    def gain(self) -> FloatArray:
        """What each counts against the program's value."""
        return -np.array(self.weights, dtype=np.float64)

    def _offer_more(self, rule: Rule, visit: int, person: int, row: int) -> None:
        most = ceil(sum(value for at, value in self._entries(row) if at == row)) or 1
        rows = [row]
        if rule == "money" and self.problem.carry_over:
            rows = [self.model.row_of["money", later, -1] for later in range(visit, len(self.problem.visits))]
            most = ceil(max(sum(value for at, value in self._entries(each) if at == each) for each in rows)) or 1
        if rule == "lift-minutes" and ("bay-minutes", visit, -1) in self.model.row_of:
            rows.append(self.model.row_of["bay-minutes", visit, -1])
        self._offer(Loosening(rule, 0, visit=visit, person=person), most, rows, [-float(most)] * len(rows), 1.0)

    def _entries(self, row: int) -> list[tuple[int, float]]:
        rows = self.model.rows
        return [(at, value) for at, value in zip(rows.row, rows.value, strict=True) if at == row and value > 0]

    def _offer(self, each: Loosening, most: int, rows: list[int], values: list[float], weight: float) -> None:
        column = self.model.columns + len(self.offered)
        for row, value in zip(rows, values, strict=True):
            self.model.rows.row.append(row)
            self.model.rows.column.append(column)
            self.model.rows.value.append(value)
        self.offered.append((each, most))
        self.weights.append(weight)

    def read(self, shares: FloatArray) -> list[Loosening]:
        """What was asked for: whole units, never too few."""
        asked = [
            (each, ceil(round(float(share) * most, 4)))
            for (each, most), share in zip(self.offered, shares, strict=True)
        ]
        return [replace(each, amount=0 if each.rule == "must" else amount) for each, amount in asked if amount > 0]
