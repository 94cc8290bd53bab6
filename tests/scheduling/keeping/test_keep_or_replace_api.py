"""Keep or replace over the API: terms that add up, from the judge, the backlog and the fills."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.fleet.given import fill
from tests.inspections.given import BOOT, PADS, result
from tests.scheduling.plans.given import faults, money, recent, today, wear


def span(low: str, likely: str, high: str) -> dict[str, Any]:
    return {"low": money(low), "likely": money(likely), "high": money(high)}


KEEP = {
    "years": 3,
    "worth_now": money("2000.00"),
    "worth_then": money("800.00"),
    "other_per_year": money("600.00"),
    "fuel_per_year": money("1500.00"),
}
REPLACE = {
    "years": 6,
    "price": money("12000.00"),
    "worth_then": money("5000.00"),
    "other_per_year": money("700.00"),
    "fuel_per_year": money("1200.00"),
    "jobs_per_year": money("300.00"),
}


def url(cast: Cast, vehicle: Any = None) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{(vehicle or cast.vehicle).pk}/keep-or-replace/"


def asked(api: Any, cast: Cast, keep: Any = None, other: Any = None, **more: Any) -> dict[str, Any]:
    body = {"keep": {**KEEP, **(keep or {})}, "replace": {**REPLACE, **(other or {})}, **more}
    response = api.post(url(cast), body)
    assert response.status_code == 200, response.content
    answer: dict[str, Any] = response.json()
    return answer


def likely(span: dict[str, Any]) -> Decimal:
    return Decimal(span["likely"]["amount"])


def terms(side: dict[str, Any]) -> dict[str, Decimal]:
    return {term["term"]: likely(term["a_year"]) for term in side["terms"]}


@pytest.fixture
def worn(cast: Cast) -> Cast:
    wear(cast)
    return cast


def test_every_term_is_told_with_its_source_and_they_add_up(api: Any, worn: Cast) -> None:
    body = asked(api, worn, interest_fraction=0.04)
    for side in (body["keep"], body["replace"]):
        assert sum(terms(side).values()) == likely(side["annual_cost"])
        assert all(term["source"] for term in side["terms"])
        low, high = (Decimal(side["annual_cost"][end]["amount"]) for end in ("low", "high"))
        assert low <= likely(side["annual_cost"]) <= high
    assert set(terms(body["keep"])) == {"worth-now", "repair-bill", "worth-then", "jobs", "risk", "fuel", "other"}
    assert terms(body["keep"])["worth-then"] < 0


def test_without_interest_the_other_vehicle_costs_what_is_reckoned_by_hand(api: Any, worn: Cast) -> None:
    body = asked(api, worn)
    assert likely(body["replace"]["annual_cost"]) == Decimal("3366.67")  # 7,000 / 6 + 300 + 700 + 1,200
    assert terms(body["keep"])["worth-now"] == Decimal("666.67")


def test_the_repair_bill_is_that_of_the_backlog(api: Any, worn: Cast) -> None:
    backlog = api.get(f"/api/v1/fleets/{worn.fleet.pk}/vehicles/{worn.vehicle.pk}/backlog/").json()
    body = asked(api, worn)
    assert body["repair_bill"]["likely"] == backlog["total_cost"]
    assert [job["job"] for job in body["repair_jobs"]] == [item["job"] for item in backlog["items"]]
    low, high = (Decimal(body["repair_bill"][end]["amount"]) for end in ("low", "high"))
    assert low < likely(body["repair_bill"]) < high


def test_paying_the_break_even_bill_makes_both_cost_the_same(api: Any, worn: Cast) -> None:
    """By the definition: what is spent now beyond the bill of today, spread over the years, is the difference."""
    body = asked(api, worn)
    keep, other = likely(body["keep"]["annual_cost"]), likely(body["replace"]["annual_cost"])
    more = likely(body["break_even_bill"]) - likely(body["repair_bill"])
    assert float(more) / 3 == pytest.approx(float(other - keep), abs=0.02)


def test_what_the_bill_repairs_is_not_counted_again_in_the_years_to_come(api: Any, cast: Cast) -> None:
    """Of two young vehicles the one with torn boots, once repaired, takes about as much a year as the sound one."""
    yearly = []
    for grade in ("sound", "dangerous"):
        vehicle = factories.vehicle(cast.fleet, name=grade, first_used_on=today() - timedelta(1_100))
        recent(vehicle, cast, *(result(BOOT, side, grade=grade) for side in ("front-left", "front-right")), km=40_000)
        body = api.post(url(cast, vehicle), {"keep": KEEP, "replace": REPLACE}).json()
        yearly.append(terms(body["keep"])["jobs"] + terms(body["keep"])["risk"])
    assert len(body["repair_jobs"]) == 2
    assert abs(yearly[1] - yearly[0]) < 15


def test_a_vehicle_in_worse_state_is_dearer_to_keep(api: Any, cast: Cast) -> None:
    """Two young ones alike in all but what one look saw of a part that lasts; the repair bill is part of the cost."""
    costs = []
    for grade in ("sound", "major"):
        vehicle = factories.vehicle(cast.fleet, name=grade, first_used_on=today() - timedelta(1_100))
        recent(vehicle, cast, *(result(BOOT, side, grade=grade) for side in ("front-left", "front-right")), km=40_000)
        body = api.post(url(cast, vehicle), {"keep": KEEP, "replace": REPLACE}).json()
        costs.append(likely(body["keep"]["annual_cost"]))
    assert costs[0] < costs[1]


def test_a_vehicle_that_was_hardly_looked_at_says_so(api: Any, worn: Cast) -> None:
    unseen = asked(api, worn)["unseen_parts"]
    assert unseen["of"] - unseen["parts"] == 3
    assert unseen["say"].endswith("Have it looked over before you decide.")


def test_who_knows_better_from_years_of_bills_may_say_so(api: Any, worn: Cast) -> None:
    body = asked(api, worn, keep={"jobs_per_year": span("300.00", "400.00", "900.00"), "risk_per_year": money("50.00")})
    told = terms(body["keep"])
    assert (told["jobs"], told["risk"]) == (400, 50)
    assert {term["source"] for term in body["keep"]["terms"] if term["term"] in ("jobs", "risk")} == {"as you say"}


def test_fuel_comes_from_recorded_fills(api: Any, worn: Cast) -> None:
    """Two full tanks 500 km apart, the second of 40 litres for 72.00: 8 litres per 100 km at 1.80."""
    fill(worn.access, worn.vehicle, filled_on=today() - timedelta(10), shown_km=Decimal(180_100), litres=Decimal(30))
    fill(
        worn.access, worn.vehicle, filled_on=today() - timedelta(2), shown_km=Decimal(180_600), litres=Decimal(40),
        price_minor=7_200,
    )  # fmt: skip
    keep = {name: value for name, value in KEEP.items() if name != "fuel_per_year"}
    response = api.post(url(worn), {"keep": keep, "replace": REPLACE})
    body = response.json()
    fuel = terms(body["keep"])["fuel"]
    assert float(fuel) == pytest.approx(body["km_per_year"] / 100 * 8.0 * 1.80, rel=1e-4)
    (told,) = [term["source"] for term in body["keep"]["terms"] if term["term"] == "fuel"]
    assert told.startswith("8.00 litres per 100 km over 1 full tanks")
    other = {name: value for name, value in REPLACE.items() if name != "fuel_per_year"}
    thirsty = api.post(
        url(worn), {"keep": keep, "replace": {**other, "litres_per_100_km": 4}, "fuel_price": money("2.00")}
    )
    theirs = thirsty.json()
    assert float(terms(theirs["replace"])["fuel"]) == pytest.approx(theirs["km_per_year"] / 100 * 4 * 2.0, rel=1e-4)


def test_the_other_vehicles_jobs_are_reckoned_from_its_age_and_distance(api: Any, worn: Cast) -> None:
    def jobs(age: float, km: float) -> Decimal:
        other = {name: value for name, value in REPLACE.items() if name != "jobs_per_year"}
        body = api.post(url(worn), {"keep": KEEP, "replace": {**other, "age_years": age, "odometer_km": km}}).json()
        found = terms(body["replace"])
        return found["jobs"] + found["risk"]

    young, old = jobs(1, 15_000), jobs(12, 180_000)
    assert 0 < young < old


def test_doubt_about_the_other_vehicle_makes_it_too_close_to_call(api: Any, worn: Cast) -> None:
    sure = asked(api, worn, other={"price": money("60000.00")})
    assert sure["better"] == "keep"
    assert sure["say"].startswith("Keeping is cheaper")
    unsure = asked(api, worn, other={"price": span("500.00", "12000.00", "60000.00")})
    assert unsure["better"] == "too-close"
    cheap = asked(api, worn, keep={"fuel_per_year": money("9000.00")})
    assert (cheap["better"], Decimal(cheap["break_even_bill"]["likely"]["amount"]) < 0) == ("replace", True)
    assert cheap["say"].endswith("Replacing is cheaper even if there were nothing to repair.")


@pytest.mark.parametrize(
    ("keep", "other", "expected"),
    [
        ({"years": 0}, {}, [("/keep/years", "min-value")]),
        ({"worth_now": money("-1.00")}, {}, [("/keep/worth_now/amount", "invalid")]),
        ({"worth_now": money("1.00", "USD")}, {}, [("/keep/worth_now/currency", "other-currency")]),
        ({"worth_now": span("3.00", "2.00", "4.00")}, {}, [("/keep/worth_now/likely", "order")]),
        ({"worth_now": {"low": money("3.00")}}, {},
         [("/keep/worth_now/likely", "required"), ("/keep/worth_now/high", "required")]),
        ({"worth_now": 7}, {}, [("/keep/worth_now", "invalid")]),
        ({"fuel_per_year": None}, {}, [("/keep/fuel_per_year", "null")]),
        ({}, {"litres_per_100_km": 5}, [("/replace/litres_per_100_km", "twice")]),
        ({}, {"age_years": 5}, [("/replace/age_years", "twice")]),
        ({}, {"colour": 1}, [("/replace/colour", "unknown")]),
    ],
)  # fmt: skip
def test_bad_input_names_its_place(api: Any, cast: Cast, keep: Any, other: Any, expected: Any) -> None:
    body = {"keep": {**KEEP, **keep}, "replace": {**REPLACE, **other}}
    assert faults(api.post(url(cast), body)) == expected


@pytest.mark.parametrize(
    ("side", "missing", "more", "expected"),
    [
        ("keep", "fuel_per_year", {}, "/keep/fuel_per_year"),
        ("replace", "fuel_per_year", {}, "/replace/fuel_per_year"),
        ("replace", "fuel_per_year", {"litres_per_100_km": 5}, "/fuel_price"),
        ("replace", "jobs_per_year", {}, "/replace/jobs_per_year"),
        ("replace", "jobs_per_year", {"age_years": 5}, "/replace/jobs_per_year"),
        ("replace", "jobs_per_year", {"risk_per_year": money("5.00")}, "/replace/risk_per_year"),
    ],
)
def test_what_is_neither_said_nor_on_record_is_asked_for(
    api: Any, cast: Cast, side: str, missing: str, more: Any, expected: str
) -> None:
    body: dict[str, dict[str, Any]] = {"keep": dict(KEEP), "replace": dict(REPLACE)}
    del body[side][missing]
    body[side].update(more)
    assert [pointer for pointer, _ in faults(api.post(url(cast), body))] == [expected]


@pytest.mark.parametrize("count", [1, 30])
def test_it_takes_the_same_number_of_queries_with_one_finding_and_fill_and_with_many(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    vehicle = factories.vehicle(cast.fleet, name="Other")
    for number in range(count):
        recent(
            vehicle, cast, result(PADS, "front-left", grade="major"), days_ago=60 - number, km=180_000 + 100 * number
        )
        fill(
            cast.access, vehicle, filled_on=today() - timedelta(60 - number), price_minor=5_000,
            shown_km=Decimal(180_000 + 100 * number),
        )  # fmt: skip
    client = client_of(Role.VIEWER)
    body = {"keep": KEEP, "replace": REPLACE}
    client.post(url(cast, vehicle), body)
    # The key, the vehicle, what the judge loads (9), what is wrong with the parts, the fills and their prices.
    with django_assert_num_queries(14):
        assert client.post(url(cast, vehicle), body).status_code == 200
