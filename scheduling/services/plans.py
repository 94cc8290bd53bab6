"""The best set of jobs for the visits there are: date, hours and money, over one or several vehicles."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import FleetKind, Role
from fleetcare.kernel.errors import Fault, raise_if_any
from fleetcare.kernel.money import Money
from inspections.services.history import Batch, load_batch
from scheduling.core.backlog import Ranking
from scheduling.core.plan_jobs import plan_jobs
from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import Loosening, Plan, PlanProblem, Visit, VisitPlan
from scheduling.services.backlog import ranked

Json = dict[str, Any]
MOST_VEHICLES = 500
_WHY = {
    "no-visit-fits": "no visit can take it: too long, or its date has passed",
    "nobody-can": "nobody there can do it",
    "excluded": "another job for the same part is planned",
    "requires-left-out": "it needs a job that is left out",
    "not-worth-it": "by itself it costs more now than waiting is expected to",
    "no-money-left": "the money goes further elsewhere",
    "no-time-left": "the hours go further elsewhere",
    "nobody-free": "nobody who can do it has the hours left",
}
_EMPTY = Plan("optimal", 0, 0, (), ())


@dataclass(frozen=True, slots=True)
class VisitWish:
    """An occasion to work, as somebody offers it."""

    on: date
    hours: Decimal
    budget_minor: int


def make_plan(
    access: Access, vehicle_ids: Sequence[uuid.UUID], wishes: Sequence[VisitWish], *, exact: bool = True
) -> Json:
    """Which jobs go into which visit, and how close to the best that is. Planners and owners; nothing is stored.

    `exact` proves the best within a time limit; otherwise a good plan with its bound is answered at once. Raises
    InvalidInput for visits in the past and for vehicles that are not in this fleet.
    """
    access.require(Role.PLANNER)
    on = today(access.fleet)
    raise_if_any(
        Fault(f"/visits/{index}/date", "past", "This day has passed.")
        for index, wish in enumerate(wishes)
        if wish.on < on
    )
    ids = _known(access, vehicle_ids)
    batch = load_batch(access.fleet, ids, on)
    ranking = ranked(batch)
    visits = tuple(
        Visit(wish.on.toordinal(), int(wish.hours * 60), wish.budget_minor)
        for wish in sorted(wishes, key=lambda wish: wish.on)
    )
    if ranking is None:
        return _document(batch, None, (), PlanProblem((), visits), _EMPTY)
    rate = float(access.fleet.labour_per_hour_minor)
    options, jobs = plan_jobs(
        ranking,
        [str(vehicle.pk) for vehicle in batch.vehicles],
        [rate] * len(batch.vehicles),
        # A workshop's customer pays for hours; at home they are one's own Saturday.
        labour_is_paid=access.fleet.kind == FleetKind.WORKSHOP,
    )
    problem = PlanProblem(jobs, visits)
    plan = plan_visits(problem) if exact else plan_at_once(problem)
    return _document(batch, ranking, options, problem, plan)


def _known(access: Access, vehicle_ids: Sequence[uuid.UUID]) -> list[uuid.UUID]:
    rows = Vehicle.objects.within(access.fleet).filter(archived=False)
    if not vehicle_ids:
        return list(rows.order_by("name", "id").values_list("pk", flat=True)[:MOST_VEHICLES])
    wanted = list(dict.fromkeys(vehicle_ids))
    found = set(rows.filter(pk__in=wanted).values_list("pk", flat=True))
    raise_if_any(
        Fault(f"/vehicles/{index}", "unknown-vehicle", "There is no such vehicle in this fleet.")
        for index, key in enumerate(wanted)
        if key not in found
    )
    return wanted


def _document(batch: Batch, ranking: Ranking | None, options: Sequence[int], problem: PlanProblem, plan: Plan) -> Json:
    currency = batch.fleet.currency

    def money(minor: int) -> dict[str, str]:
        return Money(minor, currency).as_json()

    def job(index: int) -> Json:
        planned, work = problem.jobs[index], ranking.options[options[index]].work  # type: ignore[union-attr]
        return {
            "vehicle": planned.vehicle,
            "job": planned.key,
            "title": batch.catalogue.jobs[planned.key].job.title,
            "positions": list(work.positions),
        }

    def visit(done: VisitPlan) -> Json:
        units = [{"vehicle": vehicle, "unit": key} for vehicle, key in done.units]
        return {
            "date": date.fromordinal(done.day).isoformat(),
            "jobs": [_placed(job(p.job), problem, p.job, money) for p in done.jobs],
            "access": [u for u in units if u["unit"].partition(".")[0] in batch.catalogue.access],
            "follow_ups": [u for u in units if u["unit"] in batch.catalogue.follow_ups],
            "hours": round(done.minutes / 60, 2),
            "cost": money(done.cash_minor),
        }

    return {
        "visits": [visit(done) for done in plan.visits],
        "left_out": [{**job(left.job), "code": left.why, "why": _WHY[left.why]} for left in plan.left_out],
        "value": money(plan.value_minor),
        "bound": money(plan.bound_minor),
        "gap_fraction": round(plan.gap_fraction, 6),
        "status": plan.status,
        "ways_out": [[_loosening(each, job, problem, money) for each in way] for way in plan.ways_out],
    }


def _placed(described: Json, problem: PlanProblem, index: int, money: Any) -> Json:
    planned = problem.jobs[index]
    return {
        **described,
        "cost": money(planned.cash_minor),
        "hours": round(planned.minutes / 60, 2),
        "before_driving": planned.must,
    }


def _loosening(each: Loosening, job: Any, problem: PlanProblem, money: Any) -> Json:
    """Which rule would have to give, and by how much, for a plan to be possible at all."""
    where = date.fromordinal(problem.visits[each.visit].day).isoformat() if each.visit >= 0 else None
    return {
        "rule": each.rule,
        "amount": _amount(each, money),
        "visit": where,
        "job": job(each.job) if each.job >= 0 else None,
    }


def _amount(each: Loosening, money: Any) -> Any:
    if each.rule == "money":
        return money(each.amount)
    return f"{each.amount} days later" if each.rule == "latest-day" else f"{each.amount / 60:.2f} h"
