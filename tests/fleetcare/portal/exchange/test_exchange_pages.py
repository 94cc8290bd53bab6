"""Out and in without JavaScript: choose a file, answer what it does not tell, see what is wrong, store the rest."""

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, override_settings

from fleetcare.fleet.models import OdometerReading
from fleetcare.fleet.words import Role
from fleetcare.portal.exchange import jobs
from fleetcare.portal.models import ExchangeJob
from fleetcare.support import stored_files
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.exchange.given import done
from tests.fleetcare.portal.markup import Markup, parsed, words

ASKS = b'vehicle,when,km\nHome car,3/4/2024,"120,500"\nnobody <b>,3/5/2024,7\n'


@pytest.fixture(autouse=True)
def _media(tmp_path: Path) -> Any:
    with override_settings(MEDIA_ROOT=tmp_path / "media"):
        yield


def url(cast: Cast, rest: str = "exchange/") -> str:
    return f"/fleets/{cast.fleet.pk}/{rest}"


def member(cast: Cast, role: Role) -> Client:
    client = Client()
    client.force_login(cast.members[role])
    return client


def sent(data: bytes, name: str = "table.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def checked_page(client: Client, address: str) -> Markup:
    """A page that keeps what every page keeps."""
    answer = client.get(address)
    assert answer.status_code == 200
    page = parsed(answer.content)
    ids = [each.attributes["id"] for each in page.elements if "id" in each.attributes]
    assert len(ids) == len(set(ids))
    labelled = {each.attributes["for"] for each in page.all("label")}
    for field in [*page.all("input"), *page.all("select")]:
        assert field.attributes.get("type") == "hidden" or field.attributes["id"] in labelled
    levels = [int(each.tag[1]) for each in page.elements if each.tag in {"h1", "h2", "h3"}]
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert not [each for each in page.elements if "style" in each.attributes]
    return page


def test_a_planner_brings_in_a_table_step_by_step(cast: Cast, django_capture_on_commit_callbacks: Any) -> None:
    browser = member(cast, Role.PLANNER)
    with django_capture_on_commit_callbacks(execute=True):
        answer = browser.post(url(cast, "imports/"), {"file": sent(ASKS), "what": "odometer"})
    assert answer.status_code == 302
    at = answer["Location"]
    page = checked_page(browser, at)
    chosen = {
        each.attributes["name"]: "aria-invalid" in each.attributes
        for each in page.all("select")
        if "name" in each.attributes
    }
    assert chosen == {"field-vehicle": False, "field-read_on": True, "field-odometer": False, "distance_unit": False}

    columns = {"field-vehicle": "vehicle", "field-read_on": "when", "field-odometer": "km", "act": "check"}
    with django_capture_on_commit_callbacks(execute=True):
        browser.post(at, columns)
    asked = words(checked_page(browser, at).all("main")[0].text)
    assert "a comma or a point?" in asked
    assert "it says “120,500”" in asked
    assert "Store what is new" not in asked

    with django_capture_on_commit_callbacks(execute=True):
        browser.post(at, {**columns, "decimal": "point", "day_order": "mdy"})
    told = words(checked_page(browser, at).all("main")[0].text)
    assert "1 new, 0 stored already, and 1 wrong" in told
    assert "nobody <b>" in told
    assert "No vehicle of this fleet" in told
    assert not OdometerReading.objects.within(cast.fleet).exists()

    refused = browser.post(at, {"act": "store"})
    assert refused.status_code == 422
    assert "1 rows are wrong" in refused.content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        browser.post(at, {"act": "store", "skip_bad_rows": "yes"})
    assert "1 stored" in words(checked_page(browser, at).all("main")[0].text)
    assert OdometerReading.objects.within(cast.fleet).count() == 1


def test_a_table_at_work_says_so_and_asks_to_look_again(cast: Cast) -> None:
    job = jobs.ask_for_import(cast.access, ASKS, what="odometer")
    text = words(checked_page(member(cast, Role.PLANNER), url(cast, f"imports/{job.pk}/")).all("main")[0].text)
    assert "waiting" in text
    assert "Look again" in text


def test_an_owner_takes_everything_out_and_restores_it_into_an_empty_fleet(
    cast: Cast, django_capture_on_commit_callbacks: Any
) -> None:
    browser = member(cast, Role.OWNER)
    with django_capture_on_commit_callbacks(execute=True):
        assert browser.post(url(cast, "exports/")).status_code == 302
    page = checked_page(browser, url(cast))
    link = next(each for each in page.all("a") if "Fetch the ZIP" in each.text)
    assert b"".join(browser.get(link.attributes["href"]).streaming_content).startswith(b"PK")
    assert "this one has vehicles" in words(page.all("main")[0].text)

    fleet = factories.FleetFactory(name="Empty")
    factories.MembershipFactory(fleet=fleet, user=cast.members[Role.OWNER], role=Role.OWNER)
    data = stored_files.content_of(ExchangeJob.objects.within(cast.fleet).get().product)
    with django_capture_on_commit_callbacks(execute=True):
        answer = browser.post(f"/fleets/{fleet.pk}/restores/", {"file": sent(data, "a.zip")})
    assert answer.status_code == 302
    assert "Home car" in browser.get(f"/fleets/{fleet.pk}/").content.decode()


def test_a_restore_that_failed_says_why(cast: Cast) -> None:
    fleet = factories.FleetFactory(name="Empty")
    factories.MembershipFactory(fleet=fleet, user=cast.members[Role.OWNER], role=Role.OWNER)
    access = type(cast.access)(fleet, Role.OWNER, "user:x")
    done(jobs.ask_for_restore(access, b"no zip"))
    text = words(checked_page(member(cast, Role.OWNER), f"/fleets/{fleet.pk}/exchange/").all("main")[0].text)
    assert "failed, nothing was changed" in text
    assert "This is no export of a fleet" in text


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        ({"what": "odometer"}, "Choose a file."),
        ({"what": "moods", "file": "x"}, "Say what the table is about."),
    ],
)
def test_a_form_that_lacks_something_says_what(cast: Cast, body: dict[str, Any], sentence: str) -> None:
    given = {**body, "file": sent(ASKS)} if "file" in body else body
    answer = member(cast, Role.PLANNER).post(url(cast, "imports/"), given)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_who_may_not_finds_nothing_to_do_here(cast: Cast, strangers: Cast) -> None:
    assert member(cast, Role.INSPECTOR).get(url(cast)).status_code == 403
    assert member(strangers, Role.OWNER).get(url(cast)).status_code == 404
    planner = member(cast, Role.PLANNER)
    assert "Take everything out" not in planner.get(url(cast)).content.decode()
    for rest in ("exports/", "restores/"):
        assert planner.post(url(cast, rest), {"file": sent(b"x")}).status_code == 403
    job = jobs.ask_for_import(cast.access, ASKS, what="odometer")
    assert member(strangers, Role.OWNER).get(url(cast, f"imports/{job.pk}/")).status_code == 404
    assert member(strangers, Role.OWNER).get(url(strangers, f"imports/{job.pk}/")).status_code == 404
