"""Age replacement against published theory and computed tables.

Barlow & Hunter 1960, policy I: optimum where h(T) integral of R - F(T) = cp / (cf - cp), there C(T*) = (cf - cp) h(T*).
Formula from memory (status M), values computed by two routes, root finding and direct minimisation (status C); the
last line uses the Weibull fit of the shock absorber distances of Meeker & Escobar (fit read and reproduced, R + C).
"""

import numpy as np
import pytest
from scipy import integrate

from inspections.core.types import CostBook, Residuals
from scheduling.core.age_replacement import age_replacement, cost_per_km_at
from scheduling.core.long_run import long_run_cost_per_km

# scale, shape, planned, failure, best age, cost rate there, cost rate of running to failure
TABLE = [
    (1000.0, 2.5, 1.0, 5.0, 493.0469575966, 0.00346204273879, 0.00563530248993),
    (1.0, 2.0, 1.0, 5.0, 0.5106552243, 4.0852417944, 5.6418958355),
    (1.0, 2.0, 1.0, 10.0, 0.3364511913, 6.0561214426, 11.283791671),
    (1.0, 3.0, 1.0, 5.0, 0.5026095821, 3.0313967043, 5.5992326086),
    (1.0, 3.0, 1.0, 10.0, 0.3824555311, 3.9493502991, 11.1984652172),
    (1.0, 1.5, 1.0, 10.0, 0.3781444916, 8.3016163239, 11.0773216743),
    (27718.718128, 3.160470315, 1.0, 4.0, 15434.680962, 9.65484243407e-05, 0.000161215323902),
]
COLUMNS = [np.array(column) for column in zip(*TABLE, strict=True)]
SCALE, SHAPE, PLANNED, FAILURE, AGE, RATE, RUN_TO_FAILURE = COLUMNS


def test_the_best_age_and_its_cost_are_those_of_the_table() -> None:
    found = age_replacement(SCALE, SHAPE, PLANNED, FAILURE)
    np.testing.assert_allclose(found.age_km, AGE, rtol=2e-10)
    np.testing.assert_allclose(found.cost_minor_per_km, RATE, rtol=1e-10)
    np.testing.assert_allclose(found.run_to_failure_minor_per_km, RUN_TO_FAILURE, rtol=1e-10)


def test_the_cost_at_the_best_age_is_the_hazard_there_times_what_failing_costs_more() -> None:
    age = age_replacement(SCALE, SHAPE, PLANNED, FAILURE).age_km
    hazard = SHAPE / SCALE * (age / SCALE) ** (SHAPE - 1.0)
    np.testing.assert_allclose(cost_per_km_at(age, SCALE, SHAPE, PLANNED, FAILURE), (FAILURE - PLANNED) * hazard)


@pytest.mark.parametrize("shape", [1.2, 2.5, 6.0])
@pytest.mark.parametrize("age", [0.05, 0.8, 2.2])
def test_the_cost_of_any_age_agrees_with_integrating_the_survival_numerically(shape: float, age: float) -> None:
    length, _ = integrate.quad(lambda t: np.exp(-(t**shape)), 0.0, age, epsabs=1e-13)
    survive = np.exp(-(age**shape))
    expected = (survive + 5.0 * (1.0 - survive)) / length
    one = np.ones(1)
    assert float(cost_per_km_at(age * one, one, shape * one, one, 5.0 * one)[0]) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(("shape", "failure"), [(1.0, 5.0), (0.7, 5.0), (3.0, 1.0), (3.0, 0.5)])
def test_without_a_rising_hazard_or_a_dearer_failure_no_age_is_worth_replacing_at(shape: float, failure: float) -> None:
    one = np.ones(1)
    found = age_replacement(1_000.0 * one, shape * one, one, failure * one)
    assert np.isinf(found.age_km[0])
    assert found.cost_minor_per_km[0] == found.run_to_failure_minor_per_km[0]


@pytest.mark.parametrize("row", TABLE)
def test_the_renewal_credit_of_a_part_without_signs_is_the_cost_of_the_best_age(row: tuple[float, ...]) -> None:
    """The decider's own computation from weighted lives, without any signs to see, finds the same rate."""
    scale, shape, planned, failure, _, rate, _ = row
    points = 4_000
    life = scale * (-np.log1p(-(np.arange(points) + 0.5) / points)) ** (1.0 / shape)
    new = Residuals(np.full((1, points), 1.0 / points), *([life[None, :]] * 4))
    one = np.ones(1)
    costs = CostBook(planned * one, failure * one, 0.0 * one, 0.0 * one, np.zeros(1, dtype=bool))
    found = float(long_run_cost_per_km(new, costs, 1e9 * one)[0])
    assert found == pytest.approx(rate, rel=5e-3)
