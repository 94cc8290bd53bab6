"""Every page in both colour schemes and two widths: no violation of WCAG 2.2 AA that axe can find, nothing sideways."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.support.bell import bell_held
from inspections.services.walking import start_walk
from scheduling.services.assess import assess_vehicles
from scheduling.services.due import add_rule
from scheduling.services.jobs import open_job
from scheduling.services.plans import PlanAsk, VisitAsk, make_plan
from tests.browser.conftest import Visit
from tests.browser.record_pages import record_pages
from tests.conftest import Cast, make_cast
from tests.inspections.given import BOOT, PADS, inspect, result
from tests.scheduling.work_given import estimate, sent
from tests.scheduling.work_given import line as estimate_line

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.timeout(400),
    pytest.mark.django_db(transaction=True),
]

PASSWORD = "axle stands first"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SHEET, STATION = "five-minute", "in-the-cabin"


@pytest.fixture
def home(live_server: Any) -> tuple[Cast, list[str]]:
    """A household with something on every page, and the addresses of all pages."""
    with bell_held():
        cast = make_cast("Home")
        owner = cast.members[Role.OWNER]
        owner.set_password(PASSWORD)
        owner.save(update_fields=["password"])
        vehicle, on = cast.vehicle, today(cast.fleet)
        found = [result(BOOT, "front-right", grade="major", observations=["torn"], note="grease on the wheel")]
        for back, thick in ((200, 5.0), (0, 0.4)):
            pads = result(PADS, "front-left", measurement={"value": thick, "unit": "mm"})
            last = inspect(
                cast.access, vehicle, *found, pads, inspected_on=on - timedelta(back), shown_km=120_000 - back * 40
            )
        add_rule(cast.access, vehicle, template="brake-fluid")
        job, _ = open_job(
            cast.access, vehicle, job_key="front-brake-pads.replace", positions=["front-left", "front-right"]
        )
        draft, _ = start_walk(
            cast.access, vehicle, sheet=SHEET, inspected_on=on, shown_km=120_000, inspector="R. Amsel"
        )
    assess_vehicles(cast.fleet.pk, [vehicle.pk])
    plan = make_plan(cast.access, PlanAsk((), (VisitAsk(on + timedelta(3), 240, 50_000),)), exact=True)
    estimates = [
        estimate(cast.access, vehicle, estimate_line("Wash it"), customer="M. Meise"),
        sent(cast.access, vehicle, estimate_line("Wash it"))[0],
    ]
    fleet = f"/fleets/{cast.fleet.pk}/"
    car = f"{fleet}vehicles/{vehicle.pk}/"
    with bell_held():
        record = record_pages(cast, fleet, car)
    walk = f"{car}walks/{draft.pk}/"
    return cast, [
        "/", fleet, f"{fleet}decide/", f"{fleet}plans/{plan.pk}/?more=money", f"{fleet}due/", f"{fleet}jobs/",
        car, f"{car}inspections/{last.pk}/", f"{car}jobs/{job.pk}/", f"{car}kit/", f"{car}report/",
        f"{car}parts/front-brake-pads/?position=front-left", f"{car}walks/", walk, f"{walk}finish/",
        f"{car}backlog/", f"{car}keep-or-replace/", f"{fleet}prices/", f"{fleet}prices/front-brake-pads.replace/",
        f"{fleet}work-terms/", f"{fleet}estimates/", f"{car}estimates/new/",
        *(f"{fleet}estimates/{each.pk}/" for each in estimates), f"{fleet}estimates/{estimates[0].pk}/preview/",
        *record,
        "/account/", "/account/passkeys/", "/account/sessions/", "/account/password/", "/account/email/",
    ]  # fmt: skip


def violations(visit: Visit) -> list[str]:
    """What axe finds wrong with the page as it is shown."""
    told = Axe().run(visit.page, options={"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]})
    return [
        f"{each['id']}: {[node['html'][:160] for node in each['nodes']][:3]}" for each in told.response["violations"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width_px", [390, 1280])
def test_no_page_has_a_violation_that_axe_can_find_or_scrolls_sideways(
    home: tuple[Cast, list[str]], live_server: Any, visit: Callable[..., Visit], width_px: int, scheme: str
) -> None:
    _cast, addresses = home
    seen = visit(width_px, scheme)
    seen.page.goto(f"{live_server.url}/sign-in/")
    wrong = {"/sign-in/": violations(seen)} if violations(seen) else {}
    seen.page.get_by_label("E-mail address").fill("owner@home.example")
    seen.page.get_by_label("Password").fill(PASSWORD)
    seen.page.get_by_role("button", name="Sign in", exact=True).click()
    seen.page.wait_for_url("**/fleets/**")
    for address in addresses:
        answer = seen.page.goto(f"{live_server.url}{address}")
        found = violations(seen)
        if answer is None or answer.status != 200:
            found.append(f"answered {answer and answer.status}")
        if seen.sideways_px > 0:
            found.append(f"{seen.sideways_px} px sideways")
        if found:
            wrong[address] = found
    assert wrong == {}
    assert seen.complaints == []
