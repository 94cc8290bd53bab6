"""Plans over the API: within their limits, proved, safe, and honest about what stands in the way."""

from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.words import Role
from scheduling.models import StoredPlan
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, result
from tests.scheduling.plans.given import (
    BOOT_JOB,
    PADS_JOB,
    faults,
    jobs_of,
    money,
    planned,
    recent,
    url,
    visit,
    wear,
)

SEAT_BELT, LAMP = "seat-belt.operation", "headlamp-bulb.operation"


@pytest.fixture
def worn(cast: Cast) -> Cast:
    wear(cast)
    return cast


def test_a_plan_stays_within_its_visits_and_proves_itself(api: Any, worn: Cast) -> None:
    response = api.post(url(worn), {"visits": [visit()], "exact": True})
    body = response.json()
    assert response.status_code == 201
    assert response["Location"] == url(worn, f"{body['id']}/")
    assert (body["status"], body["state"], body["gap_fraction"]) == ("optimal", "final", 0)
    assert planned(body)
    (only,) = body["visits"]
    assert only["hours"] <= 8
    assert Decimal(only["cost"]["amount"]) <= 500
    keys = [(unit["vehicle"], unit["unit"]) for unit in only["access"] + only["follow_ups"]]
    assert len(keys) == len(set(keys))


def test_the_parts_of_a_visit_add_up_to_its_hours_money_and_saving(api: Any, worn: Cast) -> None:
    """Recounted from what is answered and the catalogue's hours of what is taken apart, not from the planner's sums."""
    from inspections.catalogue.loader import default_catalogue

    (only,) = api.post(url(worn), {"visits": [visit()], "exact": True}).json()["visits"]
    catalogue = default_catalogue()
    opened = [catalogue.access[unit["unit"].partition(".")[0]].hours for unit in only["access"]]
    followed = [catalogue.follow_ups[unit["unit"]] for unit in only["follow_ups"]]
    hours = sum(job["hours"] for job in only["jobs"]) + sum(opened) + sum(each.hours for each in followed)
    assert only["hours"] == pytest.approx(hours, abs=0.02)
    # At home one's own hours take no money.
    cash = sum(Decimal(job["cost"]["amount"]) for job in only["jobs"]) + sum(each.eur for each in followed)
    assert Decimal(only["cost"]["amount"]) == cash


def test_cautions_are_told_with_the_visit(api: Any, worn: Cast) -> None:
    (only,) = api.post(url(worn), {"visits": [visit()]}).json()["visits"]
    assert any("held by a jack alone" in caution for caution in only["cautions"])


def test_more_money_or_hours_never_lower_the_value(api: Any, worn: Cast) -> None:
    values = []
    for hours, amount in ((0.5, "20.00"), (2, "60.00"), (4, "150.00"), (8, "500.00"), (20, "2000.00")):
        body = api.post(url(worn), {"visits": [visit(hours, amount)], "exact": True}).json()
        values.append(Decimal(body["value"]["amount"]))
    assert values == sorted(values)
    assert values[0] < values[-1]


def test_another_job_never_lowers_the_value(api: Any, worn: Cast) -> None:
    """The same visits, without one job, without another vehicle, and with all."""
    other = factories.vehicle(worn.fleet, name="Other")
    recent(other, worn, result(PADS, "front-left", grade="major"))
    visits = [visit(5, "150.00"), visit(3, "60.00", 30)]
    away = {"vehicle": str(worn.vehicle.pk), "job": PADS_JOB, "leave_out": True}
    questions: list[dict[str, Any]] = [
        {"vehicles": [str(worn.vehicle.pk)], "wishes": [away]},
        {"vehicles": [str(worn.vehicle.pk)]},
        {},
    ]
    values = [
        Decimal(api.post(url(worn), {**question, "visits": visits, "exact": True}).json()["value"]["amount"])
        for question in questions
    ]
    assert values == sorted(values)
    assert values[0] < values[1]


def test_the_answer_at_once_is_never_better_than_its_bound(api: Any, worn: Cast) -> None:
    quick = api.post(url(worn), {"visits": [visit(3, "120.00")]}).json()
    exact = api.post(url(worn), {"visits": [visit(3, "120.00")], "exact": True}).json()
    value, best, bound = (Decimal(x["amount"]) for x in (quick["value"], exact["value"], quick["bound"]))
    assert value <= best <= bound


def test_a_dangerous_safety_part_is_planned_and_nobody_drives_before(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(PADS, "front-left", grade="dangerous"), result(BOOT, "front-left", grade="major"))
    body = api.post(url(cast), {"visits": [visit(), visit(days=30)]}).json()
    first = jobs_of(body)[0]
    assert (first["job"], first["before_driving"]) == (PADS_JOB, True)
    (warning,) = body["warnings"]
    assert (warning["code"], warning["date"]) == ("dangerous-until", first["on"])
    assert "Do not drive before" in warning["say"]


