"""The walk on a phone in a real Chromium: by thumb, by keyboard, without script, offline, by two phones at once."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.support.bell import bell_held
from inspections.models import Inspection, Result, ResultEntry
from inspections.services.walking import start_walk
from tests.browser.conftest import Visit
from tests.conftest import Cast, make_cast
from tests.inspections.given import PADS, inspect, result

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

PASSWORD = "axle stands first"
SMALLEST_TARGET_PX = 44
QUEUED = 20


@pytest.fixture
def home(live_server: Any) -> Cast:
    """A car that was looked at a while ago, and two members who may look at it."""
    with bell_held():
        cast = make_cast("Home")
        for role in (Role.INSPECTOR, Role.PLANNER):
            cast.members[role].set_password(PASSWORD)
            cast.members[role].save(update_fields=["password"])
        inspect(
            cast.access,
            cast.vehicle,
            result(PADS, "front-left", measurement={"value": 5.5, "unit": "mm"}),
            result("tyre.outer-sidewall", "front-left", grade="minor", observations=["fine-cracks"]),
            inspected_on=today(cast.fleet) - timedelta(days=90),
        )
    return cast


@pytest.fixture
def walk(home: Cast) -> Inspection:
    """A five-minute walk that was begun."""
    with bell_held():
        return start_walk(
            home.access,
            home.vehicle,
            sheet="five-minute",
            inspected_on=today(home.fleet),
            shown_km=Decimal(121_000),
        )[0]


def sign_in(page: Page, address: str, role: Role = Role.INSPECTOR) -> None:
    page.goto(address)
    fill_sign_in(page, role)


def fill_sign_in(page: Page, role: Role = Role.INSPECTOR) -> None:
    page.get_by_label("E-mail address").fill(f"{role.value}@home.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def address(live_server: Any, cast: Cast, walk: Inspection, rest: str = "") -> str:
    return f"{live_server.url}/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/walks/{walk.pk}/{rest}"


def small_targets(page: Page) -> list[str]:
    """What is shown to be tapped and is lower than a thumb needs, links within a sentence apart."""
    found: list[str] = page.evaluate(
        """least => [...document.querySelectorAll("a, button, input:not([type=hidden]), select, textarea, summary")]
            .filter(e => !e.matches(".skip, p a") && e.checkVisibility())
            .filter(e => e.getBoundingClientRect().height < least)
            .map(e => `${e.tagName} ${e.className} ${e.name} ${e.getBoundingClientRect().height}`)""",
        SMALLEST_TARGET_PX,
    )
    return found


def results(walk: Inspection) -> dict[tuple[str, str], Result]:
    rows = Result.objects.within(walk.fleet_id).filter(inspection=walk)
    return {(row.check_key, row.position): row for row in rows}


def settled(page: Page) -> None:
    """Until nothing waits to be sent."""
    waiting(page, 0)


def waiting(page: Page, count: int) -> None:
    """Until so many results wait on the phone."""
    expect(page.locator("html")).to_have_attribute("data-waiting", str(count))


def pick(page: Page, number: int, grade: str) -> None:
    """A tap on a grade of a check."""
    page.locator(f"#check-{number} .pick-{grade}").click()


def kept(page: Page) -> None:
    """Until the phone holds every page of the walk."""
    expect(page.locator("html")).to_have_attribute("data-kept", "yes", timeout=20_000)


@pytest.mark.parametrize(("width_px", "scheme"), [(390, "light"), (390, "dark"), (1280, "light")])
def test_one_walks_by_thumb_from_the_vehicle_to_its_verdict(
    home: Cast, live_server: Any, visit: Callable[..., Visit], width_px: int, scheme: str
) -> None:
    seen = visit(width_px, scheme)
    page = seen.page

    def fits() -> None:
        assert seen.sideways_px == 0
        assert small_targets(page) == []

    sign_in(page, f"{live_server.url}/fleets/{home.fleet.pk}/vehicles/{home.vehicle.pk}/")
    page.get_by_role("link", name="Look it over").click()
    fits()
    page.locator(".walk-sheet", has_text="Wheels off").click()
    page.get_by_label("Odometer, km").fill("121 500")
    page.get_by_role("button", name="Begin the walk").click()
    page.wait_for_url("**/walks/*/")
    fits()
    page.get_by_role("link", name="Begin", exact=True).click()
    expect(page.locator(".walk-cautions")).to_be_visible()
    expect(page.locator(".check").first).to_be_hidden()
    fits()
    page.get_by_role("link", name="Begin here").click()
    (walk,) = Inspection.objects.within(home.fleet).filter(sheet="wheels-off")
    # A figure: the grade is told while one types, and a comma is as good as a dot.
    figure = page.locator(".check:target [name=value]")
    figure.press_sequentially("1,4")
    expect(page.locator(".check:target .check-hint")).to_have_text("Major: beyond the limit of 1.6 mm.")
    fits()
    figure.fill("")
    figure.press_sequentially("6,5")
    figure.press("Enter")
    # A look: what was seen pulls the grade up with it and lets it go again.
    page.wait_for_url("**#check-2")
    seen_there = page.locator(".check:target .check-observed input").nth(0)
    seen_there.check(force=True)
    chosen = page.locator(".check:target [name=grade]:checked")
    expect(chosen).to_have_value("minor")
    seen_there.uncheck(force=True)
    expect(page.locator(".check:target [name=grade]:checked")).to_have_count(0)
    pick(page, 2, "sound")
    page.wait_for_url("**#check-3")
    pick(page, 3, "not-examined")
    fits()
    page.locator(".check:target .check-reasons .walk-tick").first.click()
    page.get_by_role("button", name="Save and go on").locator("visible=true").click()
    page.wait_for_url("**#check-4")
    settled(page)
    stored = results(walk)
    assert sorted(str(row.value) for row in stored.values()) == ["6.5", "None", "None"]
    assert sorted(row.not_examined for row in stored.values()) == ["", "", "no access"]
    page.goto(address(live_server, home, walk, "finish/"))
    fits()
    page.get_by_role("button", name="Complete the inspection").click()
    page.wait_for_url(f"**/vehicles/{home.vehicle.pk}/")
    expect(page.locator(".verdict")).to_be_visible()
    walk.refresh_from_db()
    assert walk.state == "completed"
    assert seen.complaints == []


def test_the_whole_walk_works_without_script(home: Cast, live_server: Any, visit: Callable[..., Visit]) -> None:
    seen = visit(390, "light", java_script_enabled=False)
    page = seen.page
    sign_in(page, f"{live_server.url}/fleets/{home.fleet.pk}/vehicles/{home.vehicle.pk}/")
    page.get_by_role("link", name="Look it over").click()
    page.locator(".walk-sheet", has_text="Wheels off").click()
    page.get_by_label("Odometer, km").fill("121500")
    page.get_by_role("button", name="Begin the walk").click()
    page.get_by_role("link", name="Begin", exact=True).click()
    page.get_by_role("link", name="Begin here").click()
    first = page.locator("#check-1")
    expect(first).to_be_visible()
    expect(page.locator("#check-2")).to_be_hidden()
    first.locator("[name=value]").fill("900")
    first.locator(".check-save").click()
    expect(page.locator("#check-1 .form-fault")).to_contain_text("cannot be true")
    page.locator("#check-1 [name=value]").fill("3,5")
    page.locator("#check-1 .check-save").click()
    expect(page.locator("#check-2")).to_be_visible()
    page.locator("#check-2 .check-back").click()
    expect(page.locator("#check-1 .check-state")).to_contain_text("3.5 mm")
    page.locator("#check-1 .check-skip").click()
    pick(page, 2, "major")
    page.locator("#check-2 .check-save").click()
    expect(page.locator("#check-3")).to_be_visible()
    page.goto(page.url.partition("#")[0])
    page.get_by_role("link", name="All in a list").click()
    expect(page.locator("#check-1")).to_be_visible()
    expect(page.locator("#check-2 .check-state")).to_contain_text("major")
    page.get_by_role("link", name="Sum up and complete").click()
    page.get_by_label("Why the rest was not examined").fill("rain")
    page.get_by_role("button", name="Complete the inspection").click()
    expect(page.locator(".verdict")).to_contain_text("major")
    (walk,) = Inspection.objects.within(home.fleet).filter(sheet="wheels-off")
    stored = results(walk)
    assert walk.state == "completed"
    assert sum(row.not_examined == "rain" for row in stored.values()) == len(stored) - 2


def test_what_is_recorded_without_a_connection_is_sent_once_when_it_is_back(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(390, "light").page
    sign_in(page, address(live_server, home, walk))
    kept(page)
    page.context.set_offline(True)
    # A station that was never opened, and the other one.
    page.goto(address(live_server, home, walk, "at/walk-round/") + "#check-1")
    for number in range(1, 13):
        pick(page, number, "minor" if number % 2 else "major")
        page.locator(f"#check-{number} .check-save").click()
    page.goto(address(live_server, home, walk, "at/cabin/") + "#check-1")
    for number in range(1, 9):
        pick(page, number, "minor")
        page.locator(f"#check-{number} .check-save").click()
    waiting(page, QUEUED)
    expect(page.locator("#queue-note")).to_contain_text(f"No connection: {QUEUED} recorded on this phone")
    expect(page.locator("#check-8 .check-sending")).to_contain_text("Waits on this phone")
    assert results(walk) == {}
    # The phone is put away and taken out again: everything is still there.
    page.goto(address(live_server, home, walk))
    expect(page.locator(".walk-station-count").nth(1)).to_contain_text("12 of ")
    page.goto(address(live_server, home, walk, "at/walk-round/") + "#check-2")
    expect(page.locator("#check-2 [name=grade]:checked")).to_have_value("major")
    page.context.set_offline(False)
    settled(page)
    expect(page.locator("#queue-note")).to_be_hidden()
    stored = results(walk)
    assert len(stored) == QUEUED
    assert ResultEntry.objects.within(home.fleet).count() == QUEUED
    assert sum(row.grade == 2 for row in stored.values()) == 6
    page.reload()
    settled(page)
    assert ResultEntry.objects.within(home.fleet).count() == QUEUED


def test_an_answer_that_is_lost_on_the_way_doubles_nothing(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(390, "light").page
    sign_in(page, address(live_server, home, walk, "at/cabin/"))

    def swallow(route: Any) -> None:
        route.fetch()
        route.abort()

    page.route("**/entries/", swallow, times=1)
    page.goto(address(live_server, home, walk, "at/cabin/") + "#check-1")
    pick(page, 1, "minor")
    expect(page.locator("#queue-note")).to_contain_text("No connection")
    assert len(results(walk)) == 1
    page.reload()
    settled(page)
    assert ResultEntry.objects.within(home.fleet).count() == 1


def test_two_phones_on_one_walk_merge_per_check_and_lose_nothing(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    near, far = visit(390, "light").page, visit(390, "dark").page
    station = address(live_server, home, walk, "at/cabin/")
    sign_in(near, station)
    sign_in(far, station, Role.PLANNER)
    near.get_by_role("link", name="All in a list").click()
    far.get_by_role("link", name="All in a list").click()
    near.context.set_offline(True)
    pick(near, 1, "dangerous")
    pick(near, 2, "major")
    waiting(near, 2)
    pick(far, 2, "minor")
    pick(far, 3, "sound")
    expect(far.locator("#check-3 .check-sending")).to_have_text("Stored.")
    near.context.set_offline(False)
    settled(near)
    grades = sorted((row.grade, row.same_as_last) for row in results(walk).values())
    # The second check: the later word stands, the earlier is told beside it.
    assert [grade for grade, _ in grades] == [0, 1, 3]
    assert ResultEntry.objects.within(home.fleet).count() == 4
    expect(near.locator("#check-2 .check-sending")).to_contain_text("A later word from another phone stands")
    far.reload()
    expect(far.locator("#check-1 .check-state")).to_contain_text("dangerous")
    expect(far.locator("#check-2 .check-also")).to_contain_text("major")


def test_a_session_that_ended_meanwhile_asks_to_sign_in_and_keeps_what_waits(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(390, "light").page
    sign_in(page, address(live_server, home, walk, "at/cabin/"))
    page.get_by_role("link", name="All in a list").click()
    Session.objects.all().delete()
    pick(page, 1, "major")
    expect(page.locator("#queue-note")).to_contain_text("Sign in again to send them")
    page.reload()
    expect(page.locator("#queue-note")).to_contain_text("1 recorded on this phone")
    # Somebody else signs in on this phone: what waits is not theirs to send.
    fill_sign_in(page, Role.PLANNER)
    expect(page.locator("#queue-note")).to_contain_text("of somebody else")
    assert results(walk) == {}
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/")
    sign_in(page, address(live_server, home, walk))
    settled(page)
    assert [row.grade for row in results(walk).values()] == [2]
    assert {entry.actor for entry in ResultEntry.objects.within(home.fleet)} == {
        f"user:{home.members[Role.INSPECTOR].pk}"
    }


def test_nobodys_pages_stay_on_the_phone_after_signing_out(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(390, "light").page
    sign_in(page, address(live_server, home, walk))
    kept(page)
    page.context.set_offline(True)
    page.goto(address(live_server, home, walk, "at/cabin/"))
    expect(page.get_by_role("heading", level=1)).to_have_text("In the cabin")
    page.goto(f"{live_server.url}/fleets/{home.fleet.pk}/")
    expect(page.get_by_role("heading", level=1)).to_have_text("There is no connection")
    page.context.set_offline(False)
    page.goto(address(live_server, home, walk))
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/")
    page.context.set_offline(True)
    page.goto(address(live_server, home, walk, "at/cabin/"))
    expect(page.get_by_role("heading", level=1)).to_have_text("There is no connection")


def test_results_that_come_after_completion_can_be_added_to_another_walk(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(390, "light").page
    sign_in(page, address(live_server, home, walk, "at/cabin/"))
    page.get_by_role("link", name="All in a list").click()
    page.context.set_offline(True)
    pick(page, 1, "major")
    waiting(page, 1)
    Inspection.objects.within(home.fleet).filter(pk=walk.pk).update(state="completed")
    page.context.set_offline(False)
    expect(page.locator("#queue-note")).to_contain_text("could not be stored")
    expect(page.locator("#check-1 .check-sending")).to_contain_text("after the inspection was completed")
    with bell_held():
        another, _ = start_walk(
            home.access, home.vehicle, sheet="full", inspected_on=today(home.fleet), shown_km=Decimal(121_000)
        )
    page.goto(address(live_server, home, another))
    page.get_by_role("button", name="Add 1 that came too late").click()
    expect(page.get_by_role("button", name="Add 1 that came too late")).to_have_count(0)
    settled(page)
    assert [row.grade for row in results(another).values()] == [2]
    assert results(walk) == {}


def test_a_photo_taken_without_a_connection_is_sent_when_it_is_back(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    from inspections.models import Photo

    page = visit(390, "light").page
    sign_in(page, address(live_server, home, walk, "at/cabin/"))
    page.goto(address(live_server, home, walk, "at/cabin/") + "#check-1")
    shot = page.screenshot()
    page.context.set_offline(True)
    page.locator("#check-1 input[type=file]").set_input_files(
        {"name": "phone.png", "mimeType": "image/png", "buffer": shot}
    )
    expect(page.locator("#check-1 .photo-state")).to_contain_text("1 photos wait")
    page.context.set_offline(False)
    expect(page.locator("#check-1 .photo-state")).to_have_text("Photo stored.")
    assert Photo.objects.within(home.fleet).get().inspection_id == walk.pk
    page.reload()
    picture = page.locator("#check-1 .check-photos img")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") > 0


def test_a_walk_goes_by_keyboard_alone(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(1280, "light").page
    sign_in(page, address(live_server, home, walk, "at/cabin/"))

    def tab_to(selector: str) -> None:
        for _ in range(40):
            page.keyboard.press("Tab")
            if page.evaluate("selector => document.activeElement.matches(selector)", selector):
                return
        raise AssertionError(f"no way by Tab to {selector}")

    page.wait_for_selector("html.scripted")
    tab_to(".walk-begin")
    page.keyboard.press("Enter")
    page.wait_for_url("**#check-1")
    tab_to("#check-1 [name=grade]")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowRight")
    # Arrow keys pass over grades without going on to the next check, which a tap does within a quarter of a second.
    page.wait_for_timeout(500)
    assert page.url.endswith("#check-1")
    expect(page.locator("#check-1 [name=grade]:checked")).to_have_value("minor")
    tab_to("#check-1 .check-save")
    page.keyboard.press("Enter")
    page.wait_for_url("**#check-2")
    expect(page.locator("#check-2 h2")).to_be_focused()
    settled(page)
    assert [row.grade for row in results(walk).values()] == [1]


def test_nothing_of_a_walk_scrolls_sideways_on_the_narrowest_screen(
    home: Cast, walk: Inspection, live_server: Any, visit: Callable[..., Visit]
) -> None:
    # 320 px is a 1280 px window at 400 % (WCAG 2.2, 1.4.10 Reflow).
    seen = visit(320, "light")
    sign_in(seen.page, address(live_server, home, walk))
    kept(seen.page)
    for rest in ("", "at/cabin/", "at/cabin/#check-1", "at/cabin/?layout=list", "finish/"):
        seen.page.goto(address(live_server, home, walk, rest))
        assert seen.sideways_px == 0, rest
        assert small_targets(seen.page) == [], rest
    seen.page.goto(f"{live_server.url}/fleets/{home.fleet.pk}/vehicles/{home.vehicle.pk}/walks/")
    assert seen.sideways_px == 0
    assert seen.complaints == []
