"""The history of a vehicle: everything in one dated list, in pages that neither repeat nor lose anything."""

import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.clock import today
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from fleetcare.portal.record.timeline import Entry, Kind, entries
from inspections.services.parts import fit_part
from scheduling.services.due import add_rule, mark_done
from tests.conftest import Cast
from tests.fleetcare.fleet.given import fill
from tests.fleetcare.portal.markup import parsed, words
from tests.inspections.given import BOOT, PADS, inspect, result
from tests.scheduling.work_given import PADS_JOB, SIDES, closed, job


@pytest.fixture
def at(cast: Cast) -> str:
    return f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/history/"


@pytest.fixture
def life(cast: Cast) -> list[tuple[int, Kind]]:
    """Something of every kind, by the days ago; what is told by something else is not in the list."""
    on, access, vehicle = today(cast.fleet), cast.access, cast.vehicle

    def ago(days: int) -> date:
        return on - timedelta(days=days)

    torn = result(BOOT, "front-right", grade="major", observations=["torn"])
    inspect(access, vehicle, torn, inspected_on=ago(90), shown_km=Decimal(119_000))
    record_odometer(access, vehicle, read_on=ago(80), shown_km=Decimal(119_500))
    fill(access, vehicle, filled_on=ago(75), shown_km=Decimal(119_700))
    mark_done(access, add_rule(access, vehicle, template="brake-fluid"), vehicle, done_on=ago(70))
    fit_part(
        access,
        vehicle,
        part_key=BOOT.split(".")[0],
        position="front-right",
        fitted_on=ago(60),
        shown_km=Decimal(120_000),
    )
    inspect(access, vehicle, inspected_on=ago(50), shown_km=Decimal(120_400))
    closed(access, job(access, vehicle), 40, shown_km=Decimal(120_900))
    record_odometer(access, vehicle, read_on=ago(10), shown_km=Decimal(5), replacement=True)
    return [
        (10, Kind.READING), (40, Kind.JOB), (50, Kind.INSPECTION), (60, Kind.FINDING), (60, Kind.PART),
        (70, Kind.SERVICE), (80, Kind.READING), (90, Kind.INSPECTION),
    ]  # fmt: skip


def days_and_kinds(cast: Cast, rows: list[Entry]) -> list[tuple[int, Kind]]:
    return [((today(cast.fleet) - row.day).days, row.kind) for row in rows]


def test_everything_is_told_once_the_latest_first(cast: Cast, life: list[tuple[int, Kind]]) -> None:
    assert days_and_kinds(cast, entries(cast.vehicle, 100)) == life


@pytest.mark.parametrize("size", [1, 2, 3, 7, 8, 9])
def test_pages_of_any_size_make_the_same_list(cast: Cast, life: list[tuple[int, Kind]], size: int) -> None:
    found: list[Entry] = []
    while page := entries(cast.vehicle, size, found[-1].place if found else None):
        found += page
    assert days_and_kinds(cast, found) == life


def test_rows_of_one_day_and_kind_are_neither_lost_nor_repeated_between_pages(cast: Cast) -> None:
    on = today(cast.fleet)
    for position in ("front-left", "front-right"):
        fit_part(
            cast.access, cast.vehicle, part_key=BOOT.split(".")[0], position=position, fitted_on=on, shown_km=Decimal(9)
        )
    first = entries(cast.vehicle, 1)
    second = entries(cast.vehicle, 5, first[0].place)
    assert len({first[0].id, *(row.id for row in second)}) == 2
    assert len(second) == 1


def test_the_page_tells_each_in_words(cast: Cast, life: Any, at: str, browser_of: Any) -> None:
    page = browser_of(cast).get(at)
    told = [words(each.text) for each in parsed(page.content).of_class("entry")]
    assert len(told) == len(life)
    assert b"(key=" not in page.content, "words, not what the program calls them"
    assert len(parsed(page.content).of_class("grade-major")) == 2, "of the inspection, and of what it found"
    assert "Odometer replaced 5 km" in told[0]
    assert "Job done" in told[1]
    assert "Put right" in told[3]
    assert "Renewed" in told[4]
    assert "after 120,000 km" in told[4]
    assert "Service done Brake fluid" in told[5]
    assert "found" in told[7]
    assert "major" in told[7]


@pytest.mark.parametrize(
    ("only", "kinds"),
    [("inspections", {"Looked over"}), ("jobs", {"Job done", "Service done"}), ("parts", {"Renewed"}),
     ("findings", {"Put right"}), ("readings", {"Odometer read", "Odometer replaced"})],
)  # fmt: skip
def test_it_can_be_narrowed(cast: Cast, life: Any, at: str, browser_of: Any, only: str, kinds: set[str]) -> None:
    page = parsed(browser_of(cast).get(f"{at}?only={only}").content)
    told = [words(each.text) for each in page.of_class("entry")]
    assert told
    assert all(any(kind in each for kind in kinds) for each in told)


def test_the_page_goes_on_where_it_ended_within_what_was_chosen(
    cast: Cast, life: Any, at: str, browser_of: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleetcare.portal.web.history.ENTRIES_A_PAGE", 1)
    viewer, address, seen = browser_of(cast), f"{at}?only=inspections", 0
    while address:
        text = viewer.get(address).content.decode()
        seen += text.count("Looked over")
        following = re.search(r'href="(\?after=[^"]+)"', text)
        address = f"{at}{following[1].replace('&amp;', '&')}" if following else ""
    assert seen == 2


@pytest.mark.parametrize("address", ["?after=x", "?only=nothing", "?after=WyIyMDI2LTAxLTAxIiwgIjkiLCAieCJd"])
def test_what_is_no_place_and_no_kind_is_not_found(cast: Cast, at: str, browser_of: Any, address: str) -> None:
    assert browser_of(cast).get(at + address).status_code == 404


def test_a_history_of_another_fleet_is_not_there(cast: Cast, strangers: Cast, browser_of: Any) -> None:
    for fleet in (cast.fleet, strangers.fleet):
        address = f"/fleets/{fleet.pk}/vehicles/{strangers.vehicle.pk}/history/"
        assert browser_of(cast, Role.OWNER).get(address).status_code == 404


def test_the_history_asks_six_questions(
    cast: Cast, life: Any, at: str, browser_of: Any, django_assert_num_queries: Any
) -> None:
    viewer = browser_of(cast)
    with django_assert_num_queries(6):  # session, user, membership, vehicle; the list, what inspections changed
        viewer.get(at)


def test_what_a_job_renewed_is_told_by_the_job(cast: Cast) -> None:
    on = today(cast.fleet)
    worn = [result(PADS, side, grade="major") for side in ("front-left", "front-right")]
    inspect(cast.access, cast.vehicle, *worn, inspected_on=on - timedelta(days=5), shown_km=Decimal(120_000))
    closed(cast.access, job(cast.access, cast.vehicle, PADS_JOB, *SIDES), shown_km=Decimal(120_100))
    assert [row.kind for row in entries(cast.vehicle, 100)] == [Kind.JOB, Kind.INSPECTION]
