"""The Weibull fit against published fits, against other libraries, and against forty digits."""

import numpy as np
import pytest
from lifelines import WeibullFitter
from lifelines.datasets import load_waltons
from scipy import stats

from inspections.core.types import BoolArray, FloatArray
from inspections.core.weibull import Ages, Prior, WeibullFit, fit_weibull
from tests.reference.decimal_weibull import best_fit
from tests.reference.published_lives import NIST_END_H, NIST_FAILURES_H, NIST_SURVIVORS, SHOCK_ABSORBERS_KM


@pytest.fixture(scope="module")
def shock() -> WeibullFit:
    return fit_weibull(shock_ages())


def shock_ages() -> Ages:
    age, failed = np.array(SHOCK_ABSORBERS_KM, dtype=float).T
    return Ages.right_censored(age, failed == 1)


def nist_ages() -> tuple[FloatArray, BoolArray]:
    age = np.array([*NIST_FAILURES_H, *[NIST_END_H] * NIST_SURVIVORS], dtype=float)
    return age, age < NIST_END_H


def as_location_scale(fit: WeibullFit) -> tuple[float, float, float]:
    """Variances of log scale and of 1 / shape and their covariance, by the chain rule: how books print them."""
    sigma = float(1.0 / fit.shape[0])
    return (
        float(fit.scale_variance[0]),
        float(-sigma * fit.covariance[0]),
        float(sigma * sigma * fit.shape_variance[0]),
    )


class TestShockAbsorbers:
    """R: snapshots in the tests of the R package weibulltools (data: Meeker & Escobar 1998, p. 630)."""

    def test_location_and_scale_are_the_published_ones(self, shock: WeibullFit) -> None:
        assert shock.log_scale[0] == pytest.approx(10.2298631, abs=5e-7)
        assert 1.0 / shock.shape[0] == pytest.approx(0.3164092, abs=1e-6)
        assert shock.log_likelihood[0] == pytest.approx(-123.9954, abs=5e-5)

    def test_variances_are_the_published_ones(self, shock: WeibullFit) -> None:
        published = (0.012075836, 0.003990396, 0.005353183)
        assert as_location_scale(shock) == pytest.approx(published, rel=2e-5)

    def test_figures_derived_from_the_fit(self, shock: WeibullFit) -> None:
        # C: scipy, lifelines, the package `reliability` and own root finding agree on these
        assert shock.shape[0] == pytest.approx(3.1604703146, rel=1e-10)
        assert shock.scale_km[0] == pytest.approx(27718.7181285, rel=1e-10)
        assert shock.log_likelihood[0] == pytest.approx(-123.9953611888, abs=1e-9)
        assert shock.shape[0] * np.sqrt(shock.shape_variance[0]) == pytest.approx(0.7308183946, rel=1e-7)
        assert shock.scale_km[0] * np.sqrt(shock.scale_variance[0]) == pytest.approx(3046.0231834, rel=1e-7)

    def test_survival_and_quantiles(self, shock: WeibullFit) -> None:
        # C, as above
        assert shock.survival_fraction(np.array([20000.0]))[0] == pytest.approx(0.700142322, abs=1e-9)
        assert 1.0 - shock.survival_fraction(np.array([10000.0]))[0] == pytest.approx(0.0390840969, abs=1e-9)
        assert shock.quantile_km(0.05).value[0] == pytest.approx(10829.919173, abs=1e-5)
        assert shock.quantile_km(0.10).value[0] == pytest.approx(13600.034717, abs=1e-5)
        assert shock.quantile_km(0.50).value[0] == pytest.approx(24683.62549, abs=1e-4)
        assert shock.mean_km().value[0] == pytest.approx(24811.537163, abs=1e-4)

    def test_intervals_at_95_percent(self, shock: WeibullFit) -> None:
        # C, Wald intervals on the log scale
        scale, shape = shock.scale_band_km(0.95), shock.shape_band(0.95)
        assert (scale.low[0], scale.high[0]) == pytest.approx((22347.770243, 34380.491939), rel=1e-7)
        assert (shape.low[0], shape.high[0]) == pytest.approx((2.0087330733, 4.9725733806), rel=1e-7)

    def test_a_shape_held_at_one_gives_the_exponential_mean(self) -> None:
        # R: 56 818.19 km, which is all kilometres over all failures (C: 625 000 / 11)
        flat = Prior.around(np.array([50_000.0]), scale_sd=1e6, shape=1.0, shape_sd=1e-7)
        fit = fit_weibull(shock_ages(), 1, flat)
        assert fit.scale_km[0] == pytest.approx(625_000 / 11, rel=1e-9)
        assert fit.scale_km[0] == pytest.approx(56818.19, abs=0.01)


