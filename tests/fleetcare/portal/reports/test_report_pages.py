"""The report as a page for members, and by private link for whoever holds one; an ended link looks like none."""

import re
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Forbidden
from fleetcare.portal.models import SharedLink
from fleetcare.portal.reports import links
from fleetcare.portal.reports.links import find_shared_link, revoke_link, share_report
from fleetcare.support.secret_links import TOKEN_CHARACTERS, digest_of, make_token
from tests.conftest import Cast
from tests.fleetcare.portal.conftest import Household
from tests.fleetcare.portal.markup import Markup, parsed, words
from tests.inspections.given import BOOT
from tests.inspections.photos.pictures import drawn, encoded, photo


@dataclass(frozen=True)
class Small:
    """A household whose one car nobody has looked at: all that a link needs."""

    cast: Cast
    blue: Vehicle


@pytest.fixture
def small(cast: Cast) -> Small:
    return Small(cast, cast.vehicle)


def report_url(household: Household | Small, vehicle: Any = None) -> str:
    return f"/fleets/{household.cast.fleet.pk}/vehicles/{(vehicle or household.blue).pk}/report/"


def shared_url(household: Household | Small, **options: Any) -> str:
    return f"/r/{share_report(household.cast.access, household.blue, **options)[1]}/"


def pages_of(household: Household, browser_of: Any) -> dict[str, Markup]:
    member = browser_of(household.cast, Role.OWNER)
    return {
        "member": parsed(member.get(report_url(household)).content),
        "unknown": parsed(member.get(report_url(household, household.unknown)).content),
        "shared": parsed(Client().get(shared_url(household)).content),
    }


def test_both_pages_tell_the_report_with_what_forbids_driving_first(household: Household, browser_of: Any) -> None:
    photo(household.cast.access, household.blue, encoded(drawn(300, 200)), inspection=household.inspection)
    pages = pages_of(household, browser_of)
    for page in (pages["member"], pages["shared"]):
        text = words(page.all("main")[0].text)
        assert text.startswith("Do not drive")
        for wanted in ("Verdict", "Cautions before", "Open findings", "0.4 mm", "What was not examined", "Forecast",
                       "History", "How it was judged", "An aid, no certificate"):  # fmt: skip
            assert wanted in text, wanted
        assert len(page.all("img")) == 1
        assert page.all("img")[0].attributes["alt"]


def test_the_pages_hold_what_every_page_holds(household: Household, browser_of: Any) -> None:
    for name, page in pages_of(household, browser_of).items():
        assert len(page.all("h1")) == 1, name
        levels = [int(each.tag[1]) for each in page.elements if re.fullmatch("h[1-6]", each.tag)]
        assert all(after <= before + 1 for before, after in pairwise(levels)), (name, levels)
        ids = [each.attributes["id"] for each in page.elements if "id" in each.attributes]
        assert len(ids) == len(set(ids)), name
        for each in page.elements:
            assert "style" not in each.attributes, (name, each)
            for reference in ("aria-labelledby", "aria-describedby", "for"):
                assert set(each.attributes.get(reference, "").split()) <= set(ids), (name, each)
        for picture in page.all("svg"):
            named = picture.attributes.get("aria-labelledby")
            assert picture.attributes.get("aria-hidden") == "true" or (named and picture.attributes["role"] == "img")


def test_a_chart_stands_beside_the_table_of_its_figures(household: Household, browser_of: Any) -> None:
    page = pages_of(household, browser_of)["member"]
    charts = page.of_class("chart")
    assert len(charts) == 2
    tables = [words(each.text) for each in page.all("table")]
    assert sum("9.5 mm" in text and "120,000 km" in text for text in tables) == 1


def test_a_stranger_to_the_fleet_finds_no_report(household: Household, strangers: Cast, browser_of: Any) -> None:
    assert browser_of(strangers, Role.OWNER).get(report_url(household)).status_code == 404
    assert Client().get(report_url(household)).status_code == 302


