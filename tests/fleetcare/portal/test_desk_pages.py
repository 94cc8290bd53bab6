"""Deciding and acting on pages: plans, due items, jobs; every form without script."""

import uuid
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from fleetcare.fleet.services.fleets import change_fleet
from fleetcare.fleet.words import Role
from scheduling.models import DueItem, Job, StoredPlan
from scheduling.services.due import add_rule
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.inspections.given import BOOT, PADS, inspect, result
from tests.scheduling.given import due_item

PADS_JOB = {"job": "front-brake-pads.replace", "position": ["front-left", "front-right"]}


def today() -> date:
    return timezone.now().date()


def worn(cast: Cast, vehicle: Any = None) -> None:
    boots = [result(BOOT, side, grade="major") for side in ("front-left", "front-right")]
    looked = [*boots, result(PADS, "front-left", grade="dangerous")]
    inspect(
        cast.access, vehicle or cast.vehicle, *looked, inspected_on=today() - timedelta(9), shown_km=Decimal(180_000)
    )


@pytest.fixture
def base(cast: Cast) -> str:
    worn(cast)
    return f"/fleets/{cast.fleet.pk}/"


def visits(*rows: tuple[int, str, str]) -> dict[str, str]:
    form = {"carry_over": "on"}
    for number, (days, hours, money) in enumerate(rows, 1):
        day = (today() + timedelta(days)).isoformat()
        form |= {f"date-{number}": day, f"hours-{number}": hours, f"budget-{number}": money}
    return form


def test_money_and_hours_become_a_plan_with_what_is_left_out_and_how_sure_it_is(
    cast: Cast, base: str, browser_of: Any
) -> None:
    client = browser_of(cast, Role.PLANNER)
    answer = client.post(f"{base}decide/", visits((5, "4,5", "250,50"), (12, "6", "300")))
    assert answer.status_code == 302
    asked = StoredPlan.objects.within(cast.fleet).get().asked
    assert [visit["minutes"] for visit in asked["visits"]] == [270, 360]
    assert [visit["budget_minor"] for visit in asked["visits"]] == [25_050, 30_000]
    page = client.get(answer["Location"])
    text = words(page.content.decode())
    assert "No other choice saves more: that is proved." in text
    assert "before driving" in text
    assert cast.vehicle.name in text


def test_what_more_money_and_hours_buy_is_told_step_by_step(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    plan = client.post(f"{base}decide/", visits((5, "6", "300")))["Location"]
    for of in ("money", "hours"):
        markup = parsed(client.get(f"{plan}?more={of}").content)
        assert len(markup.all("table")) == 1
        assert len(markup.all("tr")) == 7
        assert markup.all("svg")


def test_a_plan_that_cannot_be_says_which_rule_to_loosen(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    plan = client.post(f"{base}decide/", visits((5, "0.25", "1")))["Location"]
    text = words(client.get(plan).content.decode())
    assert "Not everything that must be done fits" in text
    assert "One of these would make it possible" in text


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"hours-1": "many"}, "A number is needed."),
        ({"budget-1": "-5"}, "This value does not match the required pattern."),
        ({"date-1": "2020-01-01"}, "This day has passed."),
        ({"date-1": ""}, "Ensure this field has at least 1 elements."),
    ],
)
def test_a_form_that_makes_no_sense_is_given_back_as_it_was_typed(
    cast: Cast, base: str, browser_of: Any, change: dict[str, str], said: str
) -> None:
    answer = browser_of(cast, Role.PLANNER).post(f"{base}decide/", {**visits((5, "7", "123")), **change})
    assert answer.status_code == 422
    assert said in words(answer.content.decode())
    values = [field.attributes.get("value") for field in parsed(answer.content).all("input")]
    assert ({"7", "123"} - set(change.values())) & set(values)
    assert not StoredPlan.objects.within(cast.fleet).exists()


def test_another_fleets_vehicle_is_no_vehicle_here(cast: Cast, strangers: Cast, base: str, browser_of: Any) -> None:
    form = {**visits((5, "7", "123")), "vehicle": str(strangers.vehicle.pk)}
    answer = browser_of(cast, Role.PLANNER).post(f"{base}decide/", form)
    assert answer.status_code == 422
    assert strangers.vehicle.name not in answer.content.decode()


