"""What the pages show, to whom."""

import uuid
from typing import Any

import pytest
from django.test import Client, RequestFactory

from fleetcare.fleet.words import Role
from fleetcare.portal.web import errors
from fleetcare.portal.web.pages import ORDERS, VEHICLES_A_PAGE
from tests import factories
from tests.conftest import ROLES, Cast
from tests.fleetcare.portal.conftest import Household
from tests.fleetcare.portal.markup import parsed, words

PAGES = ["fleet", "vehicle", "unknown vehicle", "inspection"]
PASSWORD = "axle stands first"


def vehicle_names(client: Client, address: str) -> list[str]:
    return [words(link.text) for link in parsed(client.get(address).content).of_class("list-link")]


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("page", PAGES)
def test_every_member_may_read_every_page(household: Household, browser_of: Any, page: str, role: Role) -> None:
    answer = browser_of(household.cast, role).get(household.pages[page])
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/html; charset=utf-8"
    assert "no certificate" in words(answer.content.decode())


@pytest.mark.parametrize("page", [*PAGES, "home"])
def test_who_is_not_signed_in_is_sent_to_sign_in_and_back(household: Household, client: Client, page: str) -> None:
    address = {**household.pages, "home": "/"}[page]
    answer = client.get(address)
    assert answer.status_code == 302
    assert answer["Location"] == f"/sign-in/?next={address}"
    household.cast.members[Role.VIEWER].set_password(PASSWORD)
    household.cast.members[Role.VIEWER].save()
    hidden = [field.attributes for field in parsed(client.get(answer["Location"]).content).all("input")]
    assert address in [field["value"] for field in hidden if field["name"] == "next"]
    form = {"login": "viewer@home.example", "password": PASSWORD, "next": address}
    assert Client().post("/sign-in/", form)["Location"] == address


def test_sign_in_leads_to_no_other_site(cast: Cast) -> None:
    cast.members[Role.OWNER].set_password(PASSWORD)
    cast.members[Role.OWNER].save()
    form = {"login": "owner@home.example", "password": PASSWORD, "next": "https://elsewhere.example/"}
    assert Client().post("/sign-in/", form)["Location"] == "/"


def test_a_wrong_password_is_told_where_the_fields_are(cast: Cast, client: Client) -> None:
    answer = client.post("/sign-in/", {"login": "owner@home.example", "password": "wrong"})
    markup = parsed(answer.content)
    (fault,) = markup.of_class("form-fault")
    assert fault.attributes["role"] == "alert"
    fields = [field for field in markup.all("input") if field.attributes.get("aria-invalid")]
    assert [field.attributes["aria-describedby"] for field in fields] == [fault.attributes["id"]] * 2
    assert fields[0].attributes["value"] == "owner@home.example"
    assert "value" not in fields[1].attributes


def test_signing_out_takes_a_form_and_ends_the_session(browser: Client, household: Household) -> None:
    assert browser.get("/sign-out/").status_code == 405
    assert browser.post("/sign-out/").status_code == 302
    assert browser.get(household.pages["fleet"]).status_code == 302


@pytest.mark.parametrize("page", PAGES)
def test_another_fleets_page_is_not_there(household: Household, strangers: Cast, browser_of: Any, page: str) -> None:
    stranger = browser_of(strangers, Role.OWNER)
    theirs = stranger.get(household.pages[page])
    nowhere = stranger.get(household.pages[page].replace(str(household.cast.fleet.pk), str(uuid.uuid4())))
    assert theirs.status_code == nowhere.status_code == 404
    assert (
        words(theirs.content.decode()).split("print-only")[0] == words(nowhere.content.decode()).split("print-only")[0]
    )


def test_rows_of_another_fleet_are_not_there_under_ones_own(
    household: Household, strangers: Cast, browser_of: Any
) -> None:
    stranger = browser_of(strangers, Role.OWNER)
    own = f"/fleets/{strangers.fleet.pk}/vehicles/"
    assert stranger.get(f"{own}{household.blue.pk}/").status_code == 404
    assert stranger.get(f"{own}{household.blue.pk}/inspections/{household.inspection.pk}/").status_code == 404
    assert stranger.get(f"{own}{strangers.vehicle.pk}/inspections/{household.inspection.pk}/").status_code == 404


def test_an_inspection_is_only_under_its_own_vehicle(browser: Client, household: Household) -> None:
    address = household.pages["inspection"].replace(str(household.blue.pk), str(household.sound.pk))
    assert browser.get(address).status_code == 404


def test_home_leads_straight_to_the_only_fleet(browser: Client, household: Household) -> None:
    assert browser.get("/")["Location"] == household.pages["fleet"]


