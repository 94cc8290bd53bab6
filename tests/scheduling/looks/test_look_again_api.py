"""When to look again, over the API: each part's next look with its reason, gathered into few looks."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from inspections.catalogue.loader import default_catalogue
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, result
from tests.scheduling.plans.given import recent, today


def url(cast: Cast, vehicle: Any = None) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{(vehicle or cast.vehicle).pk}/look-again/"


def place(part: dict[str, Any]) -> tuple[str, str | None]:
    return part["part"], part["position"]


def test_a_vehicle_never_inspected_is_to_be_looked_over_now_and_in_full(api: Any, cast: Cast) -> None:
    body = api.get(url(cast)).json()
    first = body["looks"][0]
    assert (first["on"], first["sheet"]) == (today().isoformat(), "full")
    assert {place(part) for part in first["parts"]} == {place(part) for part in body["parts"]}
    assert all(part["now"] and part["never_looked"] for part in body["parts"])
    assert first["checks_alone"] is None
    assert any("held by a jack alone" in caution for caution in first["cautions"])


def test_every_part_is_in_one_look_never_after_its_day_and_at_most_a_third_early(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(BOOT, "front-left", grade="minor"), result(PADS, "front-left", grade="sound"))
    body = api.get(url(cast)).json()
    parts = {place(part): part for part in body["parts"]}
    gathered = [(look["on"], place(part)) for look in body["looks"] for part in look["parts"]]
    assert sorted(where for _, where in gathered) == sorted(parts)
    for on, where in gathered:
        due = date.fromisoformat(parts[where]["next_on"])
        early = (due - date.fromisoformat(on)).days
        assert 0 <= early <= parts[where]["interval_months"] / 3 * 30.5 + 2
    assert len(body["looks"]) < len(parts) / 10


def test_a_sheet_looks_at_all_parts_of_its_look(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(BOOT, "front-left", grade="major"))
    catalogue = default_catalogue()
    for look in api.get(url(cast)).json()["looks"]:
        checks = catalogue.applicable_checks(cast.vehicle.traits, look["sheet"])
        seen = {(catalogue.slots[each.slot].part_key, catalogue.slots[each.slot].position or None) for each in checks}
        assert {place(part) for part in look["parts"]} <= seen


def test_a_worse_part_is_looked_at_sooner_and_says_why(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(BOOT, "front-left", grade="major"), result(BOOT, "front-right", grade="sound"))
    parts = {place(part): part for part in api.get(url(cast)).json()["parts"]}
    bad, sound = parts["outer-driveshaft-boot", "front-left"], parts["outer-driveshaft-boot", "front-right"]
    assert bad["next_on"] < sound["next_on"]
    assert (bad["grade"], bad["because"]["code"]) == ("major", "short-warning")
    assert bad["because"]["say"].startswith("seen major; twice within the warning that it gives before it fails")


def test_looks_alone_are_offered_where_they_are_much_quicker_than_the_sheet(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(BOOT, "front-left", grade="dangerous"))
    first = api.get(url(cast)).json()["looks"][0]
    alone = first["checks_alone"]
    assert alone["minutes"] < first["minutes"] / 2
    assert {check["check"].partition(".")[0] for check in alone["checks"]} == {part["part"] for part in first["parts"]}


@pytest.mark.parametrize(("km_a_year", "code"), [(1_500, "at-least-so-often"), (45_000, "not-more-often")])
def test_little_and_much_driving_are_kept_within_three_months_and_two_years(
    api: Any, cast: Cast, km_a_year: int, code: str
) -> None:
    vehicle = factories.vehicle(cast.fleet, name="Driven", first_used_on=today() - timedelta(3_650))
    for years in range(10, -1, -1):
        km = Decimal(km_a_year * (10 - years))
        record_odometer(cast.access, vehicle, read_on=today() - timedelta(365 * years), shown_km=km)
    recent(vehicle, cast, result(BOOT, "front-left", grade="sound"), days_ago=0, km=km_a_year * 10)
    parts = api.get(url(cast, vehicle)).json()["parts"]
    assert code in {part["because"]["code"] for part in parts}
    assert all(1 <= part["interval_months"] <= 24 for part in parts)


def test_parts_that_show_nothing_are_named_and_have_no_look(api: Any, cast: Cast) -> None:
    body = api.get(url(cast)).json()
    hidden = {part["part"] for part in body["nothing_to_see"]}
    assert hidden == {
        default_catalogue().slots[row].part_key
        for row in default_catalogue().applicable_slots(cast.vehicle.traits)
        if default_catalogue().slots[row].part_key in default_catalogue().hidden_parts
    }
    assert not hidden & {part["part"] for part in body["parts"]}


@pytest.mark.parametrize("count", [1, 20])
def test_it_takes_the_same_number_of_queries_after_one_inspection_and_after_twenty(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    for number in range(count):
        recent(cast.vehicle, cast, result(BOOT, "front-left", grade="minor"), days_ago=50 - number, km=180_000 + number)
    client = client_of(Role.VIEWER)
    client.get(url(cast))
    # The key, the vehicle, what the judge loads (9).
    with django_assert_num_queries(11):
        assert client.get(url(cast)).status_code == 200
