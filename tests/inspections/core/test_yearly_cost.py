"""What the coming year is expected to cost."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.types import CostBook, Residuals
from inspections.core.yearly_cost import ROWS_AT_ONCE, next_year_cost
from tests.inspections.core.mechanics_book import BALL_JOINT, cells, costs


def one_way(major: float, dangerous: float, failure: float) -> Residuals:
    """A part whose future is certain."""
    return Residuals(*(np.array([[each]]) for each in (1.0, 0.0, major, dangerous, failure)))


def year(residuals: Residuals, km: float, **options: float) -> float:
    return float(next_year_cost(residuals, costs(), cells([BALL_JOINT], 0.0, km_per_month=km / 12.0), **options)[0])


def test_a_part_that_outlasts_the_year_in_good_order_costs_nothing() -> None:
    assert year(one_way(20_000.0, 25_000.0, 30_000.0), 12_000.0) == 0.0


def test_a_part_that_turns_major_costs_its_job_and_the_exposure_until_the_year_is_over() -> None:
    assert year(one_way(10_000.0, 15_000.0, 20_000.0), 12_000.0) == pytest.approx(18_000.0 + 0.4 * 2_000.0)


def test_a_part_that_fails_costs_the_failure_and_the_exposure_until_then() -> None:
    by_hand = (1.45 * 18_000.0 + 19_000.0) + 0.4 * 5_000.0 + 4.0 * 2_000.0
    assert year(one_way(1_000.0, 6_000.0, 8_000.0), 12_000.0) == pytest.approx(by_hand)


def test_exposure_is_charged_by_the_km_driven_not_by_the_clock() -> None:
    still = year(one_way(0.0, 0.0, 20_000.0), 12_000.0, driven_km_per_clock_km=0.0)
    driven = year(one_way(0.0, 0.0, 20_000.0), 12_000.0, driven_km_per_clock_km=1.5)
    assert still == pytest.approx(18_000.0)
    assert driven == pytest.approx(18_000.0 + 1.5 * 4.0 * 12_000.0)


distance = st.floats(0.0, 40_000.0)


@given(st.lists(st.tuples(st.floats(0.01, 1.0), distance, distance, distance), min_size=1, max_size=6))
@settings(deadline=None)
def test_the_expectation_is_the_average_over_the_possibilities(atoms: list[tuple[float, float, float, float]]) -> None:
    """One possibility after the other, in plain arithmetic."""
    weights = [each[0] for each in atoms]
    total, expected = sum(weights), 0.0
    columns = [sorted(each[1:]) for each in atoms]
    for weight, (major, dangerous, failure) in zip(weights, columns, strict=True):
        end = min(12_000.0, failure)
        job = 45_100.0 if failure <= 12_000.0 else (18_000.0 if major <= 12_000.0 else 0.0)
        bad = 4.0 * max(end - dangerous, 0.0) + 0.4 * max(min(dangerous, end) - major, 0.0)
        expected += weight / total * (job + bad)
    rows = np.array(columns)
    whole = Residuals(np.array([weights]) / total, np.zeros((1, len(atoms))), *(rows[:, k][None, :] for k in range(3)))
    assert year(whole, 12_000.0) == pytest.approx(expected)


@given(
    st.lists(st.tuples(distance, distance, distance), min_size=1, max_size=6), st.floats(1e3, 3e4), st.floats(0, 2e4)
)
@settings(deadline=None)
def test_driving_more_never_costs_less(ways: list[tuple[float, float, float]], km: float, more: float) -> None:
    rows = np.sort(np.array(ways), axis=1)
    weight = np.full((1, len(ways)), 1.0 / len(ways))
    some = Residuals(weight, np.zeros_like(weight), *(rows[:, k][None, :] for k in range(3)))
    assert year(some, km + more) >= year(some, km) - 1e-6


def test_many_parts_cost_what_each_costs_alone() -> None:
    rng = np.random.default_rng(0)
    count = 2 * ROWS_AT_ONCE + 7
    weight = rng.random((count, 5))
    weight /= weight.sum(axis=1, keepdims=True)
    ways = np.sort(rng.uniform(0.0, 40_000.0, (4, count, 5)), axis=0)
    together = next_year_cost(Residuals(weight, *ways), costs(), cells([BALL_JOINT] * count, 0.0))
    for row in (0, ROWS_AT_ONCE, count - 1):
        alone = Residuals(weight[[row]], *ways[:, [row]])
        assert next_year_cost(alone, costs(), cells([BALL_JOINT], 0.0)) == together[row]


def test_dearer_money_scales_the_cost() -> None:
    prices = costs()
    dearer = CostBook(
        *(3.0 * getattr(prices, name) for name in CostBook.__slots__ if name != "safety"), safety=prices.safety
    )
    some, part = one_way(1_000.0, 6_000.0, 8_000.0), cells([BALL_JOINT], 0.0)
    assert next_year_cost(some, dearer, part) == pytest.approx(3.0 * next_year_cost(some, prices, part))
