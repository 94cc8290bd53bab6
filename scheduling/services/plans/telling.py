"""A plan as it is answered: who does what at which visit, what is left out and why, what stays dangerous."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleetcare.kernel.money import Money
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.prices import OWN, WORKSHOP
from scheduling.core.plan_jobs import GIVEN_AWAY
from scheduling.core.planner.frontier import Of, Step
from scheduling.core.planner.problem import LeftOut, Loosening, Placed, Plan, PlanProblem, VisitPlan

Json = dict[str, Any]
WHY = {
    "no-visit-fits": "no visit can take it: its day, its vehicle or the stands or lift it needs do not fit",
    "nobody-can": "nobody there may do it",
    "excluded": "another job for the same part is planned, or one that it must not be done with",
    "requires-left-out": "it needs a job that is left out",
    "not-worth-it": "by itself it costs more now than waiting is expected to",
    "no-money-left": "the money goes further elsewhere",
    "no-time-left": "the hours go further elsewhere",
    "nobody-free": "nobody who can do it has the hours left",
    "asked-to-leave-out": "it was asked to be left out",
}
_REF = ("vehicle", "job", "title", "positions")


@dataclass(frozen=True, slots=True)
class Telling:
    """What is needed to put a plan into words; `jobs` and `basis` as stored with it."""

    catalogue: Catalogue
    currency: str
    problem: PlanProblem
    jobs: Sequence[Json]
    basis: Json

    def document(self, plan: Plan) -> Json:
        """The plan as the API answers it."""
        return {
            "visits": [self._visit(plan, number) for number in range(len(self.problem.visits))],
            "left_out": [*(self._left_out(left) for left in plan.left_out), *self._asked_away()],
            "value": self.money(plan.value_minor),
            "bound": self.money(plan.bound_minor),
            "gap_fraction": round(plan.gap_fraction, 6),
            "status": plan.status,
            "ways_out": [[self._loosening(each) for each in way] for way in plan.ways_out],
            "warnings": self._warnings(plan),
        }

    def ref(self, job: int) -> Json:
        """Which job this is."""
        return {name: self.jobs[job][name] for name in _REF}

    def money(self, minor: int) -> dict[str, str]:
        """A sum as the API tells it."""
        return Money(minor, self.currency).as_json()

    def _sum(self, minor: int) -> str:
        money = self.money(minor)
        return f"{money['amount']} {money['currency']}"

    def _day(self, visit: int) -> str:
        return date.fromordinal(self.problem.visits[visit].day).isoformat()

    def _visit(self, plan: Plan, number: int) -> Json:
        there = self.problem.visits[number]
        done = plan.visits[number]
        units = [_unit(vehicle, key) for vehicle, key in done.units]
        first = sorted(done.jobs, key=lambda place: (not self.jobs[place.job]["before_driving"], place))
        return {
            "date": self._day(number),
            "cautions": self._cautions(done),
            "jobs": [self._placed(place) for place in first],
            "access": [unit for unit in units if unit["unit"].partition(".")[0] in self.catalogue.access],
            "follow_ups": [unit for unit in units if unit["unit"] in self.catalogue.follow_ups],
            "hours": round(done.minutes / 60, 2),
            "hours_there": round(there.minutes / 60, 2),
            "cost": self.money(done.cash_minor),
            "budget": self.money(there.money_minor),
            "saves": self.money(done.saving_minor),
        }

    def _cautions(self, done: VisitPlan) -> list[str]:
        """What to beware of at this visit, each once: of the jobs done here, then of what is taken apart here."""
        here = [place.job for place in done.jobs if self.jobs[place.job]["done_by"] == OWN]
        keys = [caution for job in here for caution in self._job(job).cautions]
        for _, unit in done.units:
            access = None if unit.endswith(GIVEN_AWAY) else self.catalogue.access.get(unit.partition(".")[0])
            keys += access.cautions if access else ()
        return [self.catalogue.cautions[key].text for key in dict.fromkeys(keys)]

    def _job(self, job: int) -> Any:
        return self.catalogue.jobs[self.jobs[job]["job"]].job

    def _placed(self, place: Placed) -> Json:
        job, told, kind = self.problem.jobs[place.job], self.jobs[place.job], self._job(place.job)
        people = self.problem.visits[place.visit].people
        return {
            **self.ref(place.job),
            "grade": told["grade"],
            "cost": self.money(job.cash_minor),
            "hours": round(job.minutes / 60, 2),
            "saves": self.money(job.saving_minor),
            "before_driving": told["before_driving"],
            "wanted": job.must,
            "person": people[place.person].key if place.person >= 0 else None,
            "difficulty": kind.difficulty,
            "licensed": kind.licensed,
            "done_by": told["done_by"],
            "bay": job.bay or None,
        }

    def _left_out(self, left: LeftOut) -> Json:
        return {**self.ref(left.job), "code": left.why, "why": WHY[left.why]}

    def _asked_away(self) -> list[Json]:
        code = "asked-to-leave-out"
        return [{**{name: told[name] for name in _REF}, "code": code, "why": WHY[code]} for told in self._away()]

    def _away(self) -> list[Json]:
        away: list[Json] = self.basis["asked_away"]
        return away

    def _warnings(self, plan: Plan) -> list[Json]:
        """What stays dangerous: first where nothing planned puts it right, then until which visit."""
        at = {place.job: place.visit for place in plan.placed}
        staying, until = [], []
        for danger in self.basis["dangers"]:
            planned = [job for job in danger["jobs"] if job in at]
            what = {"vehicle": danger["vehicle"], "part": danger["part"], "position": danger["position"] or None}
            where = f"{danger['title']}{_at(danger['position'])} of {danger['vehicle_name']}"
            if planned:
                day = self._day(min(at[job] for job in planned))
                say = f"Do not drive before the visit on {day}: {where} is dangerous until then."
                until.append({**what, "code": "dangerous-until", "date": day, "say": say})
            else:
                say = f"Do not drive: {where} stays dangerous, no visit of this plan puts it right."
                staying.append({**what, "code": "stays-dangerous", "date": None, "say": say})
        return [*staying, *until]

    def _loosening(self, each: Loosening) -> Json:
        """Which rule would have to give, and by how much, for a plan to be possible at all."""
        return {
            "rule": each.rule,
            "amount": self._amount(each),
            "visit": self._day(each.visit) if each.visit >= 0 else None,
            "person": self._person(each),
            "job": self.ref(each.job) if each.job >= 0 else None,
            "say": self._say(each),
        }

    def _person(self, each: Loosening) -> str | None:
        return self.problem.visits[each.visit].people[each.person].key if each.person >= 0 else None

    def _amount(self, each: Loosening) -> Any:
        if each.rule == "money":
            return self.money(each.amount)
        if each.rule == "must":
            return None
        return f"{each.amount} days later" if each.rule == "latest-day" else f"{_hours(each)} h"

    def _say(self, each: Loosening) -> str:
        if each.rule == "must":
            return f"Leave out “{self._title(each.job)}”: no visit there is can take it. {self._barred(each.job)}"
        if each.rule == "latest-day":
            return f"Let “{self._title(each.job)}” be done {each.amount} days later than was asked."
        on = f"at the visit on {self._day(each.visit)}"
        return {
            "money": f"{self._sum(each.amount)} more money {on}.",
            "minutes": f"{_hours(each)} more hours {on}.",
            "person-minutes": f"{_hours(each)} more hours of {self._person(each)} {on}.",
            "lift-minutes": f"{_hours(each)} more hours with the vehicle on a lift {on}.",
            "bay-minutes": f"{_hours(each)} more hours with the vehicle on stands or a lift {on}.",
        }[each.rule]

    def _title(self, job: int) -> str:
        told = self.jobs[job]
        return f"{told['title']}{_at(', '.join(told['positions']))}"

    def _barred(self, job: int) -> str:
        needs = self.problem.jobs[job]
        words = [f"somebody with {', '.join(needs.skills)}"] if any(v.people for v in self.problem.visits) else []
        words += [{"lift": "a lift", "stands": "stands or a lift"}[needs.bay]] if needs.bay else []
        return f"It takes {' and '.join(words)}." if words else "Its day or its vehicle does not fit."


def _unit(vehicle: str, key: str) -> Json:
    away = key.endswith(GIVEN_AWAY)
    return {"vehicle": vehicle, "unit": key.removesuffix(GIVEN_AWAY), "done_by": WORKSHOP if away else OWN}


def _at(positions: str) -> str:
    return f" ({positions.replace('-', ' ')})" if positions else ""


def _hours(each: Loosening) -> str:
    return f"{each.amount / 60:.2f}"


def frontier_points(telling: Telling, steps: Sequence[Step], of: Of) -> list[Json]:
    """Points of a frontier, each with what it buys beyond the one before."""
    before: frozenset[int] = frozenset()
    points = []
    for step in steps:
        possible = step.status != "infeasible"
        points.append(
            {
                "amount": telling.money(step.amount) if of == "money" else None,
                "hours": round(step.amount / 60, 4) if of == "minutes" else None,
                "status": step.status,
                "value": telling.money(step.value_minor) if possible else None,
                "bound": telling.money(step.bound_minor) if possible else None,
                "gap_fraction": round(step.gap_fraction, 6) if possible else None,
                "jobs": len(step.placed),
                "bought": {
                    "value": telling.money(step.bought_minor) if possible else None,
                    "came_in": [telling.ref(job) for job in sorted(step.jobs - before)],
                    "went_out": [telling.ref(job) for job in sorted(before - step.jobs)],
                },
            }
        )
        before = step.jobs
    return points
