"""The fleet's own prices, hours and hands over the API, and what closed jobs teach."""

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from fleetcare.fleet.words import Role
from inspections.catalogue.loader import default_catalogue
from inspections.services.costs import fleet_prices
from scheduling.services.assess import assess_vehicles
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result
from tests.scheduling.work_given import BOOT_JOB, PADS_JOB, closed, job

RIGHT = "front-right"


def eur(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "EUR"}


def url(cast: Cast, *rest: str) -> str:
    return "/".join([f"/api/v1/fleets/{cast.fleet.pk}", *rest, ""])


def item(api: Any, cast: Cast, job_key: str = BOOT_JOB) -> dict[str, Any]:
    body = api.get(url(cast, "vehicles", str(cast.vehicle.pk), "backlog")).json()
    return next(each for each in body["items"] + body["can_wait"] if each["job"] == job_key)


def amount(money: dict[str, str]) -> Decimal:
    return Decimal(money["amount"])


@pytest.fixture
def torn(cast: Cast) -> Cast:
    inspect(cast.access, cast.vehicle, result(BOOT, RIGHT, grade="major"))
    return cast


def test_a_price_of_the_fleets_own_holds_at_once_and_the_catalogues_again_when_it_is_dropped(
    api: Any, torn: Cast
) -> None:
    before = item(api, torn)
    said = {"parts": {"low": eur("200.00"), "typical": eur("250.00"), "high": eur("400.00")}, "hours": 4}
    answer = api.put(url(torn, "prices", BOOT_JOB), said)
    assert answer.status_code == 200
    assert answer.json()["reckoned_parts"]["likely"] == eur("250.00")
    dearer = item(api, torn)
    assert amount(dearer["cost_now"]) > amount(before["cost_now"]) + 150
    assert dearer["hours"] > before["hours"] + 1
    # What the job costs later is reckoned alike, so that a dear part is not put off for being dear.
    assert amount(dearer["terms"]["later_job"]) > amount(before["terms"]["later_job"])
    assert amount(dearer["failure_cost"]) > amount(before["failure_cost"])
    assert api.delete(url(torn, "prices", BOOT_JOB)).status_code == 204
    assert item(api, torn) == before


def test_the_cost_lies_in_its_range_and_a_wider_price_makes_it_wider(api: Any, torn: Cast) -> None:
    for low, high in (("99.00", "101.00"), ("40.00", "300.00")):
        parts = {"low": eur(low), "typical": eur("100.00"), "high": eur(high)}
        assert api.put(url(torn, "prices", BOOT_JOB), {"parts": parts}, HTTP_IF_MATCH="*").status_code == 200
        found = item(api, torn)
        assert amount(found["cost_range"]["low"]) < amount(found["cost_now"]) < amount(found["cost_range"]["high"])
        assert found["cost_range"]["likely"] == found["cost_now"]
        assert found["hours_range"]["low"] < found["hours"] < found["hours_range"]["high"]
    assert amount(found["cost_range"]["high"]) >= 200 + amount(found["cost_now"]) - 1


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"parts": {"typical": eur("10.00"), "low": eur("11.00")}}, "/parts/low"),
        ({"parts": {"typical": eur("10.00"), "high": eur("9.00")}}, "/parts/high"),
        ({"parts": {"low": eur("9.00")}}, "/parts/typical"),
        ({"parts": {"typical": {"amount": "9.00", "currency": "USD"}}}, "/parts/typical/currency"),
        ({"hours": 0}, "/hours"),
        ({"hours": "2"}, "/hours"),
        ({"done_by": "nobody"}, "/done_by"),
        ({"tools": []}, "/tools"),
    ],
)
def test_a_price_that_cannot_be_is_refused_with_its_place(
    api: Any, cast: Cast, said: dict[str, Any], pointer: str
) -> None:
    answer = api.put(url(cast, "prices", BOOT_JOB), said)
    assert answer.status_code == 400
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert api.get(url(cast, "prices")).json()["items"] == []


def test_a_job_that_the_catalogue_does_not_know_has_no_price(api: Any, cast: Cast) -> None:
    assert api.put(url(cast, "prices", "nothing.replace"), {}).status_code == 404
    assert api.delete(url(cast, "prices", BOOT_JOB)).status_code == 404


def test_a_stale_price_is_not_written_over(api: Any, cast: Cast) -> None:
    first = api.put(url(cast, "prices", BOOT_JOB), {"hours": 2})
    assert api.put(url(cast, "prices", BOOT_JOB), {"hours": 3}, HTTP_IF_MATCH=first["ETag"]).status_code == 200
    assert api.put(url(cast, "prices", BOOT_JOB), {"hours": 4}, HTTP_IF_MATCH=first["ETag"]).status_code == 412
    assert api.get(url(cast, "prices", BOOT_JOB)).json()["hours"] == 3


def test_until_somebody_says_otherwise_only_licensed_work_is_given_away(api: Any, torn: Cast) -> None:
    terms = api.get(url(torn, "work-terms")).json()
    assert (terms["said"], terms["own_hour"]) == (False, eur("15.00"))
    assert amount(terms["workshop_hour"]) > 15
    assert (item(api, torn)["done_by"], item(api, torn)["done_by_because"]) == ("own", [])
    charge = api.get(url(torn, "prices", "refrigerant-charge.service")).json()
    assert (charge["reckoned_done_by"], charge["hour_costs"]) == ("workshop", terms["workshop_hour"])
    assert charge["done_by_because"] == ["this work takes a licence"]


