"""The private page of an estimate in a real browser: a phone, no login, no cookies, no JavaScript."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import expect

from fleetcare.support.bell import bell_held
from scheduling.models import EstimateLine, Job
from scheduling.services.estimates import LineDraft, OptionDraft
from tests.browser.conftest import Visit
from tests.conftest import Cast, make_cast
from tests.inspections.given import PADS, inspect, result
from tests.scheduling.work_given import PADS_JOB, day, line, sent

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

LONG = "Longwheelbaseallotmentassociationvanstowbaradapterplug"


@pytest.fixture
def paper(live_server: Any) -> tuple[Cast, str]:
    """Pads that the vehicle must not be driven without, and a wash with a title that is hard to fit in."""
    with bell_held():
        cast = make_cast("Home")
        worn = result(PADS, "front-left", measurement={"value": 0.4, "unit": "mm"})
        inspect(cast.access, cast.vehicle, worn, inspected_on=day(cast.access, 3))
        pads = LineDraft(options=(OptionDraft(job_key=PADS_JOB, positions=("front-left",)),))
        _, token = sent(cast.access, cast.vehicle, line(f"Wash {LONG}"), pads, tax_percent=Decimal(19))
    return cast, f"{live_server.url}/e/{token}/"


@pytest.mark.parametrize("scripts", [False, True])
def test_a_customer_answers_on_a_phone(paper: tuple[Cast, str], visit: Callable[..., Visit], scripts: bool) -> None:
    cast, address = paper
    seen = visit(390, "light", java_script_enabled=scripts)
    page = seen.page
    page.goto(address)
    expect(page.get_by_text("Do not drive before this is done")).to_be_visible()
    first = page.locator("fieldset").nth(0)
    second = page.locator("fieldset").nth(1)
    first.get_by_text("Accept", exact=True).click()
    second.get_by_text("Decline", exact=True).click()
    page.get_by_label("Your name").fill("M. Meise")
    page.get_by_role("button", name="Send my answer").click()
    expect(page.get_by_text("Everything on this estimate is answered")).to_be_visible()
    expect(page.get_by_text("Accepted by M. Meise")).to_be_visible()
    page.reload()
    expect(page.get_by_text("Declined by M. Meise")).to_be_visible()
    assert page.context.cookies() == []
    assert seen.complaints == []
    answers = EstimateLine.objects.within(cast.fleet).order_by("-safety").values_list("answer", flat=True)
    assert list(answers) == ["accepted", "declined"]
    assert Job.objects.within(cast.fleet).get().job_key == PADS_JOB


@pytest.mark.parametrize("width_px", [320, 390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_and_can_be_tapped(
    paper: tuple[Cast, str], visit: Callable[..., Visit], width_px: int, scheme: str
) -> None:
    seen = visit(width_px, scheme)
    seen.page.goto(paper[1])
    assert seen.sideways_px == 0
    targets = seen.page.locator("label:has(input[type=radio]), button, textarea, input[type=text]").all()
    assert len(targets) == 2 * 3 + 3
    assert min((target.bounding_box() or {"height": 0})["height"] for target in targets) >= 44
    assert seen.complaints == []


def test_it_is_answered_by_keyboard_alone(paper: tuple[Cast, str], visit: Callable[..., Visit]) -> None:
    cast, address = paper
    page = visit(1280, "light").page
    page.goto(address)
    page.locator("fieldset").nth(0).locator("input").first.focus()
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    page.get_by_label("Your name").focus()
    page.keyboard.type("M. Meise")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Declined by M. Meise")).to_be_visible()
    assert Job.objects.within(cast.fleet).get().state == "declined"
