"""Fuel use between full fills, and the watch for a lasting rise."""

from dataclasses import fields

import numpy as np
import pint
import pytest

from inspections.core.fuel import FuelFills, FuelIntervals, consumption_between_fills
from inspections.core.fuel_rise import FuelTrend, fuel_trends
from tests.benchmarks.judge_wear.fuelled_vehicles import draw_fuel_book, rise_errors

PARTIAL, MISSED = "partial", "missed"


def book(*fills: tuple, vehicle: int = 0) -> FuelFills:
    """Fills as (day, odometer km, litres, words); full and unbroken unless a word says otherwise."""
    return FuelFills(
        vehicle=np.full(len(fills), vehicle),
        day=np.array([fill[0] for fill in fills], dtype=float),
        odometer_km=np.array([fill[1] for fill in fills], dtype=float),
        litres=np.array([fill[2] for fill in fills], dtype=float),
        full=np.array([PARTIAL not in fill[3:] for fill in fills], dtype=bool),
        missed_before=np.array([MISSED in fill[3:] for fill in fills], dtype=bool),
    )


def joined(*books: FuelFills) -> FuelFills:
    return FuelFills(*(np.concatenate([getattr(one, field.name) for one in books]) for field in fields(FuelFills)))


def steady_intervals(
    count: int, use: np.ndarray | float, *, every_days: float = 12.0, start: float = 0.0
) -> FuelIntervals:
    """Intervals of 500 km with a given consumption [L/100 km]."""
    day = start + every_days * np.arange(count + 1)
    return FuelIntervals(
        vehicle=np.zeros(count, dtype=int),
        from_day=day[:-1],
        to_day=day[1:],
        distance_km=np.full(count, 500.0),
        litres=5.0 * np.broadcast_to(use, (count,)),
    )


def trend_of(use: np.ndarray) -> FuelTrend:
    return fuel_trends(steady_intervals(len(use), use), 1)


def jittered(count: int, seed: int, sd: float = 0.04) -> np.ndarray:
    return 7.0 * np.exp(sd * np.random.default_rng(seed).standard_normal(count))


def test_twenty_four_miles_on_a_gallon_are_nine_point_eight_litres():
    """NIST SP 811, B.5: 24 mpg is 9.8 L/100 km. Status R; conversions by Pint."""
    unit = pint.UnitRegistry()
    km, litres = (24 * unit.mile).to("km").magnitude, (1 * unit.gallon).to("litre").magnitude
    result = consumption_between_fills(book((0, 0.0, 30.0), (1, km, litres)))
    assert round(float(result.litres_per_100_km[0]), 1) == 9.8


def test_twenty_and_thirty_miles_a_gallon_over_equal_distances_make_twenty_four():
    """Means of reciprocals are not reciprocals of means (C)."""
    unit = pint.UnitRegistry()
    mile, gallon = (1 * unit.mile).to("km").magnitude, (1 * unit.gallon).to("litre").magnitude
    parts = book((0, 0.0, 40.0), (5, 300 * mile, 15 * gallon), (9, 600 * mile, 10 * gallon))
    whole = book((0, 0.0, 40.0), (5, 300 * mile, 15 * gallon, PARTIAL), (9, 600 * mile, 10 * gallon))
    each, together = consumption_between_fills(parts), consumption_between_fills(whole)
    assert 235.214583333 / together.litres_per_100_km[0] == pytest.approx(24.0)
    assert each.litres_per_100_km.mean() == pytest.approx(together.litres_per_100_km[0])


def test_the_first_full_fill_only_starts_the_count():
    assert consumption_between_fills(book((0, 1_000.0, 40.0))).litres.tolist() == []
    result = consumption_between_fills(book((0, 1_000.0, 40.0), (10, 1_600.0, 42.0)))
    assert result.litres.tolist() == [42.0]
    assert result.distance_km.tolist() == [600.0]
    assert (result.from_day[0], result.to_day[0]) == (0.0, 10.0)


def test_partial_fills_add_to_the_next_full_one():
    result = consumption_between_fills(
        book((0, 0.0, 50.0), (4, 300.0, 10.0, PARTIAL), (6, 450.0, 8.0, PARTIAL), (9, 800.0, 38.0))
    )
    assert result.litres.tolist() == [56.0]
    assert result.litres_per_100_km.tolist() == [7.0]


