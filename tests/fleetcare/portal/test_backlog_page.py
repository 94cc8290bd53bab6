"""The list of jobs on pages: ranges, who does it, what goes together, looks asked for, what moved and why."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.models import WorkTerms
from fleetcare.fleet.words import Role
from fleetcare.portal.web.presenters.backlog import backlog_shown
from fleetcare.portal.web.presenters.beside import beside
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.hands import why_told
from fleetcare.portal.web.presenters.moved import steps_shown
from scheduling.core.changes import CAME, COST, FELL, POSTPONED, ROSE, WENT
from scheduling.services.assess import assess_vehicles
from scheduling.services.backlog_changes import _BECAUSE
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.fleetcare.portal.test_desk_pages import today, worn
from tests.inspections.given import BOOT, inspect, result

ENGLISH = Figures("EUR", "km", "en")


@pytest.fixture
def address(cast: Cast) -> str:
    worn(cast)
    return f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/backlog/"


def text_of(answer: Any) -> str:
    return words(parsed(answer.content).all("main")[0].text)


def test_a_job_tells_its_range_who_does_it_and_why(cast: Cast, address: str, browser_of: Any) -> None:
    WorkTerms.objects.create(fleet=cast.fleet, raising="none", hardest_own=1)
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    page = browser_of(cast, Role.VIEWER).get(address)
    job = next(job for job in page.context["backlog"].items if job.key == "front-brake-pads.replace")
    assert job.given_away
    assert (
        job.who_because
        == "harder than what is done here; there is nothing here to keep the vehicle safely off the ground"
    )
    low, high = (int(each.strip("€").replace(",", "")) for each in job.cost_between.split(" to "))
    assert low < int(job.cost.strip("€").replace(",", "")) < high
    assert "a workshop: harder than what is done here" in text_of(page)


def test_a_missing_tool_is_named() -> None:
    assert why_told(["a tool is missing here: puller, lift"]) == "missing here: puller, lift"
    assert why_told([]) == ""


def test_what_moved_is_told_with_its_cause(cast: Cast, address: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.VIEWER)
    assert "Nothing to compare with yet." in text_of(client.get(address))
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    assert "Nothing has moved since" in text_of(client.get(address))
    inspect(
        cast.access,
        cast.vehicle,
        result(BOOT, "front-left", grade="sound"),
        inspected_on=today(),
        shown_km=Decimal(180_900),
    )
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    page = client.get(address)
    text = text_of(page)
    (step,) = page.context["steps"]
    moved = {(move.job, move.what): move.because for move in step.moves}
    assert (
        moved["Renew the outer boot, wash and grease the joint, front left", "left the list"]
        == "its defect was not found again"
    )
    assert "driven" in text


def test_every_kind_of_change_and_every_cause_has_its_words() -> None:
    stood = {"rank": 2, "worth_per_cost": 1.0, "cost_now": {"amount": "40.00", "currency": "EUR"}}
    waited = {**stood, "rank": None, "cost_now": {"amount": "55.00", "currency": "EUR"}}
    change = {"job": "x", "title": "T", "positions": [], "causes": list(_BECAUSE), "before": stood, "after": waited}
    changes = [{**change, "what": what} for what in (CAME, WENT, POSTPONED, ROSE, FELL, COST)]
    step = {"on": "2026-11-25", "since": "2026-11-01", "driven_km": 800, "changes": changes, "more": 2}
    (shown,) = steps_shown(ENGLISH, {"steps": [step]})
    assert len({move.what for move in shown.moves}) == 6
    assert all(len(move.because.split("; ")) == len(_BECAUSE) for move in shown.moves)
    assert shown.moves[0].from_to == "place 2 before, could wait now"
    assert shown.moves[-1].from_to == "€40 before, €55 now"
    assert shown.more == "and 2 more"


def test_what_shares_the_dismantling_is_named_with_the_hours_spared() -> None:
    def item(title: str, *access: str) -> dict[str, Any]:
        return {"title": title, "positions": [], "access": list(access)}

    wheel, both = "wheel-off.front-left", ["wheel-off.front-left", "caliper-off.front-left"]
    mine = item("Pads", *both)
    others = [mine, item("Disc", *both), item("Boot", wheel), item("Lamp"), item("Far", "wheel-off.rear-left")]
    # A wheel takes a quarter of an hour, a caliper 0.2; told to a tenth.
    assert beside(ENGLISH, mine, others) == (
        "Disc: 0.5 hr of taking apart spared",
        "Boot: 0.2 hr of taking apart spared",
    )


def test_looks_asked_for_and_bundles_are_shown_with_their_cautions_once() -> None:
    euros = {"amount": "30.00", "currency": "EUR"}
    look = {
        "part": "outer-driveshaft-boot", "title": "Outer driveshaft boot", "positions": ["front-left"], "minutes": 2.0,
        "saving": euros, "bad_chance_fraction": 0.31, "cautions": ["Never go under it.", "Hot."],
    }  # fmt: skip
    bundle = {
        "jobs": [{"job": "front-brake-pads.replace", "positions": ["front-left", "front-right"]}],
        "shared": ["wheel-off.front-left"], "saving": euros, "cost": euros,
    }  # fmt: skip
    document = {
        "items": [], "can_wait": [], "bundles": [bundle], "looks": [look, {**look, "positions": ["front-right"]}],
        "total_cost": euros,
    }  # fmt: skip
    shown = backlog_shown(ENGLISH, document, date(2026, 11, 25))
    assert shown.look_cautions == ("Never go under it.", "Hot.")
    assert [each.place for each in shown.looks] == ["front left", "front right"]
    assert shown.looks[0].why == "Unseen for too long: 3 in 10 are minor or worse by now."
    assert shown.bundles[0].jobs == ("Renew the front pads, both sides, front, both sides",)
    assert shown.bundles[0].shared == "wheel off, front left"


def test_another_fleets_list_is_not_there(cast: Cast, strangers: Cast, address: str, browser_of: Any) -> None:
    assert browser_of(strangers, Role.OWNER).get(address).status_code == 404
    foreign = address.replace(str(cast.vehicle.pk), str(strangers.vehicle.pk))
    assert browser_of(cast, Role.OWNER).get(foreign).status_code == 404


@pytest.mark.parametrize("found", [0, 2])
def test_the_list_takes_as_many_queries_for_little_as_for_much(
    cast: Cast, address: str, browser_of: Any, found: int, django_assert_num_queries: Any
) -> None:
    checks = ["brake-hose.condition", "front-brake-disc.surface"]
    places = ("front-left", "front-right")
    bad = [result(check, place, grade="major") for check in checks[:found] for place in places]
    inspect(cast.access, cast.vehicle, *bad, inspected_on=today() - timedelta(1), shown_km=Decimal(180_500))
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    client = browser_of(cast, Role.VIEWER)
    # Session, user, membership, vehicle, changes, backlog, jobs on the list.
    with django_assert_num_queries(7):
        assert client.get(address).status_code == 200