def test_home_lists_the_fleets_one_belongs_to(household: Household, strangers: Cast, browser_of: Any) -> None:
    user = household.cast.members[Role.VIEWER]
    factories.MembershipFactory(fleet=strangers.fleet, user=user, role=Role.VIEWER)
    factories.FleetFactory(name="Neither")
    answer = browser_of(household.cast).get("/")
    assert [words(name.text) for name in parsed(answer.content).of_class("picks-name")] == ["Elsewhere", "Home"]


def test_home_tells_who_belongs_to_no_fleet_what_to_do(db: None) -> None:
    client = Client()
    client.force_login(factories.UserFactory(email="new@home.example"))
    answer = client.get("/")
    assert "You belong to no fleet yet" in answer.content.decode()


@pytest.mark.parametrize("order", ["", *ORDERS, "-nonsense"])
def test_what_must_not_be_driven_comes_first_in_every_order(browser: Client, household: Household, order: str) -> None:
    markup = parsed(browser.get(household.pages["fleet"], {"order": order}).content)
    names = [words(link.text) for link in markup.of_class("list-link")]
    assert names[0] == "Zephyr the blue one"
    assert sorted(names[1:]) == ["Allotment van", "Home car"]
    assert [words(tag.text) for tag in markup.of_class("tag")] == ["Do not drive"]
    (alarm,) = markup.of_class("tally-alarm")
    assert words(alarm.text) == "1 must not be driven"


def test_orders_differ(browser: Client, household: Household) -> None:
    address = household.pages["fleet"]
    assert vehicle_names(browser, f"{address}?order=name")[1:] == ["Allotment van", "Home car"]
    assert vehicle_names(browser, f"{address}?order=condition")[1:] == ["Home car", "Allotment van"]
    assert vehicle_names(browser, f"{address}?order=inspected")[1:] == ["Allotment van", "Home car"]


def test_a_vehicle_never_looked_at_has_no_score_and_no_grade(browser: Client, household: Household) -> None:
    rows = parsed(browser.get(household.pages["fleet"]).content).all("tr")
    (row,) = [row for row in rows if "Allotment van" in row.text]
    assert "unknown" in row.text
    assert "not examined" in row.text
    assert "never" in row.text
    assert "sound" not in row.text


def test_search_finds_by_plate_and_keeps_order_and_words(browser: Client, household: Household) -> None:
    answer = browser.get(household.pages["fleet"], {"q": "hx bl", "order": "name"})
    markup = parsed(answer.content)
    assert [words(link.text) for link in markup.of_class("list-link")] == ["Zephyr the blue one"]
    fields = {
        field.attributes["name"]: field.attributes["value"]
        for field in markup.all("input")
        if "name" in field.attributes
    }
    assert fields["q"] == "hx bl"
    assert fields["order"] == "name"


@pytest.mark.parametrize("query", ["nothing like it", "\0", "'; --", "%", "x" * 5000])
def test_no_search_words_break_the_page(browser: Client, household: Household, query: str) -> None:
    answer = browser.get(household.pages["fleet"], {"q": query, "page": "no number", "order": query})
    assert answer.status_code == 200


def test_long_lists_come_in_pages_and_sums_count_all_of_them(browser: Client, household: Household) -> None:
    for number in range(VEHICLES_A_PAGE):
        factories.vehicle(household.cast.fleet, name=f"Row {number:03d}")
    first = parsed(browser.get(household.pages["fleet"], {"order": "name"}).content)
    second = parsed(browser.get(household.pages["fleet"], {"order": "name", "page": 2}).content)
    names = [words(link.text) for markup in (first, second) for link in markup.of_class("list-link")]
    assert len(first.of_class("list-link")) == VEHICLES_A_PAGE
    assert len(names) == len(set(names)) == VEHICLES_A_PAGE + 3
    assert f"{VEHICLES_A_PAGE + 3} vehicles" in first.of_class("tally")[0].text


def test_an_archived_vehicle_is_not_on_the_list(browser: Client, household: Household) -> None:
    household.sound.archived = True
    household.sound.save(update_fields=["archived"])
    assert "Home car" not in vehicle_names(browser, household.pages["fleet"])


def test_the_vehicle_page_says_do_not_drive_and_why_before_anything_else(browser: Client, household: Household) -> None:
    text = words(browser.get(household.pages["vehicle"]).content.decode())
    main = text[text.index("<main") :]
    said = main.index("Do not drive")
    part, why = main.index("Front brake pads, front left"), main.index("metal on metal")
    assert said < part < why < main.index("<h1>") < main.index('id="jobs"')
    assert "Do not drive: a safety part is dangerous." in main


