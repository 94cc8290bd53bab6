"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook and against exact run lengths."""

import numpy as np
import pytest
from scipy import stats

from inspections.core.control_chart import NO_SIGNAL, cusum, ewma

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 "CUSUM control charts": 20 sample means, target 325,
# k = 0.3175, h = 4.1959. Status S (several independent transcriptions) and C (recomputed).
CUSUM_MEANS = [
    324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6,
    324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
]  # fmt: skip
CUSUM_UPPER_PRINTED = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.0, 19.04]
CUSUM_LOWER_PRINTED = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]
CUSUM_UPPER_EXACT_FROM_13 = [3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]

# The same, 6.3.2.4 "EWMA control charts": 20 values, lambda 0.3, start 50, s 2.0539. Status S and C.
EWMA_VALUES = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
EWMA_PRINTED = [
    50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip


def test_cusum_reproduces_the_handbooks_sums_and_signals_at_point_14():
    chart = cusum(np.array(CUSUM_MEANS), target=325.0, allowance=0.3175, decision=4.1959)
    assert chart.upper == pytest.approx(np.array(CUSUM_UPPER_PRINTED), abs=0.01)
    assert chart.lower == pytest.approx(np.array(CUSUM_LOWER_PRINTED), abs=0.01)
    assert chart.upper[12:] == pytest.approx(np.array(CUSUM_UPPER_EXACT_FROM_13), abs=1e-9)
    assert chart.first_signal == 14 - 1


def test_ewma_reproduces_the_handbooks_averages_and_limits_and_does_not_signal():
    chart = ewma(np.array(EWMA_VALUES), target=50.0, sd=2.0539, share=0.3)
    assert chart.average == pytest.approx(np.array(EWMA_PRINTED), abs=0.01)
    assert chart.upper_limit == pytest.approx(52.5884317381, abs=1e-9)
    assert chart.lower_limit == pytest.approx(47.4115682619, abs=1e-9)
    assert chart.first_signal == NO_SIGNAL


def exact_run_length(shift: float, allowance: float, decision: float, cells: int = 400) -> float:
    """Mean length of a one-sided run from zero, by a Markov chain over the sum's values (Brook & Evans 1972). C."""
    width = 2.0 * decision / (2 * cells - 1)
    edge = (np.arange(cells) + 0.5) * width
    step = edge[None, :] - np.arange(cells)[:, None] * width + allowance - shift
    upto = stats.norm.cdf(step)
    moves = np.diff(upto, axis=1, prepend=0.0)
    return float(np.linalg.solve(np.eye(cells) - moves, np.ones(cells))[0])


@pytest.mark.parametrize(
    ("shift", "decision", "remembered"),
    [(0.0, 4.0, 168.0), (0.5, 4.0, 26.6), (1.0, 4.0, 8.38), (1.0, 5.0, 10.4), (2.0, 5.0, 4.01)],
)
def test_cusum_runs_as_long_as_theory_says(shift, decision, remembered):
    """The remembered figures are those of the usual table for an allowance of half a sigma: M, shown for orientation.

    The check itself is against the chain. Both sides together: 1 / (1 / up + 1 / down), exact for this chart.
    """
    up, down = (exact_run_length(sign * shift, 0.5, decision) for sign in (1.0, -1.0))
    expected = 1.0 / (1.0 / up + 1.0 / down)
    assert expected == pytest.approx(remembered, rel=0.02)
    values = np.random.default_rng(3).normal(shift, 1.0, (2000, int(12 * expected)))
    signal = cusum(values, target=0.0, allowance=0.5, decision=decision).first_signal
    assert (signal == NO_SIGNAL).mean() < 0.001
    assert (signal + 1).mean() == pytest.approx(expected, rel=0.07)
