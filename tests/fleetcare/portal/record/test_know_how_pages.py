"""Know-how on its pages, and where it is shown: at the check, the job, the kit list."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from inspections.services.parts import fit_part
from inspections.services.walking import start_walk
from scheduling.models import KnowHow
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.scheduling.work_given import PADS_JOB, job, note

PADS = "front-brake-pads"
NOTE = {"kind": "where", "part": PADS, "text": "Behind the rubber cap.", "value": "", "unit": "", "source": ""}


@pytest.fixture
def vehicle(cast: Cast) -> Vehicle:
    Vehicle.objects.within(cast.fleet).filter(pk=cast.vehicle.pk).update(make="Amsel", model="Zwei")
    cast.vehicle.refresh_from_db()
    return cast.vehicle


@pytest.fixture
def at(cast: Cast, vehicle: Vehicle) -> str:
    return f"/fleets/{cast.fleet.pk}/vehicles/{vehicle.pk}/"


def text_of(client: Any, address: str) -> str:
    return words(client.get(address).content.decode())


def test_a_note_is_shown_for_every_vehicle_of_the_model_and_no_other(cast: Cast, at: str, browser_of: Any) -> None:
    inspector = browser_of(cast, Role.INSPECTOR)
    assert inspector.post(f"{at}know-how/", NOTE)["Location"] == f"{at}know-how/"
    same = factories.vehicle(cast.fleet, name="Twin", make="AMSEL", model="zwei")
    other = factories.vehicle(cast.fleet, name="Other", make="Amsel", model="Drei")
    shown = {
        vehicle.name: NOTE["text"] in text_of(inspector, f"/fleets/{cast.fleet.pk}/vehicles/{vehicle.pk}/know-how/")
        for vehicle in (cast.vehicle, same, other)
    }
    assert shown == {"Home car": True, "Twin": True, "Other": False}


def test_a_note_stands_at_its_check_its_job_and_the_vehicle(cast: Cast, at: str, browser_of: Any) -> None:
    inspector = browser_of(cast, Role.INSPECTOR)
    inspector.post(f"{at}know-how/", NOTE)
    inspector.post(f"{at}know-how/", {**NOTE, "part": "", "check": f"{PADS}.thickness", "text": "The long gauge."})
    inspector.post(
        f"{at}know-how/",
        {**NOTE, "part": "", "job": PADS_JOB, "kind": "time", "text": "Both sides", "value": "1,8", "unit": "h"},
    )
    on = today(cast.fleet)
    walk, _ = start_walk(
        cast.access, cast.vehicle, sheet="wheels-off", inspected_on=on, shown_km=Decimal(1000), inspector="R. Amsel"
    )
    stations = [
        text_of(inspector, f"{at}walks/{walk.pk}/at/{key}/")
        for key in ("raised-corner-front-left", "raised-corner-front-right")
    ]
    assert any("Behind the rubber cap." in text and "The long gauge." in text for text in stations), stations[0][:300]
    row = job(cast.access, cast.vehicle)
    assert "Both sides 1.8 h" in text_of(inspector, f"{at}jobs/{row.pk}/")
    assert "Both sides" in text_of(inspector, at)


def test_the_address_says_what_a_note_is_about(cast: Cast, at: str, browser_of: Any) -> None:
    page = browser_of(cast, Role.INSPECTOR).get(f"{at}know-how/?job={PADS_JOB}")
    hidden = {each.attributes.get("name"): each.attributes.get("value") for each in parsed(page.content).all("input")}
    assert hidden["job"] == PADS_JOB


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"part": ""}, "part"),
        ({"part": "no-such"}, "part"),
        ({"text": ""}, "text"),
        ({"kind": "torque", "value": "110", "unit": "N·m"}, "source"),
        ({"kind": "time", "value": "soon", "unit": "h"}, "value"),
        ({"kind": "time", "value": "2", "unit": "mm"}, "unit"),
    ],
)
def test_a_fault_stands_at_its_field_and_what_was_typed_stays(
    cast: Cast, at: str, browser_of: Any, change: dict[str, str], field: str
) -> None:
    answer = browser_of(cast, Role.INSPECTOR).post(f"{at}know-how/", {**NOTE, "source": "", **change})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert not KnowHow.objects.within(cast.fleet).exists()


def test_a_note_is_corrected_unless_somebody_else_did_and_taken_away_by_who_wrote_it(
    cast: Cast, at: str, browser_of: Any
) -> None:
    inspector, planner = browser_of(cast, Role.INSPECTOR), browser_of(cast, Role.PLANNER)
    inspector.post(f"{at}know-how/", NOTE)
    row = KnowHow.objects.within(cast.fleet).get()
    page = f"{at}know-how/{row.pk}/"
    assert planner.post(page, {**NOTE, "text": "Behind the cap.", "version": '"1"'}).status_code == 302
    late = inspector.post(page, {**NOTE, "version": '"1"'})
    assert late.status_code == 422
    assert "changed since you read it" in late.content.decode()
    assert inspector.post(page, {"remove": ""}).status_code == 302
    assert not KnowHow.objects.within(cast.fleet).exists()


def test_an_inspector_takes_away_nobody_elses_note(cast: Cast, at: str, browser_of: Any) -> None:
    row = note(cast.access, cast.vehicle)
    assert browser_of(cast, Role.INSPECTOR).post(f"{at}know-how/{row.pk}/", {"remove": ""}).status_code == 403
    assert KnowHow.objects.within(cast.fleet).exists()


def test_a_viewer_reads_and_notes_nothing(cast: Cast, at: str, browser_of: Any) -> None:
    row = note(cast.access, cast.vehicle)
    viewer = browser_of(cast)
    assert "carrier bolts" in text_of(viewer, f"{at}know-how/")
    assert viewer.post(f"{at}know-how/", NOTE).status_code == 403
    assert viewer.get(f"{at}know-how/{row.pk}/").status_code == 403


def test_a_vehicle_without_a_model_shares_nothing_and_says_so(cast: Cast, browser_of: Any) -> None:
    address = f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/know-how/"
    assert "Say make and model of the vehicle first" in text_of(browser_of(cast, Role.INSPECTOR), address)
    assert browser_of(cast, Role.INSPECTOR).post(address, NOTE).status_code == 422


def test_know_how_of_another_fleet_is_not_there(cast: Cast, strangers: Cast, at: str, browser_of: Any) -> None:
    theirs = note(strangers.access, strangers.vehicle)
    owner = browser_of(cast, Role.OWNER)
    assert owner.get(f"{at}know-how/{theirs.pk}/").status_code == 404
    assert "carrier bolts" not in text_of(owner, f"{at}know-how/")


def test_many_notes_ask_no_more_questions_than_one(
    cast: Cast, at: str, browser_of: Any, django_assert_num_queries: Any
) -> None:
    viewer = browser_of(cast)
    for number in range(4):
        note(cast.access, cast.vehicle, text=f"bolt {number}")
        with django_assert_num_queries(5):  # session, user, membership, vehicle, notes
            viewer.get(f"{at}know-how/")


def test_parts_on_record_are_told_with_those_before_them(
    cast: Cast, at: str, browser_of: Any, django_assert_num_queries: Any
) -> None:
    for days, km in ((400, 100_000), (30, 142_000)):
        on = today(cast.fleet) - timedelta(days=days)
        fit_part(
            cast.access, cast.vehicle, part_key="air-filter", position="", fitted_on=on, shown_km=Decimal(km),
            removal="worn-out", description=f"Filter {km}",
        )  # fmt: skip
    viewer = browser_of(cast)
    with django_assert_num_queries(5):  # session, user, membership, vehicle, parts
        told = text_of(viewer, f"{at}parts/")
    assert "Filter 142000" in told
    assert "lasted 42,000 km · it was worn out · Filter 100000" in told
    assert "the one before lasted 42,000 km" in text_of(viewer, at)
