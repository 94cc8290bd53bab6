"""Fuel fills over the API: litres and gallons, with and without an odometer, sent again, taken back."""

import uuid
from typing import Any

import pytest

from fleetcare.fleet.models import FuelFill, OdometerReading
from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import Cast

BODY = {"filled_on": "2024-06-01", "odometer_km": 121_000, "litres": 41.5, "full": True}


def url(cast: Cast, *rest: object) -> str:
    return "/".join([f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}", *map(str, rest), ""])


def faults(response: Any) -> dict[str, str]:
    assert response.status_code == 400, response.json()
    return {fault["pointer"]: fault["code"] for fault in response.json()["errors"]}


def without(*names: str, **more: Any) -> dict[str, Any]:
    return {**{name: value for name, value in BODY.items() if name not in names}, **more}


def test_a_fill_is_stored_with_its_reading_and_read_back(api: Any, cast: Cast) -> None:
    sent = {**BODY, "price": {"amount": "70.14", "currency": "EUR"}, "note": "motorway", "missed_before": True}
    answer = api.post(url(cast, "fuel"), sent)
    assert answer.status_code == 201
    assert answer.json() == {**sent, "id": answer.json()["id"], "total_km": 121_000}
    assert api.get(answer["Location"]).json() == answer.json()
    assert api.get(url(cast, "fuel")).json()["items"] == [answer.json()]
    (reading,) = api.get(url(cast, "odometer")).json()["items"]
    assert (reading["odometer_km"], reading["source"]) == (121_000, "fuel")
    assert api.get(url(cast)).json()["odometer_km"] == 121_000


@pytest.mark.parametrize(
    ("value", "unit", "litres"),
    [
        # 231 cubic inches and 4.54609 L by definition: NIST Special Publication 811, appendix B.8 (status read).
        (10, "gal_us", 37.854),
        (10, "gal_imperial", 45.461),
        (37.854, "L", 37.854),
    ],
)
def test_gallons_of_both_kinds_are_taken_and_kept_as_litres(
    api: Any, cast: Cast, value: float, unit: str, litres: float
) -> None:
    answer = api.post(url(cast, "fuel"), without("litres", volume={"value": value, "unit": unit}))
    assert answer.json()["litres"] == litres


def test_miles_are_taken(api: Any, cast: Cast) -> None:
    answer = api.post(url(cast, "fuel"), without("odometer_km", odometer={"value": 100_000, "unit": "mi"}))
    assert answer.json()["odometer_km"] == 160_934.4


def test_a_fill_without_an_odometer_is_kept_and_makes_no_reading(api: Any, cast: Cast) -> None:
    answer = api.post(url(cast, "fuel"), without("odometer_km"))
    assert (answer.status_code, answer.json()["odometer_km"]) == (201, None)
    assert not OdometerReading.objects.within(cast.fleet).exists()


BAD = [
    ({"filled_on": "2999-01-01"}, {"/filled_on": "future"}),
    ({"filled_on": "2001-01-01"}, {"/filled_on": "before-first-use"}),
    ({"litres": 0}, {"/litres": "range"}),
    ({"litres": -3}, {"/litres": "min-value"}),
    ({"litres": 501}, {"/litres": "range"}),
    ({"litres": "41"}, {"/litres": "not-a-number"}),
    ({"litres": 41.12345}, {"/litres": "max-decimal-places"}),
    ({"litres": None}, {"/litres": "null"}),
    ({"volume": {"value": 9, "unit": "gal_us"}}, {"/volume": "twice"}),
    ({"odometer_km": -1}, {"/odometer_km": "min-value"}),
    ({"odometer_km": 6_000_000}, {"/odometer_km": "range"}),
    ({"full": "perhaps"}, {"/full": "invalid"}),
    ({"price": {"amount": "-1", "currency": "EUR"}}, {"/price/amount": "invalid"}),
    ({"price": {"amount": "1.00", "currency": "USD"}}, {"/price/currency": "other-currency"}),
    ({"colour": "red"}, {"/colour": "unknown"}),
    ({"filled_on": "x", "full": None}, {"/filled_on": "invalid", "/full": "null"}),
]


@pytest.mark.parametrize(("change", "expected"), BAD)
def test_bad_input_names_each_place_and_stores_nothing(api: Any, cast: Cast, change: Any, expected: Any) -> None:
    assert faults(api.post(url(cast, "fuel"), {**BODY, **change})) == expected
    assert not FuelFill.objects.within(cast.fleet).exists()
    assert not OdometerReading.objects.within(cast.fleet).exists()


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        (without("litres"), {"/litres": "required"}),
        (without("litres", volume={"value": 0, "unit": "gal_us"}), {"/volume/value": "range"}),
        (without("litres", volume={"value": 9, "unit": "barrel"}), {"/volume/unit": "invalid-choice"}),
        (without("odometer_km", filled_on="2999-01-01"), {"/filled_on": "future"}),
        (without("full"), {"/full": "required"}),
    ],
)
def test_what_is_missing_or_in_another_form_is_named_where_it_was_written(
    api: Any, cast: Cast, body: Any, expected: Any
) -> None:
    assert faults(api.post(url(cast, "fuel"), body)) == expected


