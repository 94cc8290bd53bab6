"""The fitted law against the Kaplan-Meier curve, which assumes no law at all (Kaplan & Meier, JASA 53, 1958)."""

import numpy as np
import pytest
from lifelines import KaplanMeierFitter

from inspections.core.weibull import Ages, fit_weibull
from tests.reference.published_lives import SHOCK_ABSORBER_SURVIVAL, SHOCK_ABSORBERS_KM

KM, _, SURVIVAL, GREENWOOD_SE = np.array(SHOCK_ABSORBER_SURVIVAL).T


def test_the_published_curve_is_that_of_lifelines() -> None:
    # C, and S(12 200), S(20 100), S(27 490) as in the list of check values
    age, failed = np.array(SHOCK_ABSORBERS_KM, dtype=float).T
    curve = KaplanMeierFitter().fit(age, failed)
    assert curve.survival_function_at_times(KM).to_numpy() == pytest.approx(SURVIVAL, abs=1e-6)


def test_the_fitted_shock_absorbers_survive_as_the_data_do() -> None:
    age, failed = np.array(SHOCK_ABSORBERS_KM, dtype=float).T
    fit = fit_weibull(Ages.right_censored(age, failed == 1))
    standard_errors_off = (fit.survival_fraction(KM) - SURVIVAL) / GREENWOOD_SE
    assert np.abs(standard_errors_off).max() < 1.0


def test_a_fit_that_forgets_the_survivors_does_not() -> None:
    age, failed = np.array(SHOCK_ABSORBERS_KM, dtype=float).T
    ended = failed == 1
    fit = fit_weibull(Ages.right_censored(age[ended], ended[ended]))
    standard_errors_off = (fit.survival_fraction(KM) - SURVIVAL) / GREENWOOD_SE
    assert standard_errors_off.min() < -2.0


def test_looks_between_failures_and_the_curve_agree_on_many_parts() -> None:
    # looked at every 5 000 km: the Weibull curve must pass through the share still good at each look
    rng = np.random.default_rng(5)
    life = 60_000 * rng.weibull(2.2, 4000)
    low = 5_000 * np.floor(life / 5_000)
    fit = fit_weibull(Ages(low, low + 5_000, np.zeros(4000, dtype=np.int64)))
    look = 5_000.0 * np.arange(1, 20)
    still_good = (life[None, :] > look[:, None]).mean(axis=1)
    assert np.abs(fit.survival_fraction(look) - still_good).max() < 0.02