def test_the_first_job_is_what_must_be_done_before_driving(browser: Client, household: Household) -> None:
    jobs = parsed(browser.get(household.pages["vehicle"]).content).of_class("job")
    assert "job-first" in jobs[0].classes
    assert "Renew the front pads" in jobs[0].text
    assert "before driving" in jobs[0].text


def test_a_job_shows_its_cautions_before_what_is_taken_apart(browser: Client, household: Household) -> None:
    (job, *_) = parsed(browser.get(household.pages["vehicle"]).content).of_class("job")
    text = words(job.text)
    assert text.index("held by a jack alone") < text.index("Take apart")
    for term in ("Cost now", "Hours", "Waiting costs", "Saved per €1", "Fails within 10,000 km"):
        assert term in text


def test_a_finding_tells_what_was_seen_and_leads_to_the_inspection(browser: Client, household: Household) -> None:
    markup = parsed(browser.get(household.pages["vehicle"]).content)
    worst, torn = markup.of_class("finding")
    assert "dangerous" in worst.text
    assert "0.4 mm" in worst.text
    assert "limit 3 mm" in words(worst.text)
    assert "major" in torn.text
    assert "grease on the <wheel>" in torn.text
    assert {link.attributes["href"] for link in markup.of_class("finding-seen")} == {household.pages["inspection"]}


def test_the_ledger_adds_up_to_a_hundred(browser: Client, household: Household) -> None:
    markup = parsed(browser.get(household.pages["vehicle"]).content)
    first, last = (words(line.text) for line in markup.of_class("ledger-line"))
    systems = [words(line.text) for line in markup.of_class("ledger-loss")]
    taken_off = sum(round(float(line.rpartition("−")[2]) * 10) for line in systems)
    assert first == "Full marks 100.0"
    assert len(systems) > 1
    assert round(float(last.removeprefix("Score ")) * 10) + taken_off == 1000


def test_the_unknown_vehicle_page_promises_nothing(browser: Client, household: Household) -> None:
    text = words(browser.get(household.pages["unknown vehicle"]).content.decode())
    assert "Nothing is known yet: no inspection has been recorded." in text
    assert "No score before the first inspection." in text
    assert "score-big" not in text


def test_an_inspection_is_shown_as_it_was_recorded(browser: Client, household: Household) -> None:
    markup = parsed(browser.get(household.pages["inspection"]).content)
    assert words(markup.of_class("verdict")[0].text) == "2 defects, 1 sound, and 1 not examined"
    text = words(markup.all("main")[0].text)
    for said in ("0.4 mm", "9.5 mm", "bolts seized", "P0335", "grease on the <wheel>", "120,000 km"):
        assert said in text
    assert text.index("dangerous") < text.index("major") < text.index("bolts seized") < text.index("9.5 mm")


def test_a_draft_says_that_it_does_not_count(browser: Client, household: Household) -> None:
    household.inspection.state = "draft"
    household.inspection.save(update_fields=["state"])
    assert "A draft: it does not count" in browser.get(household.pages["inspection"]).content.decode()
    assert "draft, not counted yet" in browser.get(household.pages["vehicle"]).content.decode()


def test_distances_are_told_in_the_fleets_unit(browser: Client, household: Household) -> None:
    household.cast.fleet.distance_unit = "mi"
    household.cast.fleet.save(update_fields=["distance_unit"])
    # 120,000 km / 1.609344 = 74,564.5 miles (international yard and pound agreement, 1959).
    assert "74,565 mi" in browser.get(household.pages["vehicle"]).content.decode()
    assert "74,565 mi" in browser.get(household.pages["inspection"]).content.decode()
    assert "74,565 mi" in browser.get(household.pages["fleet"]).content.decode()


def test_an_unknown_address_gets_a_page_that_leads_on(client: Client, db: None) -> None:
    answer = client.get("/nothing/here/")
    assert answer.status_code == 404
    assert 'href="/"' in answer.content.decode()


def test_an_unknown_address_of_the_api_gets_a_problem_document(client: Client, db: None) -> None:
    assert client.get("/api/v1/nothing/")["Content-Type"] == "application/problem+json"


def test_the_page_of_last_resort_asks_the_database_nothing() -> None:
    # Without the `db` fixture any query fails the test; so does a session or a user.
    request = RequestFactory().get("/fleets/")
    request.request_id = "abc12345"  # type: ignore[attr-defined]
    answer = errors.server_error(request)
    assert answer.status_code == 500
    assert "abc12345" in answer.content.decode()


def test_a_refused_form_says_what_to_do() -> None:
    answer = errors.forged(RequestFactory().post("/sign-out/"))
    assert answer.status_code == 403
    assert "Nothing was changed" in answer.content.decode()