def test_partial_fills_before_the_first_full_one_do_not_count():
    result = consumption_between_fills(book((0, 0.0, 15.0, PARTIAL), (3, 200.0, 35.0), (9, 700.0, 35.0)))
    assert result.litres_per_100_km.tolist() == [7.0]


@pytest.mark.parametrize("where", [1, 2])
def test_a_missed_fill_breaks_the_chain_until_the_next_full_tank(where):
    fills = [(0, 0.0, 50.0), (4, 300.0, 10.0, PARTIAL), (9, 800.0, 46.0), (15, 1_300.0, 35.0)]
    fills[where] = (*fills[where], MISSED)
    result = consumption_between_fills(book(*fills))
    assert result.to_day.tolist() == [15.0]
    assert result.litres_per_100_km.tolist() == [7.0]


def test_an_unknown_amount_breaks_the_chain_like_a_missed_fill():
    result = consumption_between_fills(
        book((0, 0.0, 50.0), (5, 500.0, np.nan), (9, 1_000.0, 35.0), (14, 1_500.0, 36.0))
    )
    assert result.litres.tolist() == [35.0, 36.0]


def test_an_odometer_that_did_not_move_gives_no_consumption():
    result = consumption_between_fills(book((0, 500.0, 50.0), (1, 500.0, 3.0), (9, 1_000.0, 35.0)))
    assert result.litres.tolist() == [35.0]


def test_vehicles_are_kept_apart_whatever_the_order_of_entry():
    first = book((0, 0.0, 50.0), (9, 500.0, 35.0))
    second = book((1, 100.0, 40.0), (8, 700.0, 60.0), (5, 400.0, 27.0, PARTIAL), vehicle=1)
    result = consumption_between_fills(joined(second, first))
    assert result.vehicle.tolist() == [0, 1]
    assert result.litres.tolist() == [35.0, 87.0]


def test_a_clean_step_is_found_dated_and_sized():
    use = jittered(60, seed=1)
    use[40:] *= 1.12
    trend = trend_of(use)
    assert trend.rise_standing[0]
    assert abs(trend.rise_since_day[0] - 40 * 12.0) <= 24.0
    assert trend.rise_fraction.low[0] < 0.12 < trend.rise_fraction.high[0]
    assert trend.rise_fraction.median[0] == pytest.approx(0.12, abs=0.03)
    assert trend.recent_litres_per_100_km[0] > 1.06 * trend.expected_litres_per_100_km[0]


def test_size_of_a_rise_is_that_of_a_regression_on_the_whole_series():
    """Against least squares with the same columns; the prior leaves a small difference."""
    use = jittered(80, seed=9, sd=0.02)
    use[55:] *= 1.15
    trend = trend_of(use)
    interval = steady_intervals(80, use)
    angle = 2.0 * np.pi * 0.5 * (interval.from_day + interval.to_day) / 365.25
    step = interval.from_day >= trend.rise_since_day[0]
    design = np.column_stack([np.ones(80), np.cos(angle), np.sin(angle), step])
    least_squares = np.linalg.lstsq(design, np.log(use), rcond=None)[0][-1]
    assert np.log1p(trend.rise_fraction.median[0]) == pytest.approx(least_squares, abs=0.006)


def test_steady_use_raises_no_alarm_and_is_known():
    trend = trend_of(jittered(100, seed=2))
    assert not trend.rise_standing[0]
    assert np.isnan(trend.rise_since_day[0])
    assert np.isnan(trend.rise_fraction.median[0])
    assert trend.expected_litres_per_100_km[0] == pytest.approx(7.0, rel=0.04)
    assert trend.intervals[0] == 100


def test_using_less_is_no_rise():
    use = jittered(60, seed=3)
    use[35:] *= 0.85
    assert not trend_of(use).rise_standing[0]


def test_one_wrong_amount_is_no_rise():
    use = jittered(60, seed=4)
    use[45] *= 1.8
    assert not trend_of(use).rise_standing[0]


