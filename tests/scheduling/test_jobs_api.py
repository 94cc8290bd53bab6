"""Jobs over the API: opened, planned, done or not; kit lists; know-how."""

import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.models import OdometerReading
from fleetcare.fleet.words import Role
from inspections.models import Finding, FittedPart
from scheduling.models import Job
from scheduling.services.jobs import declined_safety_work, plan_job
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result
from tests.scheduling.work_given import BOOT_JOB, CLEAN_HUB, PADS_JOB, SIDES, closed, day, job, note


def url(cast: Cast, *rest: Any) -> str:
    tail = "".join(f"{part}/" for part in rest)
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/jobs/{tail}"


def money(amount: str, currency: str = "EUR") -> dict[str, str]:
    return {"amount": amount, "currency": currency}


def seen(cast: Cast, *results: dict[str, Any], ago: int = 10) -> None:
    inspect(cast.access, cast.vehicle, *results, inspected_on=day(cast.access, ago))


def done(cast: Cast, **values: Any) -> dict[str, Any]:
    return {"done_on": day(cast.access).isoformat(), "odometer_km": 120_500, **values}


def pointers(response: Any) -> list[str]:
    return [fault["pointer"] for fault in response.json()["errors"]]


def test_a_job_goes_from_the_backlog_to_done(api: Any, cast: Cast) -> None:
    seen(cast, *(result(PADS, side, grade="major") for side in SIDES))
    backlog = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/backlog/"
    item = next(each for each in api.get(backlog).json()["items"] if each["job"] == PADS_JOB)
    assert item["job_id"] is None
    body = {"job": item["job"], "positions": item["positions"], "origin": "backlog"}
    opened = api.post(url(cast), body)
    assert opened.status_code == 201
    assert opened["Location"] == url(cast, opened.json()["id"])
    made = opened.json()
    assert (made["state"], made["safety"], made["part"], made["positions"]) == (
        "open", True, "front-brake-pads", SIDES,
    )  # fmt: skip
    saturday = (day(cast.access) + timedelta(days=3)).isoformat()
    planned = api.post(url(cast, made["id"], "plan"), {"planned_on": saturday, "assigned_to": "R. Amsel"}).json()
    assert (planned["state"], planned["planned_on"], planned["assigned_to"]) == ("planned", saturday, "R. Amsel")
    item = next(each for each in api.get(backlog).json()["items"] if each["job"] == PADS_JOB)
    assert (item["job_id"], item["job_state"], item["planned_on"]) == (made["id"], "planned", saturday)
    assert api.post(url(cast, made["id"], "start"), {}).json()["state"] == "in-work"
    line = {"description": "pad set, front", "part_number": "AX-1", "quantity": 1, "price": money("45.50")}
    line |= {"warranty_until": (day(cast.access) + timedelta(days=730)).isoformat(), "warranty_km": 40_000}
    given = done(cast, hours=1.5, labour=money("60.00"), other=money("5.00"), removal="worn-out", parts=[line])
    closed_job = api.post(url(cast, made["id"], "close"), given).json()
    assert (closed_job["state"], closed_job["hours"], closed_job["odometer_km"]) == ("done", 1.5, 120_500)
    assert (closed_job["parts_cost"], closed_job["total"]) == (money("45.50"), money("110.50"))
    assert closed_job["parts"][0]["warranty_km"] == 40_000
    assert closed_job["parts"][0]["fitted_part"] is not None
    assert closed_job["steps"] == ["undo"]
    assert api.get(backlog).json()["items"] == []
    undone = api.post(url(cast, made["id"], "undo")).json()
    assert (undone["state"], undone["done_on"], undone["parts"], undone["total"]) == ("in-work", None, [], None)
    assert {each["job"] for each in api.get(backlog).json()["items"]} >= {PADS_JOB}


def test_the_fleets_backlog_names_the_open_jobs_too(api: Any, cast: Cast) -> None:
    from scheduling.services.assess import assess_vehicles

    seen(cast, *(result(PADS, side, grade="major") for side in SIDES))
    made = job(cast.access, cast.vehicle)
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    items = api.get(f"/api/v1/fleets/{cast.fleet.pk}/backlog/").json()["items"]
    assert {item["job"]: item["job_id"] for item in items}[PADS_JOB] == str(made.pk)