def test_a_link_opens_without_a_login_and_tells_no_other_site_where_one_was(small: Small) -> None:
    answer = Client().get(shared_url(small))
    assert answer.status_code == 200
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "noindex" in answer["X-Robots-Tag"]
    assert "no-store" in answer["Cache-Control"]
    assert not answer.cookies


def test_the_page_of_a_link_leads_to_nothing_of_the_fleet_and_prints_no_secret(household: Household) -> None:
    address = shared_url(household)
    page = parsed(Client().get(address).content)
    for element in page.elements:
        for name in ("href", "src", "action"):
            target = element.attributes.get(name, "")
            assert "/fleets/" not in target
            assert "/api/" not in target
    assert not page.all("form")
    assert address.strip("/").split("/")[1] not in words(page.all("body")[0].text)


def test_revoked_expired_and_invented_links_are_the_same_404(small: Small) -> None:
    access, vehicle = small.cast.access, small.blue
    revoked, revoked_token = share_report(access, vehicle)
    revoke_link(access, revoked)
    _, expired_token = share_report(access, vehicle, days=1)
    _, open_token = share_report(access, vehicle, days=3)
    with time_machine.travel(timezone.now() + timedelta(days=1, seconds=1), tick=False):
        answers = {
            token: [Client().get(f"/r/{token}/{rest}", HTTP_X_REQUEST_ID="same-same") for rest in ("", "report.pdf")]
            for token in (revoked_token, expired_token, make_token()[0], "not-a-token")
        }
        # But for the address that was asked for, which stands at the foot of a printed page.
        bodies = {answer.content.replace(token.encode(), b"") for token, found in answers.items() for answer in found}
        bodies = {body.replace(b"report.pdf", b"") for body in bodies}
        assert {answer.status_code for found in answers.values() for answer in found} == {404}
        assert len(bodies) == 1
        assert Client().get(f"/r/{open_token}/").status_code == 200


def test_a_link_holds_192_random_bits_and_only_a_digest_is_stored(small: Small) -> None:
    link, token = share_report(small.cast.access, small.blue)
    assert len(token) == TOKEN_CHARACTERS == 192 // 6
    assert link.digest == digest_of(token)
    assert token not in str(SharedLink.objects.within(small.cast.fleet).values().get())
    assert len({make_token()[0] for _ in range(500)}) == 500
    assert digest_of("\ud800") != digest_of("")


def test_a_link_shows_photos_of_its_report_and_no_other(household: Household) -> None:
    access, blue = household.cast.access, household.blue
    mine = photo(access, blue, encoded(drawn(300, 200)), inspection=household.inspection)
    of_sound = photo(access, blue, encoded(drawn(310, 200)), inspection=household.inspection, position="front-left")
    elsewhere = photo(access, household.sound, inspection=household.sound.inspections.get())
    address = shared_url(household)
    for size in ("image", "thumbnail"):
        answer = Client().get(f"{address}photos/{mine.pk}/{size}/")
        assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
        for other in (of_sound, elsewhere):
            assert Client().get(f"{address}photos/{other.pk}/{size}/").status_code == 404
    assert of_sound.check_key == BOOT


def test_a_link_gives_the_pdf_on_either_paper(small: Small) -> None:
    address = shared_url(small)
    for paper in ("a4", "letter"):
        answer = Client().get(f"{address}report.pdf?paper={paper}")
        assert answer.content.startswith(b"%PDF-")
        assert answer["Content-Type"] == "application/pdf"
    assert Client().get(f"{address}report.pdf?paper=a0").status_code == 404


def test_a_planner_makes_a_link_sees_it_once_and_revokes_it(small: Small, browser_of: Any) -> None:
    browser, url = browser_of(small.cast, Role.PLANNER), report_url(small)
    made = parsed(browser.post(f"{url}links/", {"days": "10", "note": "the buyer"}).content)
    link = next(each for each in made.all("input") if each.attributes.get("id") == "fresh").attributes["value"]
    path = re.sub(r"^https?://[^/]+", "", link)
    assert Client().get(path).status_code == 200
    again = browser.get(url).content.decode()
    assert path not in again
    assert "the buyer" in again
    row = SharedLink.objects.within(small.cast.fleet).get()
    assert timedelta(days=9) < row.expires_at - timezone.now() <= timedelta(days=10)
    assert browser.post(f"{url}links/{row.pk}/revoke/").status_code == 302
    assert Client().get(path).status_code == 404


