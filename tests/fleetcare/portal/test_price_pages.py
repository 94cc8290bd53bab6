"""Prices, work terms and tools on pages: found, said, taken back; who may not, reads."""

from typing import Any

import pytest

from fleetcare.fleet.models import JobExperience, JobPrice, WorkTerms
from fleetcare.fleet.words import Role
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import tool_words
from scheduling.services.prices import figures_of, prices_here
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words

JOB = "front-brake-pads.replace"
OWN = {
    "typical": "80,50",
    "low": "60",
    "high": "120",
    "hours": "1,25",
    "done_by": "workshop",
    "note": "from the trader",
}
TERMS = {"done_by": "own", "own_hour": "12,50", "workshop_hour": "96", "hardest_own": "3", "raising": "stands"}


@pytest.fixture
def base(cast: Cast) -> str:
    return f"/fleets/{cast.fleet.pk}/"


def text_of(answer: Any) -> str:
    return words(parsed(answer.content).all("main")[0].text)


def test_a_job_is_found_by_its_words_its_system_and_what_was_said_of_it(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.VIEWER)
    assert "Renew the front pads, both sides" in text_of(client.get(f"{base}prices/?q=pads+FRONT"))
    assert "Renew the front pads" not in text_of(client.get(f"{base}prices/?q=pads&system=engine"))
    assert "No job here matches." in text_of(client.get(f"{base}prices/?only=own"))
    # 40 of 299 jobs a page.
    assert "Page 8 of 8" in text_of(client.get(f"{base}prices/?page=8"))


def test_an_own_price_is_said_reckoned_with_and_taken_back(cast: Cast, base: str, browser_of: Any) -> None:
    client, address = browser_of(cast, Role.PLANNER), f"{base}prices/{JOB}/"
    assert "€50 €25 to €120" in text_of(client.get(address))
    assert client.post(address, OWN).status_code == 302
    row = JobPrice.objects.within(cast.fleet).get()
    assert (row.parts_low_minor, row.parts_typical_minor, row.parts_high_minor) == (6_000, 8_050, 12_000)
    assert (str(row.hours), row.done_by, row.note) == ("1.25", "workshop", "from the trader")
    figures = figures_of(prices_here(cast.access), JOB)
    assert (figures.parts_minor.likely, figures.hours.likely, figures.done_by) == (8_050.0, 1.25, "workshop")
    page = client.get(address)
    assert "the fleet gives it to a workshop" in text_of(page)
    assert "your own figure" in text_of(client.get(f"{base}prices/?only=own"))
    version = next(f for f in parsed(page.content).all("input") if f.attributes.get("name") == "version")
    assert client.post(address, {"drop": "", "version": version.attributes["value"]}).status_code == 302
    assert not JobPrice.objects.within(cast.fleet).exists()


def test_what_closed_jobs_taught_stands_beside_the_catalogues_figure(cast: Cast, base: str, browser_of: Any) -> None:
    JobExperience.objects.create(fleet=cast.fleet, job_key=JOB, hours=[1.1, 0.8, 1.4], parts_minor=[6_200, 5_400])
    text = text_of(browser_of(cast, Role.VIEWER).get(f"{base}prices/{JOB}/"))
    assert "3 closed jobs" in text
    assert "€54 to €62" in text
    assert "0.8 hr to 1.4 hr" in text
    assert "3 closed jobs" in text_of(browser_of(cast, Role.VIEWER).get(f"{base}prices/?only=learned"))


@pytest.mark.parametrize(
    ("change", "field", "said"),
    [
        ({"low": "90"}, "low", "The low price must not lie above the usual one."),
        ({"high": "70"}, "high", "The high price must not lie below the usual one."),
        ({"typical": ""}, "typical", "This field is required."),
        ({"hours": "many"}, "hours", "A number is needed."),
        ({"typical": "-3"}, "typical", "This value does not match the required pattern."),
    ],
)
def test_a_price_that_makes_no_sense_is_given_back_with_the_fault_at_its_field(
    cast: Cast, base: str, browser_of: Any, change: dict[str, str], field: str, said: str
) -> None:
    answer = browser_of(cast, Role.PLANNER).post(f"{base}prices/{JOB}/", {**OWN, **change})
    assert answer.status_code == 422
    assert answer.context["form"].errors[field] == [said]
    assert not JobPrice.objects.within(cast.fleet).exists()


def test_a_price_that_somebody_else_changed_meanwhile_is_not_overwritten(
    cast: Cast, base: str, browser_of: Any
) -> None:
    client, address = browser_of(cast, Role.PLANNER), f"{base}prices/{JOB}/"
    client.post(address, OWN)
    answer = client.post(address, {**OWN, "typical": "99", "version": '"0"'})
    assert answer.status_code == 422
    assert "changed since you read it" in text_of(answer)
    assert JobPrice.objects.within(cast.fleet).get().parts_typical_minor == 8_050


