"""What tests of plans start from: vehicles with findings, and visits."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from scheduling.core.planner.audit import audited
from scheduling.core.planner.left_out import left_out as left_out_of
from scheduling.core.planner.planning import plan_at_once
from scheduling.core.planner.problem import Plan, PlanProblem
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result

PADS_JOB, BOOT_JOB = "front-brake-pads.replace", "outer-driveshaft-boot.replace"


def today() -> date:
    return timezone.now().date()


def soon(days: int = 7) -> str:
    return (today() + timedelta(days)).isoformat()


def money(amount: str, currency: str = "EUR") -> dict[str, str]:
    return {"amount": amount, "currency": currency}


def visit(hours: float = 8, amount: str = "500.00", days: int = 7, **more: Any) -> dict[str, Any]:
    return {"date": soon(days), "hours": hours, "budget": money(amount), **more}


def url(cast: Cast, rest: str = "") -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/plans/{rest}"


def recent(vehicle: Any, cast: Cast, *results: dict[str, Any], days_ago: int = 20, km: int = 180_000) -> None:
    day = today() - timedelta(days_ago)
    inspect(cast.access, vehicle, *results, inspected_on=day, shown_km=Decimal(km))


def wear(cast: Cast, vehicle: Any = None) -> None:
    """Boots on both sides and the front pads, all major."""
    boots = [result(BOOT, side, grade="major") for side in ("front-left", "front-right")]
    recent(vehicle or cast.vehicle, cast, *boots, result(PADS, "front-left", grade="major"))


def jobs_of(body: dict[str, Any]) -> list[dict[str, Any]]:
    return [{**job, "on": each["date"]} for each in body["visits"] for job in each["jobs"]]


def planned(body: dict[str, Any]) -> set[str]:
    return {job["job"] for job in jobs_of(body)}


def left_out(body: dict[str, Any]) -> dict[str, str]:
    return {left["job"]: left["code"] for left in body["left_out"]}


def faults(response: Any) -> list[tuple[str, str]]:
    assert response.status_code == 400, response.content
    return [(fault["pointer"], fault["code"]) for fault in response.json()["errors"]]


def empty_plan(problem: PlanProblem) -> Plan:
    """As if the quick search had found no job to do, with the bound that holds all the same."""
    bound = plan_at_once(problem).bound_minor
    recount = audited(problem, ())
    return Plan("feasible", 0, bound, recount.visits, left_out_of(problem, (), recount))