def test_the_same_job_is_open_once_and_the_clients_own_id_makes_a_repeat_harmless(api: Any, cast: Cast) -> None:
    key = str(uuid.uuid4())
    body = {"id": key, "job": PADS_JOB, "positions": ["front-right"]}
    assert api.post(url(cast), body).status_code == 201
    assert api.post(url(cast), body).status_code == 200
    other = api.post(url(cast), {"job": PADS_JOB, "positions": ["front-left"]})
    assert (other.status_code, other.json()["type"]) == (409, "urn:fleetcare:problem:job-open-already")
    changed = api.post(url(cast), {**body, "job": BOOT_JOB})
    assert (changed.status_code, changed.json()["type"]) == (409, "urn:fleetcare:problem:id-in-use")
    assert Job.objects.within(cast.fleet).count() == 1


def test_a_declined_job_says_why_and_by_whom_and_makes_room_for_another(api: Any, cast: Cast) -> None:
    made = job(cast.access, cast.vehicle)
    body = {"reason": "the car goes next month", "decided_by": "Mrs. Meise"}
    declined = api.post(url(cast, made.pk, "decline"), body).json()
    assert (declined["state"], declined["reason"], declined["decided_by"]) == (
        "declined", "the car goes next month", "Mrs. Meise",
    )  # fmt: skip
    again = job(cast.access, cast.vehicle)
    refused = api.post(url(cast, made.pk, "reopen"))
    assert (refused.status_code, refused.json()["type"]) == (409, "urn:fleetcare:problem:job-open-already")
    api.post(url(cast, again.pk, "decline"), {"reason": "twice"})
    assert api.post(url(cast, made.pk, "reopen")).json()["state"] == "open"


def test_whoever_enters_a_decision_is_named_where_nobody_else_is(client_of: Any, cast: Cast) -> None:
    made = job(cast.access, cast.vehicle)
    answer = client_of(Role.PLANNER).post(url(cast, made.pk, "decline"), {"reason": "no"})
    assert answer.json()["decided_by"] == "key of planner"


def test_a_job_is_put_off_until_a_day_to_come_but_not_what_was_seen_dangerous(api: Any, cast: Cast) -> None:
    made = job(cast.access, cast.vehicle, BOOT_JOB)
    until = (day(cast.access) + timedelta(days=60)).isoformat()
    put_off = api.post(url(cast, made.pk, "defer"), {"deferred_until": until, "reason": "after winter"}).json()
    assert (put_off["state"], put_off["deferred_until"]) == ("deferred", until)
    past = api.post(url(cast, made.pk, "defer"), {"deferred_until": day(cast.access).isoformat(), "reason": "x"})
    assert pointers(past) == ["/deferred_until"]
    seen(cast, result(PADS, "front-left", grade="dangerous"))
    pads = api.post(url(cast), {"job": PADS_JOB, "positions": ["front-left"]}).json()
    assert pads["before_driving"]
    refused = api.post(url(cast, pads["id"], "defer"), {"deferred_until": until, "reason": "x"})
    assert (refused.status_code, refused.json()["type"]) == (409, "urn:fleetcare:problem:dangerous")


