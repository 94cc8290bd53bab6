"""The long-run cost of a new part, held against renewal theory where it has a closed form."""

import math

import numpy as np
import pytest

from inspections.core.types import CostBook, LifeBook, Residuals
from scheduling.core.long_run import long_run_cost_per_km, new_part_residuals, weibull_shape


def book(life: float = 100_000.0, cv: float = 0.4, pf: float = 0.0) -> LifeBook:
    one = np.ones(1)
    return LifeBook(life * one, cv * one, pf * one, one, 15_000.0 * one)


def prices(planned: float, failure: float, dangerous: float = 0.0) -> CostBook:
    one = np.ones(1)
    return CostBook(planned * one, failure * one, 0.0 * one, dangerous * one, np.zeros(1, dtype=bool))


def cost(lives: LifeBook, costs: CostBook, every: float = 10_000.0, points: int = 400) -> float:
    return float(long_run_cost_per_km(new_part_residuals(lives, points), costs, np.array([every]))[0])


def test_the_lives_of_a_new_part_have_the_mean_and_spread_asked_for() -> None:
    new = new_part_residuals(book(80_000.0, 0.35), 4_000)
    mean = float((new.weight * new.to_failure_km).sum())
    spread = float(np.sqrt((new.weight * (new.to_failure_km - mean) ** 2).sum()))
    assert mean == pytest.approx(80_000.0, rel=1e-3)
    assert spread / mean == pytest.approx(0.35, rel=5e-3)


@pytest.mark.parametrize(("shape", "cv"), [(1.0, 1.0), (2.0, math.sqrt(4.0 / math.pi - 1.0))])
def test_the_weibull_shape_of_the_exponential_and_the_rayleigh_law_is_found(shape: float, cv: float) -> None:
    assert weibull_shape(cv) == pytest.approx(shape, rel=1e-9)


def test_where_failing_costs_no_more_than_the_job_a_part_costs_the_job_once_a_life() -> None:
    assert cost(book(), prices(300.0, 300.0)) == pytest.approx(300.0 / 100_000.0, rel=2e-3)


def test_a_part_that_warns_costs_less_than_one_that_hides() -> None:
    assert cost(book(pf=40_000.0), prices(300.0, 3_000.0)) < 0.9 * cost(book(), prices(300.0, 3_000.0))


def test_no_policy_costs_more_than_running_to_failure() -> None:
    for cv in (0.2, 0.4, 1.0):
        for failure in (300.0, 900.0, 9_000.0):
            assert cost(book(cv=cv), prices(300.0, failure)) <= failure / 100_000.0 * 1.003


def test_a_dearer_failure_never_makes_a_part_cheaper() -> None:
    costs = [cost(book(pf=20_000.0), prices(300.0, failure)) for failure in (300.0, 600.0, 1_200.0, 5_000.0)]
    assert costs == sorted(costs)


def test_a_certain_life_is_used_up_to_its_end() -> None:
    """One possibility: fails at 50,000 km exactly; replacing just before would need a policy that knows it."""
    one = np.ones((1, 1))
    new = Residuals(one, 0.0 * one, 20_000.0 * one, 40_000.0 * one, 50_000.0 * one)
    found = long_run_cost_per_km(new, prices(100.0, 100.0), np.array([10_000.0]))
    assert float(found[0]) == pytest.approx(100.0 / 50_000.0)


def test_a_look_that_misses_one_time_in_five_is_paid_with_a_failure() -> None:
    """Major from 15,000 km, fails at 25,000; looks every 10,000 from anywhere: by hand, seen at 18,750 on average.

    A miss always ends in the failure: (0.8 x 100 + 0.2 x 1,000) / (0.8 x 18,750 + 0.2 x 25,000).
    """
    one = np.ones((1, 1))
    new = Residuals(one, 0.0 * one, 15_000.0 * one, 24_000.0 * one, 25_000.0 * one)
    found = long_run_cost_per_km(new, prices(100.0, 1_000.0), np.array([10_000.0]))
    assert float(found[0]) == pytest.approx(280.0 / 20_000.0)