class TestNist:
    """R: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3; further digits C."""

    def test_the_printed_fit(self) -> None:
        fit = fit_weibull(Ages.right_censored(*nist_ages()))
        assert fit.scale_km[0] == pytest.approx(606.528, abs=5e-4)
        assert fit.shape[0] == pytest.approx(1.7208, abs=5e-5)
        assert -fit.log_likelihood[0] == pytest.approx(75.135, abs=5e-4)
        assert 4.0 - 2.0 * fit.log_likelihood[0] == pytest.approx(154.27, abs=5e-3)
        assert fit.mean_km().value[0] == pytest.approx(540.737, abs=5e-4)

    def test_the_computed_fit(self) -> None:
        fit = fit_weibull(Ages.right_censored(*nist_ages()))
        assert fit.scale_km[0] == pytest.approx(606.5275580036, rel=1e-10)
        assert fit.shape[0] == pytest.approx(1.7207972608, rel=1e-10)
        assert fit.shape[0] * np.sqrt(fit.shape_variance[0]) == pytest.approx(0.5021506035, rel=1e-7)
        assert fit.scale_km[0] * np.sqrt(fit.scale_variance[0]) == pytest.approx(124.9106562, rel=1e-7)

    def test_leaving_out_the_survivors_tells_another_story(self) -> None:
        age, failed = nist_ages()
        naive = fit_weibull(Ages.right_censored(age[failed], failed[failed]))
        assert naive.scale_km[0] < 0.6 * 606.528


class TestFortyDigits:
    """Against a plain maximisation in decimal arithmetic of forty digits (C, in this repository's tests)."""

    @pytest.mark.parametrize("ages", [shock_ages(), Ages.right_censored(*nist_ages())], ids=["shock", "nist"])
    def test_right_censored_fits_agree_to_twelve_digits(self, ages: Ages) -> None:
        fit = fit_weibull(ages)
        exact = best_fit(observations(ages), fit.log_scale[0] + 0.02, fit.log_shape[0] - 0.03)
        assert (fit.log_scale[0], fit.log_shape[0]) == pytest.approx([float(value) for value in exact], rel=1e-12)

    @pytest.mark.parametrize("seed", range(4))
    def test_any_censoring_agrees_to_ten_digits(self, seed: int) -> None:
        ages = mixed_ages(seed)
        fit = fit_weibull(ages)
        exact = best_fit(observations(ages), fit.log_scale[0] + 0.01, fit.log_shape[0] - 0.02)
        assert (fit.log_scale[0], fit.log_shape[0]) == pytest.approx([float(value) for value in exact], rel=1e-11)


def observations(ages: Ages) -> list[tuple[float, float, float]]:
    low, high, _, entry, _ = ages.columns()
    return list(zip(low.tolist(), high.tolist(), entry.tolist(), strict=True))


def mixed_ages(seed: int, records: int = 40) -> Ages:
    """Known failures, spans between looks, found failed, still running, and late entries, all in one."""
    rng = np.random.default_rng(seed)
    life = 100_000.0 * rng.weibull(2.5, records)
    low, high = life.copy(), life.copy()
    looked = np.arange(records) % 4 == 1
    low[looked], high[looked] = 10_000 * (life[looked] // 10_000), 10_000 * (life[looked] // 10_000 + 1)
    found = np.arange(records) % 4 == 2
    low[found], high[found] = 0.0, life[found] * 1.3
    running = np.arange(records) % 4 == 3
    low[running], high[running] = 0.6 * life[running], np.inf
    entry = np.where(running, 0.5 * low, 0.0)
    return Ages(low, high, np.zeros(records, dtype=np.int64), entry)


class TestOtherLibraries:
    def test_waltons_data(self) -> None:
        # C: the data set of lifelines, fitted by lifelines, whose search stops after some six digits
        data = load_waltons()
        fit = fit_weibull(Ages.right_censored(data["T"].to_numpy(float), data["E"].to_numpy() == 1))
        assert fit.scale_km[0] == pytest.approx(55.733096995, rel=1e-5)
        assert fit.shape[0] == pytest.approx(3.450505411, rel=1e-5)
        assert fit.log_likelihood[0] == pytest.approx(-672.0621872717, abs=1e-6)

    @pytest.mark.parametrize("seed", range(3))
    def test_right_censoring_agrees_with_scipy(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        life, ended = 80_000 * rng.weibull(1.5 + seed, 60), rng.uniform(0, 150_000, 60)
        failed = life <= ended
        data = stats.CensoredData(uncensored=life[failed], right=ended[~failed])
        shape, _, scale = stats.weibull_min.fit(data, floc=0)
        fit = fit_weibull(Ages.right_censored(np.minimum(life, ended), failed))
        assert (fit.shape[0], fit.scale_km[0]) == pytest.approx((shape, scale), rel=1e-4)
        assert (
            fit.log_likelihood[0]
            >= stats.weibull_min(shape, scale=scale).logpdf(life[failed]).sum()
            + (stats.weibull_min(shape, scale=scale).logsf(ended[~failed]).sum())
            - 1e-9
        )

    @pytest.mark.parametrize("seed", range(3))
    def test_interval_censoring_agrees_with_lifelines(self, seed: int) -> None:
        rng = np.random.default_rng(100 + seed)
        life = 8.0 * rng.weibull(2.5, 80)
        low = np.floor(life)
        high = np.where(low >= 9.0, np.inf, low + 1.0)
        low = np.minimum(low, 9.0)
        theirs = WeibullFitter().fit_interval_censoring(low, high)
        ours = fit_weibull(Ages(low, high, np.zeros(80, dtype=np.int64)))
        assert ours.scale_km[0] == pytest.approx(theirs.lambda_, rel=1e-4)
        assert ours.shape[0] == pytest.approx(theirs.rho_, rel=1e-4)
        assert ours.log_likelihood[0] >= theirs.log_likelihood_ - 1e-9
        assert ours.log_likelihood[0] == pytest.approx(theirs.log_likelihood_, abs=1e-4)