@pytest.mark.parametrize(
    ("body", "place"),
    [
        ({}, ["/title"]),
        ({"title": "  "}, ["/title"]),
        ({"job": "front-brake-pads.polish"}, ["/job"]),
        ({"job": PADS_JOB}, ["/positions"]),
        ({"job": PADS_JOB, "positions": ["rear-left"]}, ["/positions/0"]),
        ({"job": PADS_JOB, "positions": ["front-left", "moon"]}, ["/positions/1"]),
        ({"job": BOOT_JOB, "positions": SIDES}, ["/positions"]),
        ({"job": "engine-oil.change", "positions": ["front"]}, ["/positions/0"]),
        ({"job": PADS_JOB, "positions": SIDES, "part": "tyre"}, ["/part"]),
        ({"title": "x", "part": "halo"}, ["/part"]),
        ({"title": "x", "positions": ["front"]}, ["/positions/0"]),
        ({"title": "x", "origin": "estimate"}, ["/origin"]),
        ({"title": "x", "colour": 1}, ["/colour"]),
        ({"title": "x" * 161}, ["/title"]),
    ],
)
def test_a_job_that_cannot_be_names_its_place(api: Any, cast: Cast, body: Any, place: list[str]) -> None:
    response = api.post(url(cast), body)
    assert response.status_code == 400
    assert pointers(response) == place
    assert not Job.objects.within(cast.fleet).exists()


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"done_on": "2999-01-01"}, ["/done_on"]),
        ({"done_on": "1999-01-01"}, ["/done_on"]),
        ({"odometer_km": 5}, ["/odometer_km"]),
        ({"odometer_km": None, "odometer": {"value": 1, "unit": "mi"}}, ["/odometer_km"]),
        ({"hours": -1}, ["/hours"]),
        ({"labour": {"amount": "-1.00", "currency": "EUR"}}, ["/labour/amount"]),
        ({"labour": {"amount": "1.00", "currency": "USD"}}, ["/labour/currency"]),
        ({"parts": [{"description": "x", "quantity": 0}]}, ["/parts/0/quantity"]),
        ({"parts": [{"description": "x", "position": "rear-left"}]}, ["/parts/0/position"]),
        ({"parts": [{"description": "x", "warranty_until": "2020-01-01"}]}, ["/parts/0/warranty_until"]),
        ({"parts": [{"description": "x", "price": {"amount": "2.00", "currency": "EUR"}}],
          "parts_cost": {"amount": "3.00", "currency": "EUR"}}, ["/parts_cost"]),
        ({"findings": ["00000000-0000-4000-8000-000000000000"]}, ["/findings/0"]),
        ({"removal": "eaten"}, ["/removal"]),
    ],
)  # fmt: skip
def test_a_closing_that_cannot_be_names_its_place_and_changes_nothing(
    api: Any, cast: Cast, change: Any, place: list[str]
) -> None:
    seen(cast, result(PADS, "front-left", grade="major"))
    made = job(cast.access, cast.vehicle)
    response = api.post(url(cast, made.pk, "close"), done(cast, **change))
    assert response.status_code == 400
    assert pointers(response) == place
    assert Job.objects.within(cast.fleet).get().state == "open"
    assert not FittedPart.objects.within(cast.fleet).exists()
    assert OdometerReading.objects.within(cast.fleet).count() == 1
    assert Finding.objects.within(cast.fleet).get().closed_on is None


def test_steps_that_cannot_be_taken_are_refused_and_say_what_can(api: Any, cast: Cast) -> None:
    made = closed(cast.access, job(cast.access, cast.vehicle))
    for step, body in (("plan", {"planned_on": day(cast.access).isoformat()}), ("start", {}), ("close", done(cast))):
        response = api.post(url(cast, made.pk, step), body)
        assert (response.status_code, response.json()["type"]) == (409, "urn:fleetcare:problem:job-state")
        assert "undo" in response.json()["detail"]
    assert api.patch(url(cast, made.pk), {"note": "late thought"}).status_code == 409


def test_a_stale_step_is_refused(api: Any, cast: Cast) -> None:
    made = job(cast.access, cast.vehicle)
    tag = api.get(url(cast, made.pk))["ETag"]
    api.patch(url(cast, made.pk), {"note": "ask for the short bolts"})
    stale = api.post(url(cast, made.pk, "start"), {}, HTTP_IF_MATCH=tag)
    assert stale.status_code == 412
    assert api.get(url(cast, made.pk)).json()["note"] == "ask for the short bolts"


def test_an_inspector_records_what_was_done_and_plans_nothing(client_of: Any, cast: Cast) -> None:
    client = client_of(Role.INSPECTOR)
    made = client.post(url(cast), {"title": "Grease the lock"}).json()
    assert client.post(url(cast, made["id"], "close"), done(cast)).status_code == 200
    assert client.post(url(cast, made["id"], "undo")).status_code == 200
    body = {"planned_on": day(cast.access).isoformat()}
    assert client.post(url(cast, made["id"], "plan"), body).status_code == 403


def test_jobs_are_listed_by_state(api: Any, cast: Cast) -> None:
    plan_job(cast.access, job(cast.access, cast.vehicle), planned_on=day(cast.access))
    closed(cast.access, job(cast.access, cast.vehicle, BOOT_JOB))
    titles = {
        state: [item["state"] for item in api.get(url(cast), {"state": state}).json()["items"]]
        for state in ("live", "done", "planned", "open")
    }
    assert titles == {"live": ["planned"], "done": ["done"], "planned": ["planned"], "open": []}
    assert api.get(url(cast), {"state": "eaten"}).status_code == 400
    fleet = api.get(f"/api/v1/fleets/{cast.fleet.pk}/jobs/", {"state": "live"}).json()["items"]
    assert [item["vehicle_name"] for item in fleet] == ["Home car"]


