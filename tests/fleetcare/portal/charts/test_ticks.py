"""Marks of an axis are round and few."""

from datetime import date

import pytest

from fleetcare.portal.charts.ticks import day_ticks, round_ticks


@pytest.mark.parametrize(
    ("low", "high", "most", "ticks"),
    [
        (0.0, 100.0, 6, [0, 20, 40, 60, 80, 100]),
        (0.0, 1.0, 6, [0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (0.0, 13.4, 5, [0, 5, 10]),
        (187_450.0, 214_000.0, 5, [190_000, 200_000, 210_000]),
        (-3.0, 3.0, 4, [-2, 0, 2]),
        (99.0, 101.0, 3, [99, 100, 101]),
    ],
)
def test_ticks_are_round_figures_inside_the_axis(low: float, high: float, most: int, ticks: list[float]) -> None:
    assert round_ticks(low, high, most) == pytest.approx(ticks)


@pytest.mark.parametrize(("low", "high"), [(1.0, 1.0), (2.0, 1.0), (float("nan"), 1.0), (0.0, float("inf"))])
def test_an_axis_without_extent_has_no_ticks_and_says_so(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="no ticks"):
        round_ticks(low, high)


@pytest.mark.parametrize(
    ("first", "last", "days"),
    [
        (date(2026, 1, 10), date(2026, 4, 2), [date(2026, 2, 1), date(2026, 3, 1), date(2026, 4, 1)]),
        (date(2022, 9, 12), date(2026, 11, 25), [date(year, 1, 1) for year in (2023, 2024, 2025, 2026)]),
        (date(1990, 1, 1), date(2026, 11, 25), [date(year, 1, 1) for year in (1990, 2000, 2010, 2020)]),
        (date(2026, 3, 2), date(2026, 3, 30), []),
    ],
)
def test_days_are_marked_at_firsts_of_months_or_years(first: date, last: date, days: list[date]) -> None:
    assert day_ticks(first, last, 5) == days