def test_money_never_leaves_a_dangerous_safety_part_out_in_silence(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(PADS, "front-left", grade="dangerous"))
    short = api.post(url(cast), {"visits": [visit(8, "1.00")]}).json()
    assert short["status"] == "infeasible"
    way = short["ways_out"][0]
    assert [(each["rule"], each["visit"]) for each in way] == [("money", short["visits"][0]["date"])]
    more = Decimal(way[0]["amount"]["amount"])
    assert way[0]["say"] == f"{more} EUR more money at the visit on {short['visits'][0]['date']}."
    assert [warning["code"] for warning in short["warnings"]] == ["stays-dangerous"]
    enough = api.post(url(cast), {"visits": [visit(8, f"{1 + more}")]}).json()
    assert (enough["status"], planned(enough)) == ("optimal", {PADS_JOB})
    barely = api.post(url(cast), {"visits": [visit(8, f"{1 + more - Decimal('0.01')}")]}).json()
    assert barely["status"] == "infeasible"


def test_too_few_hours_say_how_many_more_it_takes(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(PADS, "front-left", grade="dangerous"))
    short = api.post(url(cast), {"visits": [visit(1.0, "500.00")]}).json()
    (hours,) = [each for way in short["ways_out"] for each in way if each["rule"] == "minutes"]
    more = float(hours["amount"].removesuffix(" h"))
    assert hours["say"].startswith(f"{more:.2f} more hours at the visit")
    assert api.post(url(cast), {"visits": [visit(round(1.0 + more, 2), "500.00")]}).json()["status"] == "optimal"


def test_leaving_a_dangerous_safety_part_out_is_allowed_and_said(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(PADS, "front-left", grade="dangerous"))
    wish = {"vehicle": str(cast.vehicle.pk), "job": PADS_JOB, "leave_out": True}
    body = api.post(url(cast), {"visits": [visit()], "wishes": [wish]}).json()
    assert (body["status"], planned(body)) == ("optimal", set())
    assert [left["code"] for left in body["left_out"]] == ["asked-to-leave-out"]
    assert [warning["code"] for warning in body["warnings"]] == ["stays-dangerous"]


def test_several_vehicles_share_the_visits(api: Any, worn: Cast) -> None:
    other = factories.vehicle(worn.fleet, name="Other")
    recent(other, worn, result(PADS, "front-left", grade="major"))
    body = api.post(url(worn), {"visits": [visit(20, "2000.00"), visit(20, "2000.00", 30)]}).json()
    assert {job["vehicle"] for job in jobs_of(body)} == {str(worn.vehicle.pk), str(other.pk)}
    only = api.post(url(worn), {"vehicles": [str(other.pk)], "visits": [visit(20, "2000.00")]}).json()
    assert {job["vehicle"] for job in jobs_of(only)} == {str(other.pk)}


def test_only_the_vehicles_that_can_come_to_a_visit_are_worked_on_there(api: Any, worn: Cast) -> None:
    other = factories.vehicle(worn.fleet, name="Other")
    recent(other, worn, result(PADS, "front-left", grade="major"))
    visits = [visit(20, "900.00", vehicles=[str(other.pk)]), visit(20, "900.00", 30)]
    body = api.post(url(worn), {"visits": visits, "exact": True}).json()
    assert {job["vehicle"] for job in body["visits"][0]["jobs"]} == {str(other.pk)}
    assert str(worn.vehicle.pk) in {job["vehicle"] for job in body["visits"][1]["jobs"]}


@pytest.mark.parametrize(("carried", "expected"), [(True, {PADS_JOB}), (False, set())])
def test_money_not_spent_is_there_at_the_next_visit_if_so_wished(
    api: Any, cast: Cast, carried: bool, expected: set[str]
) -> None:
    recent(cast.vehicle, cast, result(PADS, "front-left", grade="major"))
    visits = [visit(0.25, "40.00"), visit(8, "40.00", 14)]
    body = api.post(url(cast), {"visits": visits, "carry_over": carried, "exact": True}).json()
    assert planned(body) == expected


def test_nothing_found_is_an_empty_plan(api: Any, cast: Cast) -> None:
    body = api.post(url(cast), {"visits": [visit()]}).json()
    assert (body["status"], planned(body), body["value"]["amount"]) == ("optimal", set(), "0.00")
    assert body["visits"][0]["hours_there"] == 8


