"""Control charts: what they owe besides the published examples, which are in tests/reference."""

import numpy as np
import pytest
from scipy import stats

from inspections.core.control_chart import NO_SIGNAL, cusum, ewma

RNG_SEED = 11


def test_a_sum_never_falls_below_zero_and_a_series_on_target_never_signals():
    chart = cusum(np.full(500, 3.0), target=3.0, allowance=0.5, decision=4.0)
    assert not chart.upper.any()
    assert not chart.lower.any()
    assert chart.first_signal == NO_SIGNAL


def test_upward_and_downward_shifts_are_told_apart():
    down = cusum(np.r_[np.zeros(10), np.full(10, -2.0)], target=0.0, allowance=0.5, decision=4.0)
    assert down.first_signal == 12
    assert down.lower[12] == pytest.approx(4.5)
    assert not down.upper.any()


def test_many_series_at_once_give_what_each_gives_alone():
    values = np.random.default_rng(RNG_SEED).normal(0.4, 1.0, (5, 60))
    many = cusum(values, target=0.0, allowance=0.5, decision=4.0)
    smoothed = ewma(values, target=0.0, sd=1.0, share=0.2)
    for row, series in enumerate(values):
        alone = cusum(series, target=0.0, allowance=0.5, decision=4.0)
        assert np.array_equal(alone.upper, many.upper[row])
        assert alone.first_signal == many.first_signal[row]
        assert np.array_equal(ewma(series, target=0.0, sd=1.0, share=0.2).average, smoothed.average[row])


def test_a_missing_value_leaves_both_charts_where_they_were():
    values = np.array([1.0, 2.0, np.nan, 2.0])
    chart = cusum(values, target=0.0, allowance=0.5, decision=99.0)
    assert chart.upper[2] == chart.upper[1]
    assert chart.upper[3] == chart.upper[1] + 1.5
    smoothed = ewma(values, target=0.0, sd=1.0, share=0.3).average
    assert smoothed[2] == smoothed[1]


def test_moving_target_and_values_together_changes_nothing():
    values = np.random.default_rng(RNG_SEED).normal(0.5, 1.0, 80)
    here = cusum(values, target=0.0, allowance=0.5, decision=4.0)
    there = cusum(values + 325.0, target=325.0, allowance=0.5, decision=4.0)
    assert there.upper == pytest.approx(here.upper, abs=1e-9)


def test_an_average_that_counts_only_the_newest_value_is_a_plain_three_sigma_chart():
    values = np.random.default_rng(RNG_SEED).normal(0.0, 1.0, 40_000)
    chart = ewma(values, target=0.0, sd=1.0, share=1.0)
    assert np.array_equal(chart.average, values)
    outside = (values > chart.upper_limit) | (values < chart.lower_limit)
    assert outside.mean() == pytest.approx(2.0 * stats.norm.sf(3.0), abs=8e-4)
