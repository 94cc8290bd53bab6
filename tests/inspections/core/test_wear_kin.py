"""Parts of one kind at one vehicle tell each other how unevenly they wear."""

import numpy as np
import pytest

from inspections.core.wear import WearReadings, forecast_wear
from inspections.core.wear_grid import ROUGHNESS_WEIGHTS
from inspections.core.wear_kin import series_with_kin, weights_by_kin
from tests.benchmarks.judge_wear.worn_parts import WORLDS, forecast_errors
from tests.inspections.core.test_wear import figures, notes, pads, together

CLOCKS = np.arange(1.0, 9.0) * 2_500.0


def at_level(levels: np.ndarray, series: int) -> WearReadings:
    return notes(*zip(CLOCKS, levels, strict=True), series=series)


EVEN = 12.0 - 9.0 * CLOCKS / 60_000.0
UNEVEN = 12.0 - 9.0 * np.cumsum([0.0, 0.0, 2.6, 2.6, 0.0, 0.0, 2.6, 2.6]) * 2_500.0 / 60_000.0


def limit_width_km(readings: WearReadings, count: int) -> float:
    forecast = forecast_wear(pads(life_km=[60_000.0] * count), readings, kin=np.zeros(count, dtype=np.int64))
    return float(forecast.limit_in_km.high[0] - forecast.limit_in_km.low[0])


def test_kin_that_wear_evenly_narrow_the_interval_and_kin_that_do_not_widen_it() -> None:
    mine = at_level(EVEN, 0)
    alone = limit_width_km(mine, 1)
    beside_even = limit_width_km(together(mine, *(at_level(EVEN, row) for row in (1, 2, 3))), 4)
    beside_uneven = limit_width_km(together(mine, *(at_level(UNEVEN, row) for row in (1, 2, 3))), 4)
    assert beside_even < 0.97 * alone
    assert beside_uneven > 1.03 * alone


def test_parts_without_kin_are_judged_as_if_by_themselves() -> None:
    readings = together(at_level(EVEN, 0), at_level(UNEVEN, 1))
    series = pads(life_km=[60_000.0, 60_000.0])
    apart, plain = forecast_wear(series, readings, kin=np.array([7, 3])), forecast_wear(series, readings)
    for row in range(2):
        assert np.array_equal(figures(apart, row), figures(plain, row))


def test_kin_that_were_never_measured_change_nothing() -> None:
    series = pads(life_km=[60_000.0, 60_000.0, 60_000.0])
    readings = at_level(UNEVEN, 0)
    together_, plain = forecast_wear(series, readings, kin=np.zeros(3, dtype=np.int64)), forecast_wear(series, readings)
    assert figures(together_, 0) == pytest.approx(figures(plain, 0), rel=1e-6)


def test_a_part_renewed_unrecorded_does_not_make_its_kin_look_uneven() -> None:
    renewed = np.concatenate([EVEN[:5], 12.0 - 9.0 * CLOCKS[:3] / 60_000.0])
    mine = at_level(EVEN, 0)
    beside = limit_width_km(together(mine, at_level(renewed, 1)), 2)
    assert beside == pytest.approx(limit_width_km(mine, 1), rel=1e-6)


def test_a_series_is_believed_what_the_others_of_its_kin_say_and_not_what_it_says_itself() -> None:
    evidence = np.log(
        np.array([[4.0, 2.0, 1.0, 0.5], [1.0, 1.0, 3.0, 1.0], [9.0, 1.0, 1.0, 1.0], [2.0, 5.0, 1.0, 1.0]])
    )
    weight = weights_by_kin(np.array([5, 5, 8, 5]), evidence)
    expected = ROUGHNESS_WEIGHTS * [2.0, 5.0, 3.0, 1.0]
    assert weight[0] == pytest.approx(expected / expected.sum())
    assert weight[2] == pytest.approx(ROUGHNESS_WEIGHTS)
    assert weight.sum(axis=1) == pytest.approx(1.0)
    assert series_with_kin(np.array([5, 5, 8, 5])).tolist() == [0, 1, 3]


def test_four_of_a_kind_bring_even_wear_nearer_to_what_the_interval_promises() -> None:
    """1,200 parts a world: a standard error of about 1 point; ten readings of even wear are over-covered alone."""
    alone = forecast_errors(WORLDS["smooth wear"], 10, 1200, seed=43)["coverage_fraction"]
    kin = forecast_errors(WORLDS["smooth wear, four of a kind"], 10, 1200, seed=43)["coverage_fraction"]
    assert kin < alone - 0.02
    assert 0.75 <= forecast_errors(WORLDS["as assumed, four of a kind"], 10, 1200, seed=43)["coverage_fraction"] <= 0.83
