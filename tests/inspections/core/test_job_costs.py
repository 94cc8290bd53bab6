"""Estimates of jobs: the closed form, the promised coverage, and the absurd bill."""

import numpy as np
import pytest
from scipy import integrate, stats

from inspections.core.job_costs import (
    PRIOR_JOBS,
    PRIOR_SHAPE,
    Range,
    sharpened,
    t_quantile_90,
    together,
    usual_hours,
)

PARTS = Range(60.0, 100.0, 170.0)
EVEN = Range(50.0, 100.0, 200.0)


def test_without_closed_jobs_what_is_said_stands() -> None:
    assert sharpened(PARTS, []) == PARTS
    assert sharpened(PARTS, [0.0]) == PARTS
    assert sharpened(Range(0.0, 0.0, 0.0), [40.0]) == Range(0.0, 0.0, 0.0)


@pytest.mark.parametrize("freedom", [8.0, 9.0, 12.0, 30.0, 200.0])
def test_the_quantile_is_students(freedom: float) -> None:
    assert t_quantile_90(freedom) == pytest.approx(stats.t.ppf(0.9, freedom), abs=2e-4)


def test_the_update_is_bayes_rule_integrated_by_force() -> None:
    """The posterior predictive of the next job, by a grid over level and spread with scipy's densities."""
    observed = [110.0, 150.0, 125.0]
    scale = np.log(2.0) / stats.t.ppf(0.9, 2 * PRIOR_SHAPE)
    b = PRIOR_SHAPE * scale**2 / (1 + 1 / PRIOR_JOBS)
    s2 = np.exp(np.linspace(np.log(1e-4), np.log(8.0), 900))[:, None]
    level = np.linspace(np.log(100) - 3, np.log(100) + 3, 1801)[None, :]
    density = stats.invgamma.pdf(s2, PRIOR_SHAPE, scale=b) * stats.norm.pdf(
        level, np.log(100), np.sqrt(s2 / PRIOR_JOBS)
    )
    for value in observed:
        density = density * stats.norm.pdf(np.log(value), level, np.sqrt(s2))

    def chance_below(y: float) -> float:
        below = stats.norm.cdf(y, level, np.sqrt(s2))
        inner = integrate.trapezoid(density * below, level[0], axis=1), integrate.trapezoid(density, level[0], axis=1)
        top, bottom = (integrate.trapezoid(each, s2[:, 0]) for each in inner)
        return float(top / bottom)

    found = sharpened(EVEN, observed)
    for value, chance in ((found.low, 0.1), (found.likely, 0.5), (found.high, 0.9)):
        assert chance_below(np.log(value)) == pytest.approx(chance, abs=2e-3)


def test_four_in_five_next_jobs_lie_in_the_range_after_any_number_of_jobs() -> None:
    rng = np.random.default_rng(7)
    scale = np.log(2.0) / stats.t.ppf(0.9, 2 * PRIOR_SHAPE)
    b = PRIOR_SHAPE * scale**2 / (1 + 1 / PRIOR_JOBS)
    for jobs in (1, 3, 8):
        inside = []
        for _ in range(4_000):
            s2 = b / rng.gamma(PRIOR_SHAPE)
            level = rng.normal(np.log(100.0), np.sqrt(s2 / PRIOR_JOBS))
            *seen, following = np.exp(rng.normal(level, np.sqrt(s2), jobs + 1))
            found = sharpened(EVEN, seen)
            inside.append(found.low <= following <= found.high)
        assert np.mean(inside) == pytest.approx(0.8, abs=0.03), jobs


def test_a_fleet_that_pays_otherwise_is_believed_after_a_few_jobs() -> None:
    found = sharpened(EVEN, [400.0, 420.0, 390.0, 410.0, 405.0])
    assert 300.0 < found.likely < 420.0
    assert found.high / found.low < 4.0


def test_one_absurd_bill_does_not_become_the_estimate() -> None:
    plain = sharpened(EVEN, [95.0, 105.0, 110.0, 98.0])
    absurd = sharpened(EVEN, [95.0, 105.0, 110.0, 98.0, 100_000.0])
    assert absurd.likely < 1.4 * plain.likely
    assert absurd.high < 3.0 * plain.high
    assert sharpened(EVEN, [1_000_000.0]).likely < 2.0 * EVEN.likely
    assert sharpened(EVEN, [0.01]).likely > EVEN.likely / 2.0


def test_more_jobs_like_those_before_narrow_the_range() -> None:
    widths = [np.log(each.high / each.low) for each in (sharpened(EVEN, [100.0] * n) for n in (1, 3, 10, 40))]
    assert widths == sorted(widths, reverse=True)


def test_hours_spread_evenly_about_the_usual() -> None:
    found = usual_hours(2.0)
    assert found.likely / found.low == pytest.approx(found.high / found.likely)


def test_the_range_of_a_sum_is_narrower_than_the_sum_of_the_ranges() -> None:
    low, high = together(100.0, Range(30.0, 60.0, 100.0), Range(0.0, 40.0, 70.0))
    assert (low, high) == pytest.approx((50.0, 150.0))