def test_a_winter_is_no_rise_even_in_the_first_year():
    for years in (0.7, 1.0, 2.0):
        count = int(30 * years)
        day = 120.0 + 12.0 * np.arange(count)
        use = jittered(count, seed=5) * (1.0 + 0.08 * np.cos(2.0 * np.pi * (day - 15.0) / 365.25))
        assert not fuel_trends(steady_intervals(count, use, start=114.0), 1).rise_standing[0]


def test_a_rise_that_was_cured_is_withdrawn():
    use = jittered(90, seed=6)
    use[40:60] *= 1.2
    assert trend_of(use[:60]).rise_standing[0]
    assert not trend_of(use).rise_standing[0]


def test_a_second_rise_after_a_cure_is_found_again():
    use = jittered(130, seed=7)
    use[40:55] *= 1.2
    use[110:] *= 1.2
    trend = trend_of(use)
    assert trend.rise_standing[0]
    assert abs(trend.rise_since_day[0] - 110 * 12.0) <= 36.0


def test_too_few_fills_say_nothing():
    use = jittered(5, seed=8)
    use[3:] *= 1.5
    assert not trend_of(use).rise_standing[0]


def test_a_vehicle_without_intervals_has_no_figures_and_disturbs_no_other():
    alone = trend_of(jittered(40, seed=9))
    intervals = steady_intervals(40, jittered(40, seed=9))
    moved = FuelIntervals(np.full(40, 2), intervals.from_day, intervals.to_day, intervals.distance_km, intervals.litres)
    trend = fuel_trends(moved, 4)
    assert np.isnan(trend.expected_litres_per_100_km[[0, 1, 3]]).all()
    assert trend.intervals.tolist() == [0, 0, 40, 0]
    assert trend.expected_litres_per_100_km[2] == alone.expected_litres_per_100_km[0]


def test_long_and_short_fuel_books_are_judged_as_each_alone():
    long, short = jittered(70, seed=1), jittered(30, seed=2)
    long[50:] *= 1.15
    short[20:] *= 1.2
    first, second = steady_intervals(70, long), steady_intervals(30, short)
    both = FuelIntervals(
        np.repeat([0, 1], [70, 30]),
        *(np.concatenate([getattr(one, field.name) for one in (first, second)]) for field in fields(first)[1:]),
    )
    together, alone = fuel_trends(both, 2), [trend_of(long), trend_of(short)]
    for row, single in enumerate(alone):
        assert together.rise_standing[row]
        assert single.rise_standing[0]
        assert together.rise_since_day[row] == single.rise_since_day[0]
        assert together.rise_fraction.median[row] == pytest.approx(single.rise_fraction.median[0], rel=1e-6)
        assert together.recent_litres_per_100_km[row] == pytest.approx(single.recent_litres_per_100_km[0], rel=1e-9)


def test_twice_the_consumption_all_along_gives_the_same_alarms():
    found = draw_fuel_book(40, 3.0, 0.15, np.random.default_rng(1)).fills
    doubled = FuelFills(
        found.vehicle, found.day, found.odometer_km, 1.5 * found.litres, found.full, found.missed_before
    )
    here, there = (fuel_trends(consumption_between_fills(fills), 40) for fills in (found, doubled))
    assert (here.rise_standing == there.rise_standing).mean() > 0.95
    both = here.rise_standing & there.rise_standing
    assert there.rise_fraction.median[both] == pytest.approx(here.rise_fraction.median[both], abs=0.01)


def test_false_alarms_are_as_rare_and_rises_as_surely_found_as_is_said():
    """Promise: under 3 false alarms in 100 vehicle-years; nine rises of 12 % in ten found, half within four months."""
    figures = rise_errors(150, seed=3)
    assert figures["false_alarms_per_100_vehicle_years"] < 3.0
    assert figures["rise_found_fraction"] > 0.9
    assert figures["median_delay_days"] < 122.0
    assert figures["median_size_fraction"] == pytest.approx(0.12, abs=0.02)
    assert 0.72 < figures["size_coverage_fraction"] < 0.93
    assert figures["median_date_error_days"] < 21.0
    assert figures["standing_120_days_after_cure_fraction"] < 0.2