def test_work_terms_are_said_with_the_tools_that_are_missing(cast: Cast, base: str, browser_of: Any) -> None:
    client, address = browser_of(cast, Role.PLANNER), f"{base}work-terms/"
    every = sorted(tool_words(default_catalogue()))
    here = [tool for tool in every if tool != "piston press"]
    assert client.post(address, {**TERMS, "tool": here, "version": '"0"'}).status_code == 302
    row = WorkTerms.objects.within(cast.fleet).get()
    assert (row.own_hour_minor, row.workshop_hour_minor, row.hardest_own, row.raising) == (1_250, 9_600, 3, "stands")
    assert (row.tools, row.tools_lacking) == (None, ["piston press"])
    # The pads need a piston press, so they are given away at the workshop's hour.
    figures = figures_of(prices_here(cast.access), JOB)
    assert (figures.done_by, figures.minor_per_hour) == ("workshop", 9_600.0)
    assert "missing here: piston press" in text_of(client.get(f"{base}prices/{JOB}/"))


def test_who_has_few_tools_unticks_all_and_ticks_those(cast: Cast, base: str, browser_of: Any) -> None:
    client, address = browser_of(cast, Role.PLANNER), f"{base}work-terms/"
    empty = parsed(client.post(address, {**TERMS, "tick": "none", "tool": ["wire brush"]}).content)
    boxes = [f for f in empty.all("input") if f.attributes.get("name") == "tool"]
    assert len(boxes) == len(tool_words(default_catalogue()))
    assert not [box for box in boxes if "checked" in box.attributes]
    assert "12,50" in [f.attributes.get("value") for f in empty.all("input")]
    assert not WorkTerms.objects.within(cast.fleet).exists()
    assert client.post(address, {**TERMS, "tool": ["wire brush", "multimeter"]}).status_code == 302
    row = WorkTerms.objects.within(cast.fleet).get()
    assert (row.tools, row.tools_lacking) == (["multimeter", "wire brush"], [])
    again = parsed(client.get(address).content)
    ticked = [f.attributes["value"] for f in again.all("input") if "checked" in f.attributes]
    assert sorted(ticked) == ["multimeter", "wire brush"]


def test_terms_that_make_no_sense_are_given_back(cast: Cast, base: str, browser_of: Any) -> None:
    form = {**TERMS, "workshop_hour": "dear", "tool": ["no such tool", "wire brush"]}
    answer = browser_of(cast, Role.PLANNER).post(f"{base}work-terms/", form)
    assert answer.status_code == 422
    assert "workshop_hour" in answer.context["form"].errors
    assert not WorkTerms.objects.within(cast.fleet).exists()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.INSPECTOR])
@pytest.mark.parametrize("page", ["prices/", f"prices/{JOB}/", "work-terms/"])
def test_who_does_not_plan_reads_and_says_nothing(
    cast: Cast, base: str, browser_of: Any, role: Role, page: str
) -> None:
    client = browser_of(cast, role)
    markup = parsed(client.get(f"{base}{page}").content)
    assert not [button for button in markup.all("button") if words(button.text) == "Keep"]
    if page != "prices/":
        assert client.post(f"{base}{page}", {**OWN, **TERMS}).status_code == 403
    assert not JobPrice.objects.within(cast.fleet).exists()
    assert not WorkTerms.objects.within(cast.fleet).exists()


@pytest.mark.parametrize("page", ["prices/", f"prices/{JOB}/", "work-terms/"])
def test_another_fleets_prices_are_not_there(
    cast: Cast, strangers: Cast, base: str, browser_of: Any, page: str
) -> None:
    client = browser_of(strangers, Role.OWNER)
    assert client.get(f"{base}{page}").status_code == 404
    assert client.get(f"{base}prices/no-such.job/").status_code == 404
    assert browser_of(cast, Role.OWNER).get(f"{base}prices/no-such.job/").status_code == 404


@pytest.mark.parametrize("said", [0, 30])
@pytest.mark.parametrize(("page", "queries"), [("prices/", 6), (f"prices/{JOB}/", 7), ("work-terms/", 7)])
def test_prices_take_as_many_queries_for_few_as_for_many(
    cast: Cast, base: str, browser_of: Any, page: str, queries: int, said: int, django_assert_num_queries: Any
) -> None:
    keys = list(default_catalogue().jobs)[:said]
    prices = {"parts_low_minor": 1, "parts_typical_minor": 500, "parts_high_minor": 900}
    JobPrice.objects.bulk_create(JobPrice(fleet=cast.fleet, job_key=key, **prices) for key in keys)
    client = browser_of(cast, Role.PLANNER)
    # Session, user, membership; work terms, own prices and what closed jobs took; and the row that the form is about.
    with django_assert_num_queries(queries):
        assert client.get(f"{base}{page}").status_code == 200
