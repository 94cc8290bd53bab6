"""What parts are expected to take over some years: against cases by hand and against drawn lives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.looking import MISSED_FRACTION
from inspections.core.types import CostBook
from scheduling.core.running_costs import Moments, RunningCosts, Use, renewed_costs, running_costs, spread
from tests.scheduling.core.given import certain, costs, uncertain

NO_CREDIT = np.zeros(1)
SLOT = np.zeros(1, dtype=np.int64)


def use(
    horizon: float = 30_000.0, look: float = 10_000.0, pace: float = 1.0, count: int = 1, first: float = 10_000.0
) -> Use:
    return Use(*(np.full(count, value) for value in (horizon, look, pace, first)))


def of_one(life: tuple[float, float, float], how: Use, prices: CostBook, credit: float = 0.0) -> RunningCosts:
    return running_costs(certain(life), prices, SLOT, how, np.full(1, credit))


PRICES = costs([10_000.0], [40_000.0])


def test_a_part_that_lasts_beyond_the_years_costs_nothing() -> None:
    found = of_one((50_000.0, 60_000.0, 70_000.0), use(), PRICES)
    assert (found.jobs, found.risk) == (Moments(), Moments())


def test_a_part_found_major_at_a_look_is_renewed_and_the_next_one_starts_its_life() -> None:
    """Major at 12,000 km: found at 20,000 (8 in 10) or at 30,000; then a new part at 0.5 minor units a km."""
    found = of_one((12_000.0, 80_000.0, 90_000.0), use(), PRICES, credit=0.5)
    assert found.jobs.mean == pytest.approx(10_000.0 + (1.0 - MISSED_FRACTION) * 0.5 * 10_000.0)
    assert found.risk.mean == 0.0


def test_a_part_that_fails_between_two_looks_costs_what_failing_costs_more() -> None:
    found = of_one((12_000.0, 14_000.0, 15_000.0), use(), PRICES)
    assert (found.jobs.mean, found.risk.mean) == (10_000.0, pytest.approx(30_000.0))


def test_a_part_that_shows_nothing_is_only_found_by_failing() -> None:
    found = of_one((15_000.0, 15_000.0, 15_000.0), use(), PRICES)
    assert found.risk.mean == pytest.approx(30_000.0)


def test_driving_in_a_bad_state_counts_by_the_road_and_only_until_renewed() -> None:
    """Major from 12,000, dangerous from 18,000, looks at 20,000 and 30,000: 6,000 km and 2,000 (or 12,000) km."""
    prices = costs([10_000.0], [40_000.0], major=0.1, dangerous=1.0)
    found = of_one((12_000.0, 18_000.0, 90_000.0), use(pace=2.0), prices)
    dangerous = (1.0 - MISSED_FRACTION) * 2_000.0 + MISSED_FRACTION * 12_000.0
    assert found.risk.mean == pytest.approx(2.0 * (0.1 * 6_000.0 + 1.0 * dangerous))


def test_two_parts_cost_the_sum_and_vary_as_independent_ones() -> None:
    lives = uncertain(3, 2, 40)
    prices = costs([10_000.0, 20_000.0], [40_000.0, 90_000.0])
    slots, credit = np.array([0, 1]), np.zeros(2)
    both = running_costs(lives, prices, slots, use(count=2), credit)
    singly = [running_costs(uncertain_row(lives, row), prices, slots[[row]], use(), credit) for row in range(2)]
    assert both.jobs.mean == pytest.approx(sum(each.jobs.mean for each in singly))
    assert both.risk.variance == pytest.approx(sum(each.risk.variance for each in singly))


def uncertain_row(lives, row):  # type: ignore[no-untyped-def]
    return type(lives)(*(getattr(lives, name)[[row]] for name in lives.__slots__))


def test_mean_and_variance_are_those_of_drawn_lives() -> None:
    """A life drawn by its weight, missed by its chance, then followed kilometre by kilometre by other code."""
    lives, rng, draws = uncertain(11, 1, 60, 60_000.0), np.random.default_rng(5), 40_000
    prices = costs([10_000.0], [40_000.0], major=0.1, dangerous=1.0)
    found = running_costs(lives, prices, SLOT, use(), np.full(1, 0.2))
    chosen = rng.choice(60, draws, p=lives.weight[0])
    missed = rng.random(draws) < MISSED_FRACTION
    outcomes = np.array([followed(lives, life, bool(late)) for life, late in zip(chosen, missed, strict=True)])
    for column, moments in enumerate((found.jobs, found.risk)):
        drawn = outcomes[:, column]
        assert drawn.mean() == pytest.approx(moments.mean, abs=4.0 * drawn.std() / np.sqrt(draws))
        assert drawn.var() == pytest.approx(moments.variance, rel=0.03)


def followed(lives, life: int, late: bool) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    major, dangerous, failure = (
        float(each[0, life]) for each in (lives.to_major_km, lives.to_dangerous_km, lives.to_failure_km)
    )
    looks = [km for km in (10_000.0, 20_000.0, 30_000.0) if km > major]
    seen = looks[late] if len(looks) > late else np.inf
    renewed = min(seen, failure)
    until = min(renewed, 30_000.0)
    jobs = 10_000.0 * (renewed <= 30_000.0) + 0.2 * (30_000.0 - until)
    bad = 0.1 * (min(dangerous, until) - min(major, until)) + 1.0 * (until - min(dangerous, until))
    return jobs, 30_000.0 * (failure <= min(seen, 30_000.0)) + bad


def test_new_parts_cost_the_long_run_rate() -> None:
    found = renewed_costs(np.array([1, 0]), use(count=2), np.array([0.1, 0.4]))
    assert found.jobs == Moments(30_000.0 * 0.5)


def test_four_in_five_sums_lie_within_the_range() -> None:
    """Held against draws of the lognormal with the same moments, made by another library's routine."""
    span = spread(1_000.0, 500.0**2)
    sigma = np.sqrt(np.log(1.25))
    drawn = np.random.default_rng(2).lognormal(np.log(1_000.0) - sigma**2 / 2, sigma, 200_000)
    assert np.mean((drawn >= span.low) & (drawn <= span.high)) == pytest.approx(0.8, abs=0.005)
    assert span.likely == 1_000.0


@settings(max_examples=80, deadline=None)
@given(st.floats(0.0, 1e6), st.floats(0.0, 1e12))
def test_a_range_holds_its_mean_and_widens_with_doubt(mean: float, variance: float) -> None:
    span, surer = spread(mean, variance), spread(mean, variance / 2.0)
    assert 0.0 <= span.low <= span.likely <= span.high
    assert span.low <= surer.low * (1 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 1_000), st.floats(5_000.0, 60_000.0))
def test_more_years_never_cost_less_and_rarer_looks_never_less_risk(seed: int, horizon: float) -> None:
    lives, prices = uncertain(seed, 3, 30), costs([10_000.0] * 3, [40_000.0] * 3, dangerous=0.5)
    slots, credit = np.arange(3), np.full(3, 0.1)
    now, later = (running_costs(lives, prices, slots, use(km, count=3), credit) for km in (horizon, 1.5 * horizon))
    assert later.jobs.mean >= now.jobs.mean - 1e-6
    assert later.risk.mean >= now.risk.mean - 1e-6
    often, rarely = (
        running_costs(lives, prices, slots, use(horizon, look, count=3), credit) for look in (5_000.0, 10_000.0)
    )
    assert rarely.risk.mean >= often.risk.mean - 1e-6