def test_an_odometer_that_runs_backwards_stores_no_fill(api: Any, cast: Cast) -> None:
    api.post(url(cast, "odometer"), {"read_on": "2024-05-01", "odometer_km": 130_000})
    assert faults(api.post(url(cast, "fuel"), BODY)) == {"/odometer_km": "runs-backwards"}
    miles = without("odometer_km", odometer={"value": 10, "unit": "mi"})
    assert faults(api.post(url(cast, "fuel"), miles)) == {"/odometer/value": "runs-backwards"}
    assert not FuelFill.objects.within(cast.fleet).exists()


def test_an_electric_vehicle_takes_no_fuel(api: Any, cast: Cast) -> None:
    electric = factories.vehicle(cast.fleet, name="Electric", traits={"fuel": "electric"})
    address = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{electric.pk}/fuel/"
    response = api.post(address, BODY)
    assert faults(response) == {"/litres": "electric"}
    assert "electric" in response.json()["detail"]
    assert not OdometerReading.objects.within(cast.fleet).exists()


def test_the_same_fill_twice_is_a_conflict(api: Any, cast: Cast) -> None:
    assert [api.post(url(cast, "fuel"), BODY).status_code for _ in range(2)] == [201, 409]
    assert FuelFill.objects.within(cast.fleet).count() == 1


def test_a_fill_with_the_clients_id_repeats_safely_and_never_overwrites(api: Any, cast: Cast) -> None:
    sent = {**BODY, "id": str(uuid.uuid4())}
    answers = [api.post(url(cast, "fuel"), sent) for _ in range(3)]
    assert [answer.status_code for answer in answers] == [201, 200, 200]
    assert len({answer.content for answer in answers}) == 1
    for change in ({"litres": 12}, {"odometer_km": 121_001}, {"note": "other"}, {"full": False}):
        assert api.post(url(cast, "fuel"), {**sent, **change}).status_code == 409
    assert FuelFill.objects.within(cast.fleet).count() == OdometerReading.objects.within(cast.fleet).count() == 1


def test_an_id_of_another_fleets_fill_is_refused_and_leaves_it_alone(
    api: Any, cast: Cast, strangers: Cast, client_of: Any
) -> None:
    theirs = client_of(of=strangers).post(url(strangers, "fuel"), BODY).json()
    assert api.post(url(cast, "fuel"), {**BODY, "id": theirs["id"], "litres": 7}).status_code == 409
    assert not FuelFill.objects.within(cast.fleet).exists()
    assert float(FuelFill.objects.within(strangers.fleet).get().litres) == 41.5


def test_a_fill_taken_back_takes_its_reading_along(api: Any, cast: Cast) -> None:
    api.post(url(cast, "odometer"), {"read_on": "2024-05-01", "odometer_km": 120_000})
    at = api.post(url(cast, "fuel"), BODY)["Location"]
    assert api.delete(at).status_code == 204
    assert api.get(at).status_code == 404
    assert api.get(url(cast)).json()["odometer_km"] == 120_000


def test_a_reading_that_was_there_before_or_that_an_inspection_needs_stays(api: Any, cast: Cast) -> None:
    api.post(url(cast, "odometer"), {"read_on": BODY["filled_on"], "odometer_km": BODY["odometer_km"]})
    assert api.delete(api.post(url(cast, "fuel"), BODY)["Location"]).status_code == 204
    assert OdometerReading.objects.within(cast.fleet).count() == 1
    later = {"filled_on": "2024-07-01", "odometer_km": 122_000}
    at = api.post(url(cast, "fuel"), {**BODY, **later})["Location"]
    look = {"check": "outer-driveshaft-boot.condition", "position": "front-right", "grade": "sound"}
    seen = {"inspected_on": "2024-07-01", "odometer_km": 122_000, "results": [look]}
    assert api.post(url(cast, "inspections"), seen).status_code == 201
    assert api.delete(at).status_code == 204
    assert OdometerReading.objects.within(cast.fleet).count() == 2


def test_a_reading_that_a_fill_rests_on_cannot_be_taken_back_first(api: Any, cast: Cast) -> None:
    api.post(url(cast, "fuel"), BODY)
    (reading,) = api.get(url(cast, "odometer")).json()["items"]
    refused = api.delete(url(cast, "odometer", reading["id"]))
    assert (refused.status_code, refused.json()["type"].rpartition(":")[2]) == (409, "reading-in-use")
    assert FuelFill.objects.within(cast.fleet).get().reading is not None


def test_every_fill_marks_the_vehicles_figures_as_stale(api: Any, cast: Cast) -> None:
    before = cast.vehicle.standing.revision
    at = api.post(url(cast, "fuel"), without("odometer_km"))["Location"]
    cast.vehicle.standing.refresh_from_db()
    assert cast.vehicle.standing.revision == before + 1
    api.delete(at)
    cast.vehicle.standing.refresh_from_db()
    assert cast.vehicle.standing.revision == before + 2


@pytest.mark.parametrize("count", [2, 20])
def test_the_list_takes_three_queries_at_any_length(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.INSPECTOR)
    for number in range(count):
        assert client.post(url(cast, "fuel"), {**BODY, "odometer_km": 121_000 + number}).status_code == 201
    # The key with its fleet; the vehicle; the fills with their readings.
    with django_assert_num_queries(3):
        assert len(client.get(url(cast, "fuel")).json()["items"]) == count