def test_a_workshops_hours_take_money(api: Any, worn: Cast) -> None:
    at_home = api.post(url(worn), {"visits": [visit(20, "2000.00")], "exact": True}).json()["visits"][0]
    type(worn.fleet).objects.filter(pk=worn.fleet.pk).update(kind="workshop")
    paid = api.post(url(worn), {"visits": [visit(20, "2000.00")], "exact": True}).json()["visits"][0]
    labour = Decimal(paid["cost"]["amount"]) - Decimal(at_home["cost"]["amount"])
    assert planned({"visits": [paid]}) == planned({"visits": [at_home]})
    # 15.00 an hour; every piece of work is rounded to whole minutes for the hours and whole cents for the money.
    assert float(labour) == pytest.approx(15.0 * at_home["hours"], abs=0.3)


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"visits": []}, "/visits"),
        ({"visits": [{**visit(), "date": "2020-01-01"}]}, "/visits/0/date"),
        ({"visits": [{**visit(), "hours": -1}]}, "/visits/0/hours"),
        ({"visits": [{**visit(), "budget": money("-5.00")}]}, "/visits/0/budget/amount"),
        ({"visits": [{**visit(), "budget": money("5.00", "USD")}]}, "/visits/0/budget/currency"),
        ({"visits": [{**visit(), "colour": 1}]}, "/visits/0/colour"),
        ({"visits": [{**visit(), "lift_hours": -1}]}, "/visits/0/lift_hours"),
        ({"visits": [{**visit(), "people": [{"name": "A", "hours": -1}]}]}, "/visits/0/people/0/hours"),
        ({"visits": [{**visit(), "people": [{"name": "A", "hours": 1, "skills": ["Ω"]}]}]},
         "/visits/0/people/0/skills/0"),
        ({"visits": [visit()], "vehicles": ["not-an-id"]}, "/vehicles/0"),
    ],
)  # fmt: skip
def test_bad_input_names_its_place(api: Any, cast: Cast, change: Any, place: str) -> None:
    assert [pointer for pointer, _ in faults(api.post(url(cast), change))] == [place]
    assert not StoredPlan.objects.within(cast.fleet).exists()


def test_every_fault_is_named_at_once(api: Any, cast: Cast) -> None:
    twins = [{"name": "A", "hours": 4}, {"name": "A", "hours": 4}]
    body = {
        "vehicles": ["00000000-0000-4000-8000-000000000000"],
        "visits": [visit(days=-3), {**visit(people=twins), "vehicles": ["00000000-0000-4000-8000-000000000001"]}],
        "wishes": [{"vehicle": str(cast.vehicle.pk), "job": "no-such.job"}],
    }
    assert faults(api.post(url(cast), body)) == [
        ("/vehicles/0", "unknown-vehicle"),
        ("/visits/0/date", "past"),
        ("/visits/1/vehicles/0", "unknown-vehicle"),
        ("/visits/1/people/0/name", "twice"),
        ("/visits/1/people/1/name", "twice"),
        ("/wishes/0/job", "unknown-job"),
    ]


@pytest.mark.parametrize("where", ["vehicles", "visits", "wishes", "requires"])
def test_another_fleets_vehicle_is_refused_like_a_missing_one(
    api: Any, worn: Cast, strangers: Cast, where: str
) -> None:
    answers = []
    for vehicle in (str(strangers.vehicle.pk), "00000000-0000-4000-8000-000000000000"):
        mine = {"vehicle": str(worn.vehicle.pk), "job": BOOT_JOB}
        theirs = {"vehicle": vehicle, "job": PADS_JOB}
        body = {
            "vehicles": {"vehicles": [vehicle], "visits": [visit()]},
            "visits": {"visits": [visit(vehicles=[vehicle])]},
            "wishes": {"visits": [visit()], "wishes": [theirs]},
            "requires": {"visits": [visit()], "wishes": [{**mine, "requires": [theirs]}]},
        }[where]
        answers.append(api.post(url(worn), body, HTTP_X_REQUEST_ID="the-same-id"))
    assert [answer.status_code for answer in answers] == [400, 400]
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
    # The key; vehicles; what the judge loads (9), what is wrong with the parts; storing between two savepoints, what
    # is too old; the plan as stored, and what it rests on now (4).
    with django_assert_num_queries(21):
        assert client.post(url(cast), {"visits": [visit()]}).status_code == 201


def test_the_fleets_backlog_and_a_plan_with_room_for_all_do_the_same_jobs(api: Any, worn: Cast) -> None:
    backlog = api.get(f"/api/v1/fleets/{worn.fleet.pk}/vehicles/{worn.vehicle.pk}/backlog/").json()
    body = api.post(url(worn), {"visits": [visit(40, "5000.00")], "exact": True}).json()
    ranked = {(item["job"], *item["positions"]) for item in backlog["items"]}
    assert {(job["job"], *job["positions"]) for job in jobs_of(body)} == ranked
    assert Decimal(body["value"]["amount"]) >= sum(
        Decimal(item["cost_of_waiting"]["amount"]) for item in backlog["items"]
    ) - Decimal("0.05")
