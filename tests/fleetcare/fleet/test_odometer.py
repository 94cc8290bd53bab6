"""Odometer readings: typing errors are caught against the neighbours, replaced odometers carried on."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from fleetcare.fleet.models import OdometerReading
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.kernel.errors import InvalidInput
from tests.conftest import Cast, make_cast
from tests.inspections.given import inspect


def url(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/odometer/"


def fault(response: Any) -> tuple[str, str, str]:
    (only,) = response.json()["errors"]
    return only["pointer"], only["code"], only["detail"]


def test_kilometres_and_miles_are_taken_and_kept_to_the_metre(api: Any, cast: Cast) -> None:
    api.post(url(cast), {"read_on": "2020-01-01", "odometer_km": 146000})
    answer = api.post(url(cast), {"read_on": "2020-02-01", "odometer": {"value": 91000, "unit": "mi"}})
    # 91,000 international miles of 1,609.344 m.
    assert answer.json()["odometer_km"] == 146450.304
    vehicle = api.get(url(cast).removesuffix("odometer/")).json()
    assert (vehicle["odometer_km"], vehicle["odometer_on"]) == (146450.304, "2020-02-01")


def test_running_backwards_is_refused_and_names_both_neighbours(api: Any, cast: Cast) -> None:
    for day, km in (("2020-01-01", 100_000), ("2021-01-01", 112_000)):
        assert api.post(url(cast), {"read_on": day, "odometer_km": km}).status_code == 201
    pointer, code, detail = fault(api.post(url(cast), {"read_on": "2022-01-01", "odometer_km": 111_999}))
    assert (pointer, code) == ("/odometer_km", "runs-backwards")
    assert "112000 km on 2021-01-01" in detail
    _, _, detail = fault(api.post(url(cast), {"read_on": "2020-06-01", "odometer_km": 113_000}))
    assert "112000 km on 2021-01-01" in detail
    assert OdometerReading.objects.within(cast.fleet).count() == 2


def test_an_absurd_jump_is_refused_and_a_long_drive_is_not(api: Any, cast: Cast) -> None:
    api.post(url(cast), {"read_on": "2020-01-01", "odometer_km": 100_000})
    assert fault(api.post(url(cast), {"read_on": "2020-01-02", "odometer_km": 1_000_000}))[1] == "jumps"
    assert api.post(url(cast), {"read_on": "2020-01-02", "odometer_km": 101_500}).status_code == 201


def test_a_replaced_odometer_carries_the_distance_on(api: Any, cast: Cast) -> None:
    api.post(url(cast), {"read_on": "2020-01-01", "odometer_km": 250_000})
    api.post(url(cast), {"read_on": "2020-03-01", "odometer_km": 12, "replacement": True})
    later = api.post(url(cast), {"read_on": "2020-09-01", "odometer_km": 5_012}).json()
    assert (later["odometer_km"], later["total_km"]) == (5_012, 255_000)


def test_a_replacement_is_never_lost_behind_a_reading_of_the_same_day(api: Any, cast: Cast) -> None:
    api.post(url(cast), {"read_on": "2020-01-01", "odometer_km": 250_000})
    same_day = {"read_on": "2020-01-01", "odometer_km": 12, "replacement": True}
    assert fault(api.post(url(cast), same_day))[:2] == ("/odometer_km", "same-day")
    assert api.post(url(cast), {**same_day, "read_on": "2020-01-02"}).status_code == 201


def test_a_vehicle_goes_with_all_that_rests_on_it(cast: Cast) -> None:
    inspect(cast.access, cast.vehicle, grade="major")
    cast.vehicle.delete()
    assert not OdometerReading.objects.within(cast.fleet).exists()


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ({"read_on": "2999-01-01", "odometer_km": 5}, ("/read_on", "future")),
        ({"read_on": "2001-01-01", "odometer_km": 5}, ("/read_on", "before-first-use")),
        ({"read_on": "2020-01-01", "odometer_km": -5}, ("/odometer_km", "min-value")),
        ({"read_on": "2020-01-01", "odometer_km": 6_000_000}, ("/odometer_km", "range")),
        ({"read_on": "2020-01-01", "odometer_km": "5"}, ("/odometer_km", "not-a-number")),
        ({"read_on": "2020-01-01"}, ("/odometer_km", "required")),
        ({"read_on": "2020-01-01", "odometer": {"value": 5, "unit": "furlong"}}, ("/odometer/unit", "invalid-choice")),
        ({"read_on": "2020-01-01", "odometer_km": 5, "odometer": {"value": 5, "unit": "km"}}, ("/odometer", "twice")),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(api: Any, cast: Cast, body: Any, expected: Any) -> None:
    response = api.post(url(cast), body)
    assert response.status_code == 400
    assert fault(response)[:2] == expected
    assert not OdometerReading.objects.within(cast.fleet).exists()


def test_the_same_reading_again_is_the_same_row(api: Any, cast: Cast) -> None:
    body = {"read_on": "2020-01-01", "odometer_km": 100_000}
    assert api.post(url(cast), body).json()["id"] == api.post(url(cast), body).json()["id"]


def test_a_reading_taken_back_gives_the_vehicle_its_earlier_one(api: Any, cast: Cast) -> None:
    api.post(url(cast), {"read_on": "2020-01-01", "odometer_km": 100_000})
    wrong = api.post(url(cast), {"read_on": "2020-02-01", "odometer_km": 101_000}).json()["id"]
    assert api.delete(f"{url(cast)}{wrong}/").status_code == 204
    assert api.get(url(cast).removesuffix("odometer/")).json()["odometer_km"] == 100_000


def test_today_is_the_fleets_own_day(api: Any, cast: Cast, time_machine: Any) -> None:
    cast.fleet.time_zone = "Pacific/Kiritimati"
    cast.fleet.save()
    time_machine.move_to("2026-03-01T11:00:00Z", tick=False)
    # Fourteen hours ahead of UTC it is already the second of March.
    assert api.post(url(cast), {"read_on": "2026-03-02", "odometer_km": 7}).status_code == 201


class TestAnyOrder(TestCase):
    @settings(max_examples=40, deadline=None)
    @given(st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 400_000)), max_size=12))
    def test_whatever_is_typed_the_stored_road_never_runs_backwards(self, typed: list[tuple[int, int]]) -> None:
        OdometerReading.objects.all().delete()
        cast, codes = make_cast(f"Fleet{timezone.now().timestamp()}"), set[str]()
        for days, km in typed:
            try:
                record_odometer(
                    cast.access, cast.vehicle, read_on=date(2013, 1, 1) + timedelta(days), shown_km=Decimal(km)
                )
            except InvalidInput as error:
                codes.add(error.faults[0].code)
        road = OdometerReading.objects.within(cast.fleet).order_by("read_on", "total_km")
        distances = list(road.values_list("total_km", flat=True))
        assert distances == sorted(distances)
        assert codes <= {"runs-backwards", "jumps"}
