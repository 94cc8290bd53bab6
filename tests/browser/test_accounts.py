"""Signing in by password, by mail and by passkey, and joining by invitation, in a real browser."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.core.cache import cache
from playwright.sync_api import Page, expect

from fleetcare.fleet.services.invitations import invite
from fleetcare.fleet.words import Role
from tests.browser.conftest import Visit
from tests.browser.test_pages import SMALLEST_TARGET_PX
from tests.conftest import Cast, make_cast

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

EMAIL, PASSWORD, NEW = "owner@home.example", "axle stands first", "a chock behind each wheel"


@pytest.fixture
def home(live_server: Any) -> Cast:
    cache.clear()
    cast = make_cast("Home")
    cast.members[Role.OWNER].set_password(PASSWORD)
    cast.members[Role.OWNER].save(update_fields=["password"])
    return cast


def sign_in(page: Page, password: str = PASSWORD) -> None:
    page.get_by_label("E-mail address").fill(EMAIL)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


def link(live_server: Any, number: int = -1) -> str:
    """The address in a mail, at the server of the test."""
    found = re.findall(r"https?://[^/]+(\S+)", str(mail.outbox[number].body))
    return str(live_server.url + found[0])


def small_targets(page: Page) -> list[str]:
    """What is too small to tap; a tick counts with the words beside it, which tick it too."""
    found: list[str] = page.evaluate(
        """least => [...document.querySelectorAll("a, button, select, textarea, input:not([type=hidden])")]
            .filter(e => !e.matches(".skip, p a") && e.checkVisibility())
            .filter(e => (e.closest("label") ?? e).getBoundingClientRect().height < least)
            .map(e => `${e.tagName} ${e.className} ${e.textContent.trim()}`)""",
        SMALLEST_TARGET_PX,
    )
    return found


def is_in_order(seen: Visit) -> None:
    """Nothing sideways, nothing too small to tap, no complaint of the browser."""
    assert seen.sideways_px == 0, seen.page.url
    assert small_targets(seen.page) == [], seen.page.url
    assert seen.complaints == [], seen.page.url


def with_device(page: Page) -> Any:
    """Gives the browser a device that keeps passkeys and whose owner always agrees."""
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    session.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    return session


def test_a_forgotten_password_is_replaced_by_mail_on_the_narrowest_screen(
    home: Cast, live_server: Any, visit: Callable[..., Visit]
) -> None:
    seen = visit(320, "dark")
    page = seen.page
    page.goto(live_server.url)
    is_in_order(seen)
    sign_in(page, "not this one")
    expect(page.get_by_role("alert").first).to_be_visible()
    page.get_by_role("link", name="Forgotten?").click()
    is_in_order(seen)
    page.locator("input[type=email]").fill(EMAIL)
    page.get_by_role("button", name="Send the link").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Look into your mail")
    page.goto(link(live_server))
    is_in_order(seen)
    for field in page.locator("input[type=password]").all():
        field.fill(NEW)
    page.get_by_role("button", name="Keep this password").click()
    page.get_by_role("link", name="Sign in").click()
    sign_in(page, NEW)
    expect(page.get_by_role("heading", level=1)).to_have_text("Home")


def test_a_passkey_is_added_signs_in_and_is_the_second_step_of_a_password(
    home: Cast, live_server: Any, visit: Callable[..., Visit]
) -> None:
    seen = visit(390, "light")
    page = seen.page
    with_device(page)
    page.goto(live_server.url)
    sign_in(page)
    page.get_by_role("link", name="Account").click()
    is_in_order(seen)
    page.get_by_role("link", name="Passkeys").click()
    page.get_by_role("link", name="Add a passkey").click()
    # It is about the safety of the account: who it is is asked again.
    page.locator("input[type=password]").fill(PASSWORD)
    page.get_by_role("button", name="Go on").click()
    is_in_order(seen)
    page.locator("input[name=name]").fill("This phone")
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.locator(".codes li")).to_have_count(10)
    code = page.locator(".codes li").first.inner_text()
    is_in_order(seen)
    page.get_by_role("link", name="I have put them aside").click()
    expect(page.get_by_text("This phone").first).to_be_visible()
    is_in_order(seen)

    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Home")

    page.get_by_role("button", name="Sign out").click()
    sign_in(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("One more step")
    is_in_order(seen)
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Home")

    page.get_by_role("button", name="Sign out").click()
    sign_in(page)
    page.locator("input[name=code]").fill(code)
    page.get_by_role("button", name="Use the code").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Home")
    assert seen.complaints == []


def test_who_is_invited_joins_by_keyboard_and_without_script(
    home: Cast, live_server: Any, visit: Callable[..., Visit]
) -> None:
    invite(home.access, email="guest@elsewhere.example", role=Role.INSPECTOR)
    seen = visit(320, "light", java_script_enabled=False)
    page = seen.page
    page.goto(link(live_server))
    expect(page.get_by_role("heading", level=1)).to_have_text("Join “Home”")
    page.get_by_label("Your name").focus()
    page.keyboard.type("Gast")
    page.keyboard.press("Tab")
    page.keyboard.type("12345678")
    page.keyboard.press("Enter")
    expect(page.locator(".errorlist").first).to_be_visible()
    expect(page.get_by_label("Your name")).to_have_value("Gast")
    page.get_by_label("A password").focus()
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Welcome to Home")


@pytest.mark.parametrize(("width_px", "scheme"), [(320, "light"), (1280, "dark")])
def test_every_page_of_keeping_a_fleet_is_in_order(
    home: Cast, live_server: Any, visit: Callable[..., Visit], width_px: int, scheme: str
) -> None:
    seen = visit(width_px, scheme)
    page = seen.page
    page.goto(live_server.url)
    sign_in(page)
    invite(home.access, email="guest@elsewhere.example", role=Role.INSPECTOR)
    fleet = f"{live_server.url}/fleets/{home.fleet.pk}/"
    vehicle = f"{fleet}vehicles/{home.vehicle.pk}/"
    for address in (
        f"{live_server.url}/account/",
        f"{live_server.url}/account/sessions/",
        f"{live_server.url}/account/password/",
        f"{live_server.url}/account/email/",
        f"{live_server.url}/fleets/new/",
        f"{fleet}settings/",
        f"{fleet}members/",
        f"{fleet}contacts/",
        f"{fleet}keys/",
        f"{fleet}vehicles/new/",
        f"{vehicle}change/",
        f"{vehicle}record/",
    ):
        page.goto(address)
        is_in_order(seen)


def test_a_vehicle_is_added_and_its_fuel_recorded_with_the_fault_beside_its_field(
    home: Cast, live_server: Any, visit: Callable[..., Visit]
) -> None:
    seen = visit(390, "light")
    page = seen.page
    page.goto(live_server.url)
    sign_in(page)
    page.get_by_role("link", name="Add a vehicle").click()
    page.get_by_label("Name").fill("Blue van")
    page.get_by_label("First used on").fill("2014-03-01")
    page.get_by_label("VIN").fill("IOQ")
    page.get_by_role("button", name="Add the vehicle").click()
    expect(page.get_by_label("VIN")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Name")).to_have_value("Blue van")
    page.get_by_label("VIN").fill("")
    page.get_by_role("button", name="Add the vehicle").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Blue van")
    page.get_by_role("link", name="Odometer, fuel").click()
    page.get_by_role("link", name="Record a reading or a fill").click()
    page.locator("#fuel_volume").fill("42,3")
    page.locator("#fuel_odometer").fill("120000")
    page.get_by_role("button", name="Record the fill").click()
    expect(page.get_by_role("status").filter(has_text="recorded")).to_be_visible()