def test_a_workshop_says_who_works_and_how_long_the_lift_is_free(cast: Cast, base: str, browser_of: Any) -> None:
    type(cast.fleet).objects.filter(pk=cast.fleet.pk).update(kind="workshop")
    form = {**visits((5, "8", "900")), "lift-1": "6", "person-1": "R. Amsel", "person-hours-1": "8", "hardest-1": "4"}
    answer = browser_of(cast, Role.PLANNER).post(f"{base}decide/", form)
    (visit,) = StoredPlan.objects.within(cast.fleet).get().asked["visits"]
    assert answer.status_code == 302
    assert (visit["lift_minutes"], visit["people"][0]["name"]) == (360, "R. Amsel")


def test_a_plan_is_made_anew_and_thrown_away(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    plan = client.post(f"{base}decide/", visits((5, "6", "300")))["Location"]
    change_fleet(cast.access, price_factor=Decimal(2))
    assert "What it rests on has changed" in words(client.get(plan).content.decode())
    fresh = client.post(f"{plan}renew/")["Location"]
    assert "What moved against the plan before" in words(client.get(fresh).content.decode())
    assert client.post(f"{fresh}forget/").status_code == 302
    assert client.get(fresh).status_code == 404


@pytest.mark.parametrize("role", [Role.VIEWER, Role.INSPECTOR])
def test_who_does_not_plan_reads_a_plan_and_makes_none(cast: Cast, base: str, browser_of: Any, role: Role) -> None:
    plan = browser_of(cast, Role.PLANNER).post(f"{base}decide/", visits((5, "6", "300")))["Location"]
    client = browser_of(cast, role)
    assert client.get(plan).status_code == 200
    assert client.get(f"{base}decide/").status_code == 403
    assert client.post(f"{plan}forget/").status_code == 403


def test_a_job_of_the_backlog_is_put_on_the_list_planned_closed_and_taken_back(
    cast: Cast, base: str, browser_of: Any
) -> None:
    client = browser_of(cast, Role.PLANNER)
    page = client.get(f"{base}vehicles/{cast.vehicle.pk}/")
    keys = [f.attributes["value"] for f in parsed(page.content).all("input") if f.attributes.get("name") == "job"]
    assert "front-brake-pads.replace" in keys
    vehicle = f"{base}vehicles/{cast.vehicle.pk}/"
    job = client.post(f"{vehicle}jobs/", PADS_JOB)["Location"]
    text = words(client.get(job).content.decode())
    assert "Before you begin" in text
    assert "What to lay out" in text
    soon = (today() + timedelta(3)).isoformat()
    assert client.post(job, {"step": "plan", "planned_on": soon, "assigned_to": "R. Amsel"}).status_code == 302
    assert "R. Amsel" in words(client.get(f"{base}jobs/").content.decode())
    assert "Brake" in client.get(f"{vehicle}kit/").content.decode()
    closing = {
        "step": "close", "done_on": today().isoformat(), "odometer": "180200", "hours": "1,5", "parts_cost": "64,90",
        "removal": "worn-out", "description": "Pads, set of four", "warranty_until": "2028-01-01",
    }  # fmt: skip
    assert client.post(job, closing).status_code == 302
    row = Job.objects.within(cast.fleet).get()
    assert (row.state, row.hours, row.parts_minor) == ("done", Decimal("1.50"), 6_490)
    assert not cast.vehicle.findings.filter(part_key="front-brake-pads", closed_on=None).exists()
    assert client.post(job, {"step": "undo"}).status_code == 302
    row.refresh_from_db()
    assert row.state == "planned"
    assert cast.vehicle.findings.filter(part_key="front-brake-pads", closed_on=None).exists()


def test_a_closing_that_contradicts_the_odometer_is_given_back(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.INSPECTOR)
    vehicle = f"{base}vehicles/{cast.vehicle.pk}/"
    job = client.post(f"{vehicle}jobs/", PADS_JOB)["Location"]
    answer = client.post(job, {"step": "close", "done_on": today().isoformat(), "odometer": "1000"})
    assert answer.status_code == 422
    assert "run backwards" in answer.content.decode()
    assert Job.objects.within(cast.fleet).get().state == "open"


def test_an_unknown_step_and_a_foreign_job_are_not_there(
    cast: Cast, strangers: Cast, base: str, browser_of: Any
) -> None:
    client = browser_of(cast, Role.PLANNER)
    vehicle = f"{base}vehicles/{cast.vehicle.pk}/"
    job = client.post(f"{vehicle}jobs/", PADS_JOB)["Location"]
    assert client.post(job, {"step": "explode"}).status_code == 404
    assert client.get(f"{vehicle}jobs/{uuid.uuid4()}/").status_code == 404
    assert browser_of(strangers, Role.OWNER).get(job).status_code == 404


def test_what_is_due_is_put_off_and_done(cast: Cast, base: str, browser_of: Any) -> None:
    item = due_item(cast.vehicle, on=today() - timedelta(2), state=3)
    client = browser_of(cast, Role.PLANNER)
    text = words(client.get(f"{base}due/").content.decode())
    assert "Overdue" in text
    assert "Wheel alignment" in text
    until = today() + timedelta(5)
    assert client.post(f"{base}due/{item.pk}/", {"act": "snooze", "until": until.isoformat()}).status_code == 302
    item.refresh_from_db()
    assert item.snoozed_until == until
    late = client.post(f"{base}due/{item.pk}/", {"act": "done", "done_on": (today() + timedelta(1)).isoformat()})
    assert late.status_code == 422
    done = client.post(f"{base}due/{item.pk}/", {"act": "done", "done_on": today().isoformat(), "odometer": ""})
    assert done.status_code == 302
    assert DueItem.objects.within(cast.fleet).get(pk=item.pk).closed_because == "done"


@pytest.mark.parametrize("count", [1, 6])
@pytest.mark.parametrize(("page", "queries"), [("due/", 4), ("jobs/", 5), ("decide/", 9)])
def test_pages_take_as_many_queries_for_few_as_for_many(
    cast: Cast, base: str, browser_of: Any, page: str, queries: int, count: int, django_assert_num_queries: Any
) -> None:
    client = browser_of(cast, Role.PLANNER)
    for number in range(count):
        vehicle = factories.vehicle(cast.fleet, name=f"Car {number}")
        due_item(vehicle)
        add_rule(cast.access, vehicle, template="brake-fluid")
        client.post(f"{base}vehicles/{vehicle.pk}/jobs/", PADS_JOB)
    client.get(f"{base}{page}")
    with django_assert_num_queries(queries):
        assert client.get(f"{base}{page}").status_code == 200


def test_a_part_page_traces_every_figure_and_draws_the_wear(cast: Cast, base: str, browser_of: Any) -> None:
    page = browser_of(cast, Role.VIEWER).get(
        f"{base}vehicles/{cast.vehicle.pk}/parts/front-brake-pads/?position=front-left"
    )
    text = words(page.content.decode())
    for told in ("What was seen", "How long such a part lasts", "as bought, history unknown", "Failing on the road"):
        assert told in text
    linked = parsed(browser_of(cast, Role.VIEWER).get(f"{base}vehicles/{cast.vehicle.pk}/").content)
    addresses = [link.attributes["href"] for link in linked.of_class("ledger-part") if "href" in link.attributes]
    assert f"{base}vehicles/{cast.vehicle.pk}/parts/outer-driveshaft-boot/?position=front-left" in addresses


@pytest.mark.parametrize("place", ["no-such-part/", "front-brake-pads/?position=roof", "front-brake-pads/"])
def test_a_part_that_the_vehicle_does_not_have_is_not_there(cast: Cast, base: str, browser_of: Any, place: str) -> None:
    assert browser_of(cast, Role.VIEWER).get(f"{base}vehicles/{cast.vehicle.pk}/parts/{place}").status_code == 404
