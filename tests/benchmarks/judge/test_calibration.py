"""The benchmark's short form: the judge's forecasts in worlds made by other rules than it assumes."""

import numpy as np
import pytest

from tests.benchmarks.judge.calibration import (
    Recorded,
    by_grade_table,
    by_life_filter,
    interval_coverage,
    order_of_vehicles,
    outcomes,
    worlds,
)
from tests.benchmarks.judge.measures import area_under_curve, average_rank, brier_skill, predicted_over_observed


@pytest.fixture(scope="module")
def recorded() -> list[Recorded]:
    return worlds(range(100, 103), 25)


def test_forecast_failures_are_about_as_many_as_come_and_tell_parts_apart(recorded: list[Recorded]) -> None:
    found = outcomes(recorded, by_life_filter)
    assert found.failed.sum() > 300
    assert 0.85 < predicted_over_observed(found.chance, found.failed) < 1.15
    assert brier_skill(found.chance, found.failed) > 0.30
    assert area_under_curve(found.chance, found.failed) > 0.92


def test_the_grade_table_is_about_as_true(recorded: list[Recorded]) -> None:
    found = outcomes(recorded, by_grade_table)
    assert 0.8 < predicted_over_observed(found.chance, found.failed) < 1.2
    assert brier_skill(found.chance, found.failed) > 0.30


@pytest.mark.parametrize("life", [0.5, 2.0])
def test_a_book_whose_lives_are_off_by_two_still_tells_parts_apart(recorded: list[Recorded], life: float) -> None:
    found = outcomes(recorded, by_life_filter, life=life)
    assert brier_skill(found.chance, found.failed) > 0.20


def test_the_score_holds_its_interval_and_the_forecast_orders_vehicles_best(recorded: list[Recorded]) -> None:
    held = interval_coverage(recorded, 0.3, np.random.default_rng(0))
    assert 0.70 < held["held_fraction"] < 0.92
    order = order_of_vehicles(recorded)
    assert order["forecast_at_own_km"] > 0.7
    assert order["forecast_at_own_km"] > order["score"]
    assert 0.8 < order["forecast_over_true_cost"] < 1.2


def test_the_measures_know_a_perfect_forecast_a_constant_one_and_ties() -> None:
    happened = np.array([True, False, False, True])
    assert brier_skill(happened.astype(float), happened) == 1.0
    assert brier_skill(np.full(4, 0.5), happened) == 0.0
    assert area_under_curve(np.full(4, 0.5), happened) == 0.5
    assert area_under_curve(np.array([0.9, 0.1, 0.2, 0.8]), happened) == 1.0
    assert np.array_equal(average_rank(np.array([3.0, 1.0, 3.0])), [2.5, 1.0, 2.5])