@pytest.mark.parametrize("days", ["0", "366", "ten", "9" * 30])
def test_a_number_of_days_that_is_none_keeps_what_was_typed_and_says_why(
    small: Small, browser_of: Any, days: str
) -> None:
    browser = browser_of(small.cast, Role.PLANNER)
    answer = browser.post(f"{report_url(small)}links/", {"days": days, "note": "the buyer"})
    assert answer.status_code == 422
    page = parsed(answer.content)
    assert "1 to 365 days" in words(page.of_class("form-fault")[0].text)
    typed = {
        each.attributes["id"]: each.attributes.get("value") for each in page.all("input") if "id" in each.attributes
    }
    assert (typed["id_note"], typed["id_days"]) == ("the buyer", days)
    assert not SharedLink.objects.within(small.cast.fleet).exists()


def test_who_may_not_plan_neither_sees_links_nor_makes_nor_revokes_them(small: Small, browser_of: Any) -> None:
    link, _ = share_report(small.cast.access, small.blue, note="the buyer")
    browser, url = browser_of(small.cast, Role.INSPECTOR), report_url(small)
    assert "the buyer" not in browser.get(url).content.decode()
    assert browser.post(f"{url}links/", {"days": "10"}).status_code == 403
    assert browser.post(f"{url}links/{link.pk}/revoke/").status_code == 403
    access = type(small.cast.access)(small.cast.fleet, Role.INSPECTOR, "user:x")
    with pytest.raises(Forbidden):
        revoke_link(access, link)


def test_a_link_may_only_be_read_by(small: Small) -> None:
    token = share_report(small.cast.access, small.blue)[1]
    access, vehicle = find_shared_link(token)
    assert (access.role, vehicle) == (Role.VIEWER, small.blue)
    for method in ("post", "put", "delete", "patch"):
        assert getattr(Client(), method)(f"/r/{token}/").status_code == 405


def test_there_is_an_end_to_open_links(small: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(links, "MOST_OPEN", 1)
    first, _ = share_report(small.cast.access, small.blue)
    with pytest.raises(Conflict):
        share_report(small.cast.access, small.blue)
    revoke_link(small.cast.access, first)
    share_report(small.cast.access, small.blue)


def test_the_api_makes_lists_and_revokes_links(api: Any, cast: Cast) -> None:
    url = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/links/"
    made = api.post(url, {"days": 7, "note": "the buyer"})
    assert made.status_code == 201
    body = made.json()
    assert re.fullmatch(r"http://testserver/r/[\w-]{32}/", body.pop("url"))
    assert (body["state"], body["note"]) == ("open", "the buyer")
    assert api.get(url).json()["items"] == [body]
    assert api.delete(f"{url}{body['id']}/").status_code == 204
    assert api.delete(f"{url}{body['id']}/").status_code == 204
    assert api.get(f"{url}{body['id']}/").json()["state"] == "revoked"
    for days in (0, 366):
        assert api.post(url, {"days": days}).json()["errors"][0]["pointer"] == "/days"


def test_the_api_gives_the_pdf_whatever_the_client_says_it_accepts(api: Any, cast: Cast) -> None:
    url = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/report.pdf"
    for accept in ("*/*", "application/pdf", "text/html"):
        answer = api.get(url, HTTP_ACCEPT=accept)
        assert answer.status_code == 200
        assert answer.content.startswith(b"%PDF-")
    assert re.fullmatch(r'inline; filename="home-car-\d{4}-\d\d-\d\d\.pdf"', answer["Content-Disposition"])
    assert api.get(url, {"paper": "a0"}).status_code == 400