@pytest.mark.parametrize("count", [1, 8])
def test_lists_take_the_same_number_of_queries_for_one_job_and_for_eight(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    from scheduling.services.jobs import PartLine

    client = client_of(Role.VIEWER)
    for number in range(count):
        row = job(cast.access, factories.vehicle(cast.fleet, name=f"car {number}"))
        closed(cast.access, row, parts=(PartLine("a"), PartLine("b")))
        closed(cast.access, job(cast.access, cast.vehicle), ago=count - number, parts=(PartLine("a"),))
    client.get(url(cast))
    # The key, the vehicle, the page with its readings, its lines.
    with django_assert_num_queries(4):
        assert len(client.get(url(cast)).json()["items"]) == count
    with django_assert_num_queries(3):
        assert len(client.get(f"/api/v1/fleets/{cast.fleet.pk}/jobs/").json()["items"]) == 2 * count


def kit_url(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/kit-list/"


def test_a_kit_list_merges_tools_counts_access_once_and_shows_cautions_first(api: Any, cast: Cast) -> None:
    jobs = [job(cast.access, cast.vehicle), job(cast.access, cast.vehicle, BOOT_JOB, "front-left")]
    note(cast.access, cast.vehicle)
    body = api.get(url(cast, "kit"), {"jobs": ",".join(str(each.pk) for each in jobs)}).json()
    assert next(iter(body)) == "cautions"
    assert "Never go under a vehicle held by a jack alone" in body["cautions"][0]["text"]
    assert len({each["caution"] for each in body["cautions"]}) == len(body["cautions"])
    (car,) = body["vehicles"]
    assert [unit["unit"] for unit in car["access"]] == [
        "wheel-off.front-left", "wheel-off.front-right", "caliper-off.front-left", "caliper-off.front-right",
        "driveshaft-out.front-left",
    ]  # fmt: skip
    # 0.7 + 1.2 of work is the catalogue's; 2 wheels 0.5, 2 calipers 0.4, 1 shaft 1.0; bedding in 0.3, nuts 0.1.
    own = sum(each["hours"] for each in car["jobs"])
    assert body["hours"] == pytest.approx(own + 0.5 + 0.4 + 1.0 + 0.3 + 0.1)
    tools = {each["what"]: each["jobs"] for each in body["tools"]}
    assert len(tools) == len({name.casefold() for name in tools})
    assert tools["piston press"] == [str(jobs[0].pk)]
    assert {"30 mm, 32 mm or 36 mm hub nut socket", "trolley jack"} <= set(tools)
    assert "brake cleaner" in {each["what"] for each in body["consumables"]}
    assert [(each["part"], each["positions"]) for each in body["parts"]] == [
        ("front-brake-pads", SIDES), ("outer-driveshaft-boot", ["front-left"]),
    ]  # fmt: skip
    pads, boot = car["jobs"]
    (torque,) = pads["torque"]
    assert (torque["value"], torque["unit"], torque["source"]) == (105, "N·m", "maker's repair data, brakes, page 12")
    assert pads["torque_hint"] == ""
    assert "maker's data" in boot["torque_hint"]
    assert boot["torque"] == []


def test_a_kit_list_flags_licensed_work_and_never_invents_a_tightening_figure(api: Any, cast: Cast) -> None:
    made = job(cast.access, cast.vehicle, "airbag-system.repair")
    body = api.post(kit_url(cast), {"jobs": [str(made.pk)]}).json()
    assert body["licensed"] == [{"job": str(made.pk), "title": made.title}]
    assert all(each["torque"] == [] for car in body["vehicles"] for each in car["jobs"])


def test_a_kit_list_is_for_several_vehicles_and_shares_know_how_only_within_a_model(api: Any, cast: Cast) -> None:
    twin = factories.vehicle(cast.fleet, name="Twin", make=" AMSEL", model="zwei ")
    other = factories.vehicle(cast.fleet, name="Other", make="Amsel", model="Drei")
    blank = factories.vehicle(cast.fleet, name="Blank")
    note(cast.access, cast.vehicle)
    jobs = [job(cast.access, car) for car in (cast.vehicle, twin, other, blank)]
    body = api.post(kit_url(cast), {"jobs": [str(each.pk) for each in jobs]}).json()
    found = {car["vehicle_name"]: len(car["jobs"][0]["torque"]) for car in body["vehicles"]}
    assert found == {"Home car": 1, "Twin": 1, "Other": 0, "Blank": 0}
    assert sum(each["what"] == "piston press" for each in body["tools"]) == 1


def test_without_names_the_kit_list_is_for_what_is_planned_or_begun(api: Any, cast: Cast) -> None:
    plan_job(cast.access, job(cast.access, cast.vehicle), planned_on=day(cast.access))
    job(cast.access, cast.vehicle, BOOT_JOB)
    (car,) = api.get(url(cast, "kit")).json()["vehicles"]
    assert [each["title"] for each in car["jobs"]] == ["Renew the front pads, both sides"]


def test_another_fleets_job_on_a_kit_list_is_refused_like_a_missing_one(api: Any, cast: Cast, strangers: Cast) -> None:
    foreign, mine = job(strangers.access, strangers.vehicle), job(cast.access, cast.vehicle)
    answers = []
    for key in (foreign.pk, uuid.UUID(int=7)):
        body = {"jobs": [str(mine.pk), str(key)]}
        answers.append(api.post(kit_url(cast), body, HTTP_X_REQUEST_ID="same-for-both"))
    assert [answer.status_code for answer in answers] == [400, 400]
    assert pointers(answers[0]) == ["/jobs/1"]
    assert answers[0].content == answers[1].content


@pytest.mark.parametrize("count", [1, 6])
def test_a_kit_list_takes_the_same_number_of_queries_for_one_vehicle_and_for_six(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client, jobs = client_of(Role.VIEWER), []
    for number in range(count):
        vehicle = factories.vehicle(cast.fleet, name=f"car {number}", make="Amsel", model=f"M{number}")
        note(cast.access, vehicle)
        jobs += [job(cast.access, vehicle), job(cast.access, vehicle, CLEAN_HUB)]
    body = {"jobs": [str(each.pk) for each in jobs]}
    client.post(kit_url(cast), body)
    # The key, the jobs with their vehicles, their lines, the know-how, and the three of the prices.
    with django_assert_num_queries(7):
        assert client.post(kit_url(cast), body).status_code == 200


def know_how_url(cast: Cast, *rest: Any) -> str:
    tail = "".join(f"{part}/" for part in rest)
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/know-how/{tail}"


WHERE = {"part": "front-brake-pads", "kind": "where", "text": "The wear wire hides behind the inner pad."}


def test_know_how_is_shared_changed_and_taken_away(api: Any, client_of: Any, cast: Cast) -> None:
    note(cast.access, cast.vehicle)
    inspector = client_of(Role.INSPECTOR)
    made = inspector.post(know_how_url(cast), WHERE)
    assert made.status_code == 201
    assert (made.json()["make"], made.json()["author"]) == ("Amsel", "key of inspector")
    listed = api.get(know_how_url(cast)).json()["items"]
    assert [each["kind"] for each in listed] == ["torque", "where"]
    assert len(api.get(know_how_url(cast), {"part": "tyre"}).json()["items"]) == 0
    one = know_how_url(cast, made.json()["id"])
    changed = inspector.patch(one, {"text": "Behind the outer one."}, HTTP_IF_MATCH=made["ETag"])
    assert changed.json()["text"] == "Behind the outer one."
    assert inspector.patch(one, {"text": "x"}, HTTP_IF_MATCH=made["ETag"]).status_code == 412
    assert inspector.delete(know_how_url(cast, listed[0]["id"])).status_code == 403
    assert inspector.delete(one).status_code == 204
    assert api.get(one).status_code == 404


@pytest.mark.parametrize(
    ("body", "place"),
    [
        ({**WHERE, "part": ""}, ["/part"]),
        ({**WHERE, "part": "halo"}, ["/part"]),
        ({**WHERE, "job": "halo.polish"}, ["/job"]),
        ({**WHERE, "kind": "torque"}, ["/value", "/unit", "/source"]),
        ({**WHERE, "kind": "torque", "value": 9000, "unit": "N·m", "source": "book"}, ["/value"]),
        ({**WHERE, "kind": "torque", "value": 90, "unit": "kg", "source": "book"}, ["/unit"]),
        ({**WHERE, "kind": "torque", "value": 90, "unit": "N·m", "source": " "}, ["/source"]),
        ({**WHERE, "kind": "time", "value": 2}, ["/unit"]),
        ({**WHERE, "value": 2}, ["/unit"]),
        ({**WHERE, "text": ""}, ["/text"]),
        ({**WHERE, "kind": "gossip"}, ["/kind"]),
    ],
)
def test_know_how_that_lacks_what_its_kind_takes_names_its_place(
    api: Any, cast: Cast, body: Any, place: list[str]
) -> None:
    note(cast.access, cast.vehicle)
    response = api.post(know_how_url(cast), body)
    assert response.status_code == 400
    assert pointers(response) == place


def test_know_how_needs_a_make_and_a_model_to_be_shared_by(api: Any, cast: Cast) -> None:
    response = api.post(know_how_url(cast), WHERE)
    assert response.status_code == 400
    assert response.json()["errors"][0]["code"] == "no-model"
    assert api.get(know_how_url(cast)).json()["items"] == []


def declined(cast: Cast, **values: Any) -> Job:
    from scheduling.services.jobs import decline_job

    return decline_job(cast.access, job(cast.access, cast.vehicle, **values), reason="no", decided_by="M. Meise")


def repeated(cast: Cast) -> list[tuple[str, str]]:
    return [(work.job.job_key, work.declined_by) for work in declined_safety_work(cast.access, cast.vehicle)]


def test_declined_safety_work_is_repeated_until_it_is_done(cast: Cast) -> None:
    assert repeated(cast) == []
    declined(cast)
    assert repeated(cast) == [(PADS_JOB, "M. Meise")]
    closed(cast.access, job(cast.access, cast.vehicle))
    assert repeated(cast) == []


def test_work_done_on_one_side_does_not_settle_what_was_declined_on_both(cast: Cast) -> None:
    declined(cast)
    from inspections.services.parts import fit_part

    place = {"part_key": "front-brake-pads", "fitted_on": day(cast.access)}
    fit_part(cast.access, cast.vehicle, position="front-left", shown_km=Decimal(120_500), **place)
    assert repeated(cast) == [(PADS_JOB, "M. Meise")]
    fit_part(cast.access, cast.vehicle, position="front-right", shown_km=Decimal(120_500), **place)
    assert repeated(cast) == []


def test_a_job_done_on_one_side_does_not_settle_what_was_declined_on_both(cast: Cast) -> None:
    declined(cast)
    for side, left in zip(SIDES, ([(PADS_JOB, "M. Meise")], []), strict=True):
        values = {"key": "", "title": "Pads by a friend", "part_key": "front-brake-pads", "safety": True}
        closed(cast.access, job(cast.access, cast.vehicle, values.pop("key"), side, **values))
        assert repeated(cast) == left


def test_a_later_look_that_finds_it_sound_settles_what_was_declined(cast: Cast) -> None:
    seen(cast, *(result(PADS, side, grade="major") for side in SIDES))
    declined(cast)
    assert repeated(cast) == [(PADS_JOB, "M. Meise")]
    inspect(cast.access, cast.vehicle, result(PADS, "front-left"), inspected_on=day(cast.access))
    assert repeated(cast) == [(PADS_JOB, "M. Meise")]
    inspect(cast.access, cast.vehicle, result(PADS, "front-right"), inspected_on=day(cast.access))
    assert repeated(cast) == []


def test_work_that_no_safety_hangs_on_is_not_repeated_and_the_same_work_once(cast: Cast) -> None:
    declined(cast, key=BOOT_JOB)
    for _ in range(2):
        declined(cast)
    assert repeated(cast) == [(PADS_JOB, "M. Meise")]


@pytest.mark.parametrize("count", [1, 5])
def test_repeating_takes_the_same_number_of_queries_for_one_and_for_five(
    cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    seen(cast, result(BOOT, "front-left", grade="major"))
    for number in range(count):
        declined(cast, key="", title=f"Free safety work {number}", safety=True, part_key="tyre")
    with django_assert_num_queries(4):
        assert len(repeated(cast)) == count
