"""Consumption over the API: litres between full tanks, means, miles per gallon, and a rise with its date."""

import uuid
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from fleetcare.fleet.words import Role
from fleetcare.support.bell import bell_held
from inspections.services.fuel import fuel_use
from tests import factories
from tests.conftest import Cast, make_cast
from tests.fleetcare.fleet.given import fill
from tests.inspections.fuel_books import START, fuel_book, steady_then_thirsty


def url(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/fuel/consumption/"


def burnt(answer: dict[str, Any]) -> list[float]:
    return [each["litres_per_100_km"] for each in answer["intervals"]]


def test_partial_fills_belong_to_the_next_full_one_and_a_missed_fill_breaks_the_chain(api: Any, cast: Cast) -> None:
    fuel_book(
        cast,
        [
            (0, 1_000, 40, True, False),
            (10, 1_500, 30, True, False),
            (20, 1_800, 10, False, False),
            (30, 2_100, 38, True, False),
            (40, 3_000, 40, True, True),
            (50, 3_400, 40, True, False),
        ],
    )
    answer = api.get(url(cast)).json()
    # Newest first: 40 L over 400 km; (10 + 38) L over 600 km; 30 L over 500 km. That with the missed fill is left out.
    assert burnt(answer) == [10.0, 8.0, 6.0]
    assert [each["to_on"] for each in answer["intervals"]] == ["2022-02-20", "2022-01-31", "2022-01-11"]
    assert answer["mean"]["litres_per_100_km"] == round(100 * 118 / 1_500, 3)
    assert answer["rise"] is None


def test_the_mean_is_litres_over_distance_and_not_a_mean_of_miles_per_gallon(api: Any, cast: Cast) -> None:
    # 20 and 30 miles per US gallon over equal distances are 24, not 25; and 24 are 9.8 L/100 km
    # (NIST Special Publication 811, appendix B.5; status read).
    gallons = [500 / 20, 500 / 30]
    road = [(0, 0.0, 40.0), (30, 500.0, gallons[0] * 3.785411784), (60, 1_000.0, gallons[1] * 3.785411784)]
    for day, miles, litres in road:
        body = {
            "filled_on": (START + timedelta(day)).isoformat(),
            "odometer": {"value": miles, "unit": "mi"},
            "litres": round(litres, 3),
            "full": True,
        }
        assert api.post(url(cast).removesuffix("consumption/"), body).status_code == 201
    answer = api.get(url(cast)).json()
    assert [each["mpg_us"] for each in answer["intervals"]] == [30.0, 20.0]
    assert answer["mean"]["mpg_us"] == 24.0
    assert answer["mean"]["litres_per_100_km"] == pytest.approx(9.8, abs=0.001)
    # 24 per US gallon are 28.82 per imperial one: 4.54609 / 3.785411784 (exact definitions; status computed).
    assert answer["mean"]["mpg_imperial"] == pytest.approx(28.82, abs=0.01)


def test_a_fill_at_an_unread_odometer_lends_its_litres_to_the_next(api: Any, cast: Cast) -> None:
    fuel_book(cast, [(0, 1_000, 40, True, False), (20, 2_000, 50, True, False)])
    fill(cast.access, cast.vehicle, filled_on=START + timedelta(10), shown_km=None, litres=Decimal(30))
    assert burnt(api.get(url(cast)).json()) == [8.0]


def test_two_fills_of_one_day_count_in_the_order_of_the_road(api: Any, cast: Cast) -> None:
    fuel_book(cast, [(0, 1_000, 40, True, False), (5, 2_000, 70, True, False), (5, 1_500, 40, True, False)])
    assert burnt(api.get(url(cast)).json()) == [14.0, 8.0]


def test_without_two_full_tanks_there_is_nothing_to_tell(api: Any, cast: Cast) -> None:
    fuel_book(cast, [(0, 1_000, 40, True, False)])
    empty = {"intervals": [], "mean": None, "usual": None, "recent": None, "rise": None}
    assert api.get(url(cast)).json() == empty


def test_a_lasting_rise_is_told_with_its_date_and_size(api: Any, cast: Cast) -> None:
    risen_on = steady_then_thirsty(cast, 60, 0.15)
    answer = api.get(url(cast)).json()
    rise = answer["rise"]
    assert abs(date.fromisoformat(rise["since_on"]) - risen_on) <= timedelta(40)
    assert rise["rise_fraction"] == pytest.approx(0.15, abs=0.04)
    assert rise["interval"]["low"] < rise["rise_fraction"] < rise["interval"]["high"]
    assert answer["recent"]["litres_per_100_km"] > 1.08 * answer["usual"]["litres_per_100_km"]


def test_steady_consumption_is_no_rise(api: Any, cast: Cast) -> None:
    steady_then_thirsty(cast, 60, 0.0)
    answer = api.get(url(cast)).json()
    assert answer["rise"] is None
    assert answer["usual"]["litres_per_100_km"] == pytest.approx(7.0, rel=0.03)


def test_vehicles_of_a_batch_keep_their_own_rows(cast: Cast, strangers: Cast) -> None:
    other = factories.vehicle(cast.fleet, name="Other")
    none = factories.vehicle(cast.fleet, name="None")
    fuel_book(cast, [(0, 1_000, 40, True, False), (10, 1_500, 30, True, False)])
    fuel_book(strangers, [(0, 1_000, 40, True, False), (10, 1_500, 99, True, False)])
    with bell_held():
        for day, km in ((0, 10), (9, 510)):
            fill(cast.access, other, filled_on=START + timedelta(day), shown_km=Decimal(km), litres=Decimal(45))
    use = fuel_use(cast.fleet, [none, other, cast.vehicle])
    assert use.intervals.vehicle.tolist() == [1, 2]
    assert use.intervals.litres_per_100_km.tolist() == [9.0, 6.0]
    assert use.trend.intervals.tolist() == [0, 1, 1]


@pytest.mark.parametrize("count", [2, 30])
def test_consumption_takes_three_queries_at_any_length(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.VIEWER)
    fuel_book(cast, [(10 * n, 1_000 + 500 * n, 35, True, False) for n in range(count)])
    client.get(url(cast))
    # The key with its fleet; the vehicle; the fills with their readings.
    with django_assert_num_queries(3):
        assert len(client.get(url(cast)).json()["intervals"]) == count - 1


class TestAnyBook(TestCase):
    @settings(max_examples=25, deadline=None)
    @given(
        st.lists(
            st.tuples(st.integers(1, 900), st.integers(1, 80), st.booleans(), st.booleans()), min_size=1, max_size=10
        )
    )
    def test_no_litre_is_counted_twice_and_no_kilometre_invented(self, legs: list[tuple[int, int, bool, bool]]) -> None:
        cast = make_cast(f"Fleet{uuid.uuid4().hex}")
        km = np.cumsum([leg[0] for leg in legs]).tolist()
        fuel_book(cast, [(n, km[n], litres, full, missed) for n, (_, litres, full, missed) in enumerate(legs)])
        intervals = fuel_use(cast.fleet, [cast.vehicle]).intervals
        assert intervals.litres.sum() <= sum(leg[1] for leg in legs[1:])
        assert intervals.distance_km.sum() <= km[-1] - km[0]
        assert (intervals.distance_km > 0).all()
        assert (intervals.from_day[1:] >= intervals.to_day[:-1]).all()
