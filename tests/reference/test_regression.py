"""The wear filter against certified and independent straight-line regressions, in the limits where they must agree."""

from pathlib import Path

import numpy as np
import pytest
import scipy
from scipy import stats

from inspections.core.wear import WearReadings, WearSeries, forecast_wear
from inspections.core.wear_filter import NOISE_SHRINK, run_filter
from inspections.core.wear_grid import Belief, Grid, Rows

# NIST StRD, linear regression, data set Norris: certified values. Status R (file inside the SciPy wheel) and C.
NORRIS_INTERCEPT, NORRIS_SLOPE = -0.262323073774029, 1.00211681802045
NORRIS_SLOPE_SE, NORRIS_RESIDUAL_SD = 0.000429796848199937, 0.884796396144373

# Data made up for this check (C): depth in mm at thousands of km, and what least squares and the conjugate
# normal-inverse-gamma posterior (prior mean 12 - 0.1 x, precision diag(1, 0.01)^-1, a 2, b 0.1) make of them.
LINE_KM = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 50.0])
LINE_MM = np.array([12.0, 10.9, 10.1, 8.8, 8.1, 7.0])
LINE_SLOPE, LINE_SLOPE_SE, LINE_RESIDUAL_SD = -0.0991428571, 0.003094873, 0.129467775
LINE_CROSSES_3_MM_AT = 90.3938520653
FIELLER_95_MEAN_LINE = (84.9880732427, 96.7895100459)
CONJUGATE_AT_80 = {"df": 10, "loc": 4.0137724551, "scale": 0.2630069366}


def norris() -> tuple[np.ndarray, np.ndarray]:
    """x and y, from the copy that SciPy ships for its own tests."""
    file = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress/Norris.dat"
    rows = [line.split() for line in file.read_text().splitlines()[60:96]]
    y, x = np.array(rows, dtype=float).T
    return x, y


def slope_posterior(x: np.ndarray, y: np.ndarray, noise_sd: float, slopes: np.ndarray) -> np.ndarray:
    """Weights of the slopes after the filter has seen a line with unknown intercept: no roughness, flat prior."""
    order = np.argsort(x, kind="stable")
    x, y = x[order], y[order]
    grid = Grid(rate=slopes, weight=np.ones((1, len(slopes))) / len(slopes), step_variance=np.zeros((1, len(slopes))))
    rows = Rows(
        wear=y[None, :],
        elapsed=np.diff(x, prepend=0.0)[None, :],
        fitting_known=np.array([True]),
        noise_variance=np.array([NOISE_SHRINK * noise_sd**2]),
        roughness_scale=np.zeros(1),
        since_last=np.zeros(1),
    )
    shape = (1, 1, len(slopes))
    start = Belief(
        mean=(slopes * x[0]).astype(np.float32).reshape(shape),
        variance=np.full(shape, (100.0 * noise_sd) ** 2, dtype=np.float32),
        weight=np.full(shape, 1.0 / len(slopes), dtype=np.float32),
    )
    run_filter(grid, rows, start)
    return start.weight[0, 0].astype(float)


def test_learned_slope_is_the_certified_one_within_its_standard_error_on_norris():
    x, y = norris()
    assert len(x) == 36
    slopes = NORRIS_SLOPE + NORRIS_SLOPE_SE * np.linspace(-8.0, 8.0, 801)
    weight = slope_posterior(x / 1000.0, y / 1000.0, NORRIS_RESIDUAL_SD / 1000.0, slopes)
    mean = (weight * slopes).sum()
    sd = np.sqrt((weight * (slopes - mean) ** 2).sum())
    assert mean == pytest.approx(NORRIS_SLOPE, abs=NORRIS_SLOPE_SE)
    assert sd == pytest.approx(NORRIS_SLOPE_SE, rel=0.25)


def test_learned_slope_is_that_of_least_squares_on_the_wear_line():
    slopes = np.linspace(0.06, 0.14, 801)
    weight = slope_posterior(LINE_KM, 12.0 - LINE_MM, LINE_RESIDUAL_SD, slopes)
    mean = (weight * slopes).sum()
    assert stats.linregress(LINE_KM, LINE_MM).slope == pytest.approx(LINE_SLOPE, abs=1e-9)
    assert -mean == pytest.approx(LINE_SLOPE, abs=0.5 * LINE_SLOPE_SE)
    assert np.sqrt((weight * (slopes - mean) ** 2).sum()) == pytest.approx(LINE_SLOPE_SE, rel=0.3)


def wear_line_forecast(now_km: float):
    def one(value):
        return np.array([float(value)])

    series = WearSeries(
        new_value=one(12.0),
        minor_value=one(4.0),
        limit_value=one(3.0),
        dangerous_value=one(1.5),
        noise_sd=one(LINE_RESIDUAL_SD),
        life_km=one(70_000.0),
        fitted_clock_km=one(0.0),
        now_clock_km=one(now_km),
    )
    return forecast_wear(series, WearReadings(np.zeros(6, dtype=int), 1000.0 * LINE_KM, LINE_MM), rate_cv=1.5)


def test_the_limit_is_forecast_where_the_line_crosses_it_with_the_longer_arm_to_the_right():
    band = wear_line_forecast(50_000.0).limit_at_clock_km
    low, median, high = (float(part[0]) / 1000.0 for part in (band.low, band.median, band.high))
    assert median == pytest.approx(LINE_CROSSES_3_MM_AT, abs=2.5)
    assert low < FIELLER_95_MEAN_LINE[0] < FIELLER_95_MEAN_LINE[1] < high + 5.0
    assert high - median > 1.1 * (median - low)


def test_the_value_ahead_agrees_with_the_conjugate_posterior_and_is_no_surer_than_it():
    """The conjugate figure knows no roughness, so that the wear forecast must be wider."""
    band = wear_line_forecast(80_000.0).value_now
    conjugate = stats.t(**CONJUGATE_AT_80)
    assert band.median[0] == pytest.approx(conjugate.median(), abs=0.25)
    assert band.low[0] < conjugate.ppf(0.1)
    assert band.high[0] > conjugate.ppf(0.9)
