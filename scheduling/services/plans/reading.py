"""Stored plans as they are read: with whether what they rest on still holds."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any
from uuid import UUID

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.kernel.money import Money
from inspections.services.costs import fleet_prices
from scheduling.models import StoredPlan
from scheduling.selectors import kept_vehicles
from scheduling.services.plans.posing import MOST_VEHICLES, figures_digest, prices_of

Json = dict[str, Any]


def plan_summaries(access: Access, plans: Iterable[StoredPlan]) -> list[Json]:
    """Plans as a list tells them; a constant number of queries."""
    rows = list(plans)
    now = _Now(access, rows)
    return [_summary(row, now) for row in rows]


def plan_json(access: Access, plan: StoredPlan) -> Json:
    """One plan with all it plans."""
    return {
        **_summary(plan, _Now(access, [plan])),
        "asked": asked_json(plan),
        **plan.document,
        "changes": plan.changes,
    }


class _Now:
    """What plans rest on, as it stands now."""

    def __init__(self, access: Access, plans: list[StoredPlan]) -> None:
        named = {UUID(key) for plan in plans for key in plan.basis["vehicles"]}
        kept = kept_vehicles(access, named, MOST_VEHICLES)
        self.revisions = {str(key): revision for key, revision in kept}
        self.all_vehicles = {str(key) for key, _ in kept[:MOST_VEHICLES]}
        self.prices = prices_of(access.fleet)
        self.book = fleet_prices(access.fleet)
        self.on = today(access.fleet)


def _outdated(plan: StoredPlan, now: _Now) -> Iterator[Json]:
    """Why a plan no longer rests on what is known."""
    basis: Mapping[str, Any] = plan.basis
    rested = basis["vehicles"]
    gone = sorted(key for key in rested if key not in now.revisions)
    changed = sorted(key for key in rested if now.revisions.get(key, -1) not in (-1, rested[key]["revision"]))
    new = sorted(now.all_vehicles - set(rested)) if basis["all_vehicles"] else []
    for code, vehicles, say in (
        ("vehicle-changed", changed, "something was written about a vehicle since"),
        ("vehicle-gone", gone, "a vehicle is no longer kept"),
        ("vehicle-added", new, "there are vehicles that it does not plan for"),
    ):
        if vehicles:
            yield {"code": code, "say": say, "vehicles": vehicles}
    figures = figures_digest(now.book, basis["job_keys"])
    if basis["figures"] != figures or any(basis[key] != value for key, value in now.prices.items()):
        yield {"code": "prices-changed", "say": "what jobs cost here, or who does them, changed since", "vehicles": []}
    if any(date.fromisoformat(visit["on"]) < now.on for visit in plan.asked["visits"]):
        yield {"code": "visit-past", "say": "a visit of it has passed", "vehicles": []}


def _summary(plan: StoredPlan, now: _Now) -> Json:
    currency = plan.fleet.currency
    reasons = list(_outdated(plan, now))
    return {
        "id": str(plan.pk),
        "title": plan.title,
        "made_on": plan.made_on,
        "created_at": plan.created_at,
        "state": plan.state,
        "status": plan.status,
        "value": Money(plan.value_minor, currency).as_json(),
        "bound": Money(plan.bound_minor, currency).as_json(),
        "planned_jobs": plan.planned_jobs,
        "first_visit": min(visit["on"] for visit in plan.asked["visits"]),
        "vehicles": len(plan.basis["vehicles"]),
        "replaces": None if plan.replaces_id is None else str(plan.replaces_id),
        "outdated": bool(reasons),
        "outdated_because": reasons,
    }


def asked_json(plan: StoredPlan) -> Json:
    """What was asked for, in the shape of the request, so that a client can change and send it again."""
    asked = plan.asked
    money = plan.fleet.currency
    return {
        "vehicles": asked["vehicles"],
        "carry_over": asked["carry_over"],
        "visits": [_visit_asked(visit, money) for visit in asked["visits"]],
        "wishes": [_wish_asked(wish) for wish in asked["wishes"]],
    }


def _visit_asked(visit: Json, currency: str) -> Json:
    bays = {name: visit[f"{name}_minutes"] for name in ("stands", "lift")}
    return {
        "date": visit["on"],
        "hours": visit["minutes"] / 60,
        "budget": Money(visit["budget_minor"], currency).as_json(),
        "people": [
            {"name": each["name"], "hours": each["minutes"] / 60, "skills": each["skills"]} for each in visit["people"]
        ],
        "vehicles": visit["vehicles"],
        **{f"{name}_hours": minutes / 60 for name, minutes in bays.items() if minutes is not None},
    }


def _wish_asked(wish: Json) -> Json:
    given = {name: value for name, value in wish.items() if name != "of" and value not in (None, [], False)}
    return {**wish["of"], **given}
