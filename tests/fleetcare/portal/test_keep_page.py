"""Keep or replace on a page: the user's figures in, the verdict with its range out, every fault at its field."""

from typing import Any

import pytest

from fleetcare.fleet.words import Role
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.fleetcare.portal.test_desk_pages import worn

SAID = {
    "keep_years": "3", "keep_worth_now": "1800-2600", "keep_worth_then": "600", "keep_other_per_year": "640",
    "keep_fuel_per_year": "1300", "keep_jobs_per_year": "700", "keep_risk_per_year": "100",
    "replace_years": "6", "replace_price": "9500", "replace_worth_then": "4000-5500",
    "replace_other_per_year": "820,50", "replace_jobs_per_year": "300", "replace_fuel_per_year": "900",
    "interest": "2,5",
}  # fmt: skip


@pytest.fixture
def address(cast: Cast) -> str:
    worn(cast)
    return f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/keep-or-replace/"


def test_everybody_may_ask_and_is_told_in_sentences_with_every_term(cast: Cast, address: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.VIEWER)
    assert client.get(address).status_code == 200
    answer = client.post(address, SAID)
    assert answer.status_code == 200
    text = words(parsed(answer.content).all("main")[0].text)
    assert "a year" in text
    assert "Break-even repair bill" in text
    assert "820,50" in answer.content.decode()
    # 9,500 bought, 4,750 (the middle of the range) left after six years, 2.5 % interest:
    # 9,500 / 5.50813 = 1,724.73 and 4,750 / 1.159693 / 5.50813 = 743.61 a year.
    terms = {term.name: (term.likely, term.between, term.source) for term in answer.context["answer"].sides[1].terms}
    assert terms["Its price"] == ("€1,725", "", "as you say")
    assert terms["What it fetches at the end"] == ("-€744", "-€861 to -€626", "as you say")
    assert "parts were never looked at" in text
    assert parsed(answer.content).of_class("rule-band")


def test_what_is_left_open_is_reckoned_for_such_a_vehicle(cast: Cast, address: str, browser_of: Any) -> None:
    form = {
        **SAID, "keep_jobs_per_year": "", "keep_risk_per_year": "", "replace_jobs_per_year": "",
        "replace_age_years": "6", "replace_odometer": "72000",
    }  # fmt: skip
    answer = browser_of(cast, Role.VIEWER).post(address, form)
    text = words(answer.content.decode())
    assert answer.status_code == 200
    assert "what the judge expects of every part after these jobs, looked at every 10,000 km" in text
    assert "what parts of such a vehicle usually take at that age and distance" in text


@pytest.mark.parametrize(
    ("change", "field", "said"),
    [
        ({"keep_years": "0"}, "keep_years", "greater than or equal to 0.5"),
        ({"keep_worth_now": "lots"}, "keep_worth_now", "does not match the required pattern"),
        ({"keep_worth_now": "3000-2000"}, "keep_worth_now", "This is less than"),
        ({"keep_worth_now": "1.2.3-5"}, "keep_worth_now", "does not match the required pattern"),
        ({"replace_price": ""}, "replace_price", "This field is required."),
        ({"replace_jobs_per_year": ""}, "replace_jobs_per_year", "Say its age and odometer"),
        ({"replace_age_years": "6"}, "replace_age_years", "not both"),
        ({"keep_fuel_per_year": ""}, "keep_fuel_per_year", "No full fills are on record"),
        ({"replace_fuel_per_year": "", "replace_litres_per_100_km": "5,5"}, "fuel_price", "say what a litre costs"),
        ({"replace_odometer": "-4", "replace_age_years": "2"}, "replace_odometer", "greater than or equal to 0"),
        ({"interest": "80"}, "interest", "less than or equal to 0.5"),
    ],
)
def test_a_fault_stands_at_its_field_and_nothing_typed_is_lost(
    cast: Cast, address: str, browser_of: Any, change: dict[str, str], field: str, said: str
) -> None:
    answer = browser_of(cast, Role.VIEWER).post(address, {**SAID, **change})
    assert answer.status_code == 422
    assert any(said in fault for fault in answer.context["form"].errors[field])
    assert "4000-5500" in [each.attributes.get("value") for each in parsed(answer.content).all("input")]
    assert answer.context["answer"] is None


def test_a_mile_fleet_says_the_odometer_in_miles(cast: Cast, address: str, browser_of: Any) -> None:
    cast.fleet.distance_unit = "mi"
    cast.fleet.save(update_fields=["distance_unit"])
    form = {**SAID, "replace_jobs_per_year": "", "replace_age_years": "6", "replace_odometer": "45000"}
    answer = browser_of(cast, Role.VIEWER).post(address, form)
    assert answer.status_code == 200
    # More than is allowed in kilometres is refused in miles too: 950,000 miles are 1,528,877 km.
    assert browser_of(cast, Role.VIEWER).post(address, {**form, "replace_odometer": "950000"}).status_code == 422


def test_it_is_linked_and_another_fleets_vehicle_is_not_there(
    cast: Cast, strangers: Cast, address: str, browser_of: Any
) -> None:
    fleet = f"/fleets/{cast.fleet.pk}/"
    client = browser_of(cast, Role.PLANNER)
    for page in (f"{fleet}vehicles/{cast.vehicle.pk}/", f"{fleet}decide/"):
        assert address in [a.attributes.get("href") for a in parsed(client.get(page).content).all("a")]
    assert browser_of(strangers, Role.OWNER).get(address).status_code == 404
    foreign = f"{fleet}vehicles/{strangers.vehicle.pk}/keep-or-replace/"
    assert client.post(foreign, SAID).status_code == 404


def test_asking_takes_a_constant_number_of_queries(
    cast: Cast, address: str, browser_of: Any, django_assert_max_num_queries: Any
) -> None:
    client = browser_of(cast, Role.VIEWER)
    client.post(address, SAID)
    with django_assert_max_num_queries(17):
        assert client.post(address, SAID).status_code == 200
