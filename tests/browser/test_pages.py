"""The pages in a real browser: sign in, choose the vehicle, read what is wrong with it."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.support.bell import bell_held
from scheduling.services.assess import assess_vehicles
from tests.browser.conftest import Visit
from tests.conftest import Cast, make_cast
from tests.inspections.given import BOOT, PADS, inspect, result

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

EMAIL = "viewer@home.example"
PASSWORD = "axle stands first"
SMALLEST_TARGET_PX = 44
LONG_NAME = "Longwheelbaseallotmentassociationvan of Lower Meadows and Surroundings"


@pytest.fixture
def household(live_server: Any) -> Cast:
    """A vehicle with a dangerous and a major finding, and one with a name that is hard to fit in."""
    with bell_held():
        cast = make_cast("Home")
        cast.members[Role.VIEWER].set_password(PASSWORD)
        cast.members[Role.VIEWER].save(update_fields=["password"])
        cast.vehicle.name = LONG_NAME
        cast.vehicle.save(update_fields=["name"])
        inspect(
            cast.access,
            cast.vehicle,
            result(PADS, "front-left", measurement={"value": 0.4, "unit": "mm"}),
            result(BOOT, "front-right", grade="major", observations=["torn"], note="grease on the wheel" * 12),
            result("brake-hose.condition", "front-left", not_examined="bolts seized"),
            result(PADS, "front-right", measurement={"value": 9.5, "unit": "mm"}),
            inspected_on=today(cast.fleet),
        )
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    return cast


def sign_in(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_label("E-mail address").fill(EMAIL)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def small_targets(page: Page) -> list[str]:
    """Links, buttons and fields that are shown and too small to tap, except links within a sentence."""
    found: list[str] = page.evaluate(
        """least => [...document.querySelectorAll("a, button, input:not([type=hidden]), summary")]
            .filter(e => !e.matches(".skip, p a, .list-link, .sheet-title a") && e.checkVisibility())
            .filter(e => e.getBoundingClientRect().height < least)
            .map(e => `${e.tagName} ${e.className} ${e.getBoundingClientRect().height}: ${e.textContent.trim()}`)""",
        SMALLEST_TARGET_PX,
    )
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width_px", [390, 1280])
def test_one_signs_in_and_reads_what_is_wrong_without_a_complaint_of_the_browser(
    household: Cast, live_server: Any, visit: Callable[..., Visit], width_px: int, scheme: str
) -> None:
    seen = visit(width_px, scheme)
    page = seen.page
    sign_in(page, live_server.url)
    expect(page.get_by_role("heading", level=1)).to_have_text("Home")
    assert seen.sideways_px == 0
    assert small_targets(page) == []
    page.get_by_role("link", name=LONG_NAME).click()
    expect(page.get_by_role("heading", level=1)).to_have_text(LONG_NAME)
    expect(page.locator(".banner-title")).to_have_text("Do not drive")
    for summary in page.locator("details:not([open]) > summary").all():
        if summary.is_visible():
            summary.click()
    assert seen.sideways_px == 0
    assert small_targets(page) == []
    page.locator("#inspections a").first.click()
    expect(page.get_by_text("bolts seized")).to_be_visible()
    assert seen.sideways_px == 0
    assert small_targets(page) == []
    assert seen.complaints == []


def test_nothing_scrolls_sideways_on_the_narrowest_screen(
    household: Cast, live_server: Any, visit: Callable[..., Visit]
) -> None:
    # 320 px is a 1280 px window at 400 % (WCAG 2.2, 1.4.10 Reflow).
    seen = visit(320, "light")
    sign_in(seen.page, live_server.url)
    assert seen.sideways_px == 0
    seen.page.get_by_role("link", name=LONG_NAME).click()
    assert seen.sideways_px == 0
    seen.page.locator("#inspections a").first.click()
    assert seen.sideways_px == 0


def test_every_page_works_without_script_and_by_keyboard(
    household: Cast, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(1280, "light", java_script_enabled=False).page
    page.goto(live_server.url)
    page.keyboard.type(EMAIL)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/fleets/**")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    page.get_by_label("Name, plate, VIN, make or model").fill("nothing like it")
    page.keyboard.press("Enter")
    expect(page.get_by_text("No vehicle here matches")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_colours_follow_the_system(
    household: Cast, live_server: Any, visit: Callable[..., Visit], scheme: str
) -> None:
    page = visit(390, scheme).page
    page.goto(live_server.url)
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    light = sum(int(part) for part in ground.removeprefix("rgb(").removesuffix(")").split(",")) > 3 * 128
    assert light == (scheme == "light")


def test_paper_has_no_navigation_and_everything_unfolded(
    household: Cast, live_server: Any, visit: Callable[..., Visit]
) -> None:
    page = visit(1280, "light").page
    sign_in(page, f"{live_server.url}/fleets/{household.fleet.pk}/vehicles/{household.vehicle.pk}/")
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Sign out")).to_be_hidden()
    folded = page.locator(".ledger-line").first
    expect(folded).to_be_visible()
    assert page.pdf(format="A4").startswith(b"%PDF")
