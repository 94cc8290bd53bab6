"""Why a job is in no visit."""

from scheduling.core.planner.audit import Audit
from scheduling.core.planner.problem import LeftOut, Placed, PlanProblem, PlanUnit, Visit, Why
from scheduling.core.planner.rules import people_for, saving_at, visit_can_take


def left_out(problem: PlanProblem, placed: tuple[Placed, ...], audit: Audit) -> tuple[LeftOut, ...]:
    """Every job that is not placed, with the first reason that holds."""
    planned = {place.job for place in placed}
    telling = _Telling(problem, planned, audit)
    return tuple(LeftOut(job, telling.why(job)) for job in range(len(problem.jobs)) if job not in planned)


class _Telling:
    def __init__(self, problem: PlanProblem, planned: set[int], audit: Audit) -> None:
        self.problem, self.planned, self.audit = problem, planned, audit
        self.money_left = self._money_left()
        self.excluded = {other for job in planned for other in problem.jobs[job].excludes}

    def _money_left(self) -> list[int]:
        """What could still be spent at each visit without taking it from a later one."""
        left = []
        in_hand = 0
        for visit, done in zip(self.problem.visits, self.audit.visits, strict=True):
            in_hand = visit.money_minor - done.cash_minor + (in_hand if self.problem.carry_over else 0)
            left.append(in_hand)
        return [min(left[number:]) for number in range(len(left))] if self.problem.carry_over else left

    def why(self, index: int) -> Why:
        job = self.problem.jobs[index]
        days = [number for number, visit in enumerate(self.problem.visits) if visit_can_take(job, visit)]
        able = [number for number in days if people_for(job, self.problem.visits[number])]
        if not days:
            return "no-visit-fits"
        if not able:
            return "nobody-can"
        if index in self.excluded or any(other in self.planned for other in job.excludes):
            return "excluded"
        if any(other not in self.planned for other in job.requires):
            return "requires-left-out"
        return self._by_worth_and_room(index, able)

    def _by_worth_and_room(self, index: int, able: list[int]) -> Why:
        worth = [number for number in able if self._saves(index, number) > 0]
        if not worth and not any(index in jobs for jobs in self.problem.needs):
            return "not-worth-it"
        room = worth or able
        paid = [number for number in room if self._cash(index, number) <= self.money_left[number]]
        if not paid:
            return "no-money-left"
        timed = [number for number in paid if self._minutes(index, number) <= self._minutes_left(number)]
        if any(self._is_manned(number) for number in timed):
            return "nobody-free"
        # By itself it would fit: the rest of what must be done takes the room, and nothing could be planned.
        return "no-time-left"

    def _is_manned(self, number: int) -> bool:
        """Whether people or bays of a visit can stand in the way."""
        visit = self.problem.visits[number]
        return bool(visit.people) or visit.lift_minutes is not None

    def _closed_units(self, index: int, number: int) -> list[PlanUnit]:
        job = self.problem.jobs[index]
        opened = set(self.audit.visits[number].units)
        return [unit for unit in job.units if (job.vehicle, unit.key) not in opened]

    def _saves(self, index: int, number: int) -> int:
        saving = saving_at(self.problem, self.problem.jobs[index], self.problem.visits[number])
        return saving - sum(unit.cost_minor for unit in self._closed_units(index, number))

    def _cash(self, index: int, number: int) -> int:
        units = self._closed_units(index, number)
        return self.problem.jobs[index].cash_minor + sum(unit.cash_minor for unit in units)

    def _minutes(self, index: int, number: int) -> int:
        units = self._closed_units(index, number)
        return self.problem.jobs[index].minutes + sum(unit.minutes for unit in units)

    def _minutes_left(self, number: int) -> int:
        visit: Visit = self.problem.visits[number]
        return visit.minutes - self.audit.visits[number].minutes