@pytest.mark.parametrize(
    ("terms", "why"),
    [
        ({"hardest_own": 1}, "harder than what is done here"),
        ({"raising": "none"}, "there is nothing here to keep the vehicle safely off the ground"),
        ({"tools_lacking": ["boot clamp pliers"]}, "a tool is missing here: boot clamp pliers"),
        ({"done_by": "workshop"}, "the fleet gives it to a workshop"),
    ],
)
def test_what_cannot_be_done_here_goes_to_the_workshop_at_its_rate(
    api: Any, torn: Cast, terms: dict[str, Any], why: str
) -> None:
    own = item(api, torn)
    said = {"own_hour": eur("15.00"), "workshop_hour": eur("100.00"), **terms}
    assert api.put(url(torn, "work-terms"), said).status_code == 200
    away = item(api, torn)
    assert (away["done_by"], away["done_by_because"]) == ("workshop", [why])
    # The same hours, at 100 instead of 15: job, access and follow-ups alike.
    assert amount(away["cost_now"]) - amount(own["cost_now"]) == pytest.approx(
        Decimal("85") * Decimal(str(own["hours"]))
    )


def test_a_choice_for_one_job_gives_that_one_away_and_no_other(api: Any, torn: Cast) -> None:
    inspect(torn.access, torn.vehicle, result(PADS, "front-left", grade="major"), shown_km=Decimal(120_100))
    api.put(url(torn, "prices", BOOT_JOB), {"done_by": "workshop"})
    assert (item(api, torn)["done_by"], item(api, torn, PADS_JOB)["done_by"]) == ("workshop", "own")


def test_what_a_workshop_takes_apart_does_not_serve_the_jobs_done_here(api: Any, torn: Cast) -> None:
    boots = [result(BOOT, side, grade="major") for side in ("front-left", RIGHT)]
    pads = result(PADS, "front-left", grade="dangerous")
    inspect(torn.access, torn.vehicle, *boots, pads, shown_km=Decimal(120_100))

    def opened() -> set[str]:
        body = api.get(url(torn, "vehicles", str(torn.vehicle.pk), "backlog")).json()
        return {unit for each in body["items"] if each["job"] != PADS_JOB for unit in each["opened_before"]}

    assert any(unit.startswith("wheel-off") for unit in opened())
    api.put(url(torn, "prices", PADS_JOB), {"done_by": "workshop"})
    assert not any(unit.startswith("wheel-off") for unit in opened())


def test_unknown_tools_and_strangers_are_refused(api: Any, client_of: Any, cast: Cast) -> None:
    answer = api.put(url(cast, "work-terms"), {"tools": ["boot clamp pliers", "magic wand"]})
    assert [fault["pointer"] for fault in answer.json()["errors"]] == ["/tools/1"]
    assert client_of(Role.INSPECTOR).put(url(cast, "work-terms"), {}).status_code == 403


def test_closed_jobs_sharpen_the_next_estimate_of_this_fleet_alone(api: Any, torn: Cast, strangers: Cast) -> None:
    before = api.get(url(torn, "prices", BOOT_JOB)).json()
    for _ in range(4):
        row = job(torn.access, torn.vehicle, BOOT_JOB, RIGHT)
        closed(torn.access, row, hours=Decimal("6.0"), parts_minor=30_000)
    after = api.get(url(torn, "prices", BOOT_JOB)).json()
    assert after["closed_jobs"] == 4
    assert 2 * amount(before["reckoned_parts"]["likely"]) < amount(after["reckoned_parts"]["likely"]) < 300
    assert after["reckoned_hours"]["likely"] > before["reckoned_hours"]["likely"]
    seen = result(BOOT, "front-left", grade="major")
    inspect(torn.access, torn.vehicle, seen, inspected_on=timezone.now().date(), shown_km=Decimal(121_000))
    assert item(api, torn)["closed_jobs"] == 4
    assert fleet_prices(strangers.fleet).taken == {}


def test_lists_and_answers_take_the_same_number_of_queries_for_one_price_and_twenty(
    api: Any, cast: Cast, django_assert_num_queries: Any
) -> None:
    keys = list(default_catalogue().jobs)[:20]
    counts = []
    for some in (keys[:1], keys):
        for key in some:
            api.put(url(cast, "prices", key), {"hours": 1})
        with django_assert_num_queries(6, exact=False) as found:
            assert len(api.get(url(cast, "prices")).json()["items"]) == len(some)
        counts.append(len(found))
    assert counts[0] == counts[1]


def test_another_labour_rate_holds_at_once_for_what_was_stored_before(api: Any, torn: Cast) -> None:
    assess_vehicles(torn.fleet.pk, [torn.vehicle.pk])
    before = item(api, torn)
    assert api.patch(url(torn), {"labour_per_hour": eur("45.00")}).status_code == 200
    after = item(api, torn)
    hours = Decimal(str(before["hours"]))
    assert amount(after["cost_now"]) - amount(before["cost_now"]) == pytest.approx(30 * hours)
