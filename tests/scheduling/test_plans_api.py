"""Backlog and plans over the API."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result


def soon(days: int = 7) -> str:
    return (timezone.now().date() + timedelta(days)).isoformat()


def money(amount: str, currency: str = "EUR") -> dict[str, str]:
    return {"amount": amount, "currency": currency}


def visit(hours: float = 8, amount: str = "500.00", days: int = 7) -> dict[str, Any]:
    return {"date": soon(days), "hours": hours, "budget": money(amount)}


def url(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/plans/"


def recent(vehicle: Any, cast: Cast, *results: dict[str, Any]) -> None:
    day = timezone.now().date() - timedelta(20)
    inspect(cast.access, vehicle, *results, inspected_on=day, shown_km=Decimal(180_000))


@pytest.fixture
def worn(cast: Cast) -> Cast:
    boot = [result(BOOT, side, grade="major") for side in ("front-left", "front-right")]
    recent(cast.vehicle, cast, *boot, result(PADS, "front-left", grade="major"))
    return cast


def planned(body: dict[str, Any]) -> set[str]:
    return {job["job"] for each in body["visits"] for job in each["jobs"]}


def test_a_plan_stays_within_its_visits_and_proves_itself(api: Any, worn: Cast) -> None:
    body = api.post(url(worn), {"visits": [visit()]}).json()
    assert body["status"] == "optimal"
    assert body["gap_fraction"] == 0
    assert planned(body)
    (only,) = body["visits"]
    assert only["hours"] <= 8
    assert Decimal(only["cost"]["amount"]) <= 500
    keys = [(unit["vehicle"], unit["unit"]) for unit in only["access"] + only["follow_ups"]]
    assert len(keys) == len(set(keys))


def test_more_money_or_hours_never_lower_the_value(api: Any, worn: Cast) -> None:
    values = []
    for hours, amount in ((0.5, "20.00"), (2, "60.00"), (4, "150.00"), (8, "500.00"), (20, "2000.00")):
        body = api.post(url(worn), {"visits": [visit(hours, amount)]}).json()
        values.append(Decimal(body["value"]["amount"]))
    assert values == sorted(values)


def test_the_answer_at_once_is_never_better_than_its_bound(api: Any, worn: Cast) -> None:
    quick = api.post(url(worn), {"visits": [visit(3, "120.00")], "exact": False}).json()
    exact = api.post(url(worn), {"visits": [visit(3, "120.00")]}).json()
    value, best, bound = (Decimal(x["amount"]) for x in (quick["value"], exact["value"], quick["bound"]))
    assert value <= best <= bound


def test_a_dangerous_safety_part_is_planned_or_the_plan_says_what_is_missing(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(PADS, "front-left", grade="dangerous"))
    enough = api.post(url(cast), {"visits": [visit()]}).json()
    assert any(job["before_driving"] for each in enough["visits"] for job in each["jobs"])
    short = api.post(url(cast), {"visits": [visit(8, "1.00")]}).json()
    assert short["status"] == "infeasible"
    assert short["ways_out"][0][0]["rule"] == "money"


def test_several_vehicles_share_the_visits(api: Any, worn: Cast) -> None:
    other = factories.vehicle(worn.fleet, name="Other")
    recent(other, worn, result(PADS, "front-left", grade="major"))
    body = api.post(url(worn), {"visits": [visit(20, "2000.00"), visit(20, "2000.00", 30)]}).json()
    assert {job["vehicle"] for each in body["visits"] for job in each["jobs"]} == {str(worn.vehicle.pk), str(other.pk)}
    only = api.post(url(worn), {"vehicles": [str(other.pk)], "visits": [visit(20, "2000.00")]}).json()
    assert {job["vehicle"] for each in only["visits"] for job in each["jobs"]} == {str(other.pk)}


def test_nothing_found_is_an_empty_plan(api: Any, cast: Cast) -> None:
    body = api.post(url(cast), {"visits": [visit()]}).json()
    assert (body["status"], planned(body), body["value"]["amount"]) == ("optimal", set(), "0.00")


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"visits": []}, "/visits"),
        ({"visits": [{**visit(), "date": "2020-01-01"}]}, "/visits/0/date"),
        ({"visits": [{**visit(), "hours": -1}]}, "/visits/0/hours"),
        ({"visits": [{**visit(), "budget": money("-5.00")}]}, "/visits/0/budget/amount"),
        ({"visits": [{**visit(), "budget": money("5.00", "USD")}]}, "/visits/0/budget/currency"),
        ({"visits": [{**visit(), "colour": 1}]}, "/visits/0/colour"),
        ({"visits": [visit()], "vehicles": ["not-an-id"]}, "/vehicles/0"),
    ],
)
def test_bad_input_names_its_place(api: Any, cast: Cast, change: Any, place: str) -> None:
    response = api.post(url(cast), change)
    assert response.status_code == 400
    assert [fault["pointer"] for fault in response.json()["errors"]] == [place]


def test_another_fleets_vehicle_is_refused_like_a_missing_one(api: Any, cast: Cast, strangers: Cast) -> None:
    answers = []
    for vehicle in (str(strangers.vehicle.pk), "00000000-0000-4000-8000-000000000000"):
        body = {"visits": [visit()], "vehicles": [vehicle]}
        answers.append(api.post(url(cast), body, HTTP_X_REQUEST_ID="the-same-id"))
    assert answers[0].content == answers[1].content


@pytest.mark.parametrize("count", [1, 10])
def test_a_plan_takes_the_same_number_of_queries_for_one_vehicle_and_for_ten(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.PLANNER)
    for number in range(count):
        vehicle = factories.vehicle(cast.fleet, name=f"car {number}")
        recent(vehicle, cast, result(PADS, "front-left", grade="major"))
    client.post(url(cast), {"visits": [visit()]})
    with django_assert_num_queries(8):
        assert client.post(url(cast), {"visits": [visit()]}).status_code == 200


def test_the_fleets_backlog_lists_all_vehicles_safety_first(api: Any, cast: Cast) -> None:
    from scheduling.services.assess import assess_vehicles

    other = factories.vehicle(cast.fleet, name="Other")
    recent(cast.vehicle, cast, result(BOOT, "front-right", grade="major"))
    recent(other, cast, result(PADS, "front-left", grade="dangerous"))
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk, other.pk])
    body = api.get(f"/api/v1/fleets/{cast.fleet.pk}/backlog/").json()
    assert [item["rank"] for item in body["items"]] == list(range(1, len(body["items"]) + 1))
    assert body["items"][0]["before_driving"]
    assert body["items"][0]["vehicle_name"] == "Other"
    total = sum(Decimal(item["cost_now"]["amount"]) for item in body["items"])
    assert total == Decimal(body["total_cost"]["amount"])
    assert date.fromisoformat(body["items"][0]["do_before"])
