"""Weibull lives from censored ages: the likelihood, the search, the degenerate groups, the intervals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from inspections.core.types import FloatArray
from inspections.core.weibull import (
    Ages,
    Outcome,
    Prior,
    WeibullFit,
    digamma,
    fit_weibull,
    log_gamma,
    posterior_mean,
)
from inspections.core.weibull_newton import climb, climb_profile
from inspections.core.weibull_sample import Height, Sample, log_likelihood


def mixed_ages(seed: int, groups: int, most_records: int = 25) -> Ages:
    """Groups of every kind of censoring, late entry and weight, in no order; some groups are empty."""
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), rng.integers(0, most_records, groups))
    records = len(group)
    scale = np.exp(rng.normal(np.log(1e5), 1.0, groups))[group]
    life = scale * rng.weibull(np.exp(rng.normal(1.0, 0.5, groups))[group])
    ended = rng.uniform(0.0, 1.5, records) * scale
    width = rng.uniform(0.05, 0.4, records) * scale
    kind = rng.integers(0, 4, records)
    low = np.select([kind == 0, kind == 1, kind == 2], [life, np.minimum(life, ended), width * (life // width)], 0.0)
    high = np.select(
        [kind == 0, kind == 1, kind == 2],
        [life, np.where(life <= ended, life, np.inf), width * (life // width + 1.0)],
        life * rng.uniform(1.0, 2.0, records),
    )
    entry = np.where(rng.random(records) < 0.3, rng.uniform(0.0, 1.0, records) * low, 0.0)
    return shuffled(Ages(low, high, group, entry, rng.choice([0.3, 1.0, 2.0], records)), rng)


def shuffled(ages: Ages, rng: np.random.Generator) -> Ages:
    order = rng.permutation(len(ages.low_km))
    low, high, group, entry, weight = ages.columns()
    return Ages(low[order], high[order], group[order], entry[order], weight[order])


def sample_of(ages: Ages, groups: int) -> Sample:
    low, high, group, entry, weight = ages.columns()
    return Sample.of(low, high, group, groups, entry, weight)


def one_group(low: list[float], high: list[float], entry: list[float] | None = None) -> Ages:
    start = None if entry is None else np.array(entry)
    return Ages(np.array(low), np.array(high), np.zeros(len(low), dtype=np.int64), start)


def right_censored(seed: int, groups: int, records: int) -> Ages:
    rng = np.random.default_rng(seed)
    life, ended = 1e5 * rng.weibull(2.5, groups * records), rng.uniform(0.0, 2e5, groups * records)
    return Ages.right_censored(np.minimum(life, ended), life <= ended, np.repeat(np.arange(groups), records))


def parameters(fit: WeibullFit) -> FloatArray:
    return np.stack((fit.log_scale, fit.log_shape))


class TestLikelihood:
    def test_derivatives_are_those_of_the_value(self) -> None:
        sample = sample_of(mixed_ages(1, 50), 50)
        m, k, step = np.full(50, np.log(9e4)), np.full(50, 0.8), 1e-5

        def at(scale_steps: float, shape_steps: float) -> Height:
            return log_likelihood(sample, m + scale_steps * step, k + shape_steps * step)

        here = at(0, 0)
        assert here.m == pytest.approx((at(1, 0).value - at(-1, 0).value) / (2 * step), rel=1e-6, abs=1e-6)
        assert here.k == pytest.approx((at(0, 1).value - at(0, -1).value) / (2 * step), rel=1e-6, abs=1e-6)
        assert here.mm == pytest.approx((at(1, 0).m - at(-1, 0).m) / (2 * step), rel=1e-6, abs=1e-6)
        assert here.mk == pytest.approx((at(0, 1).m - at(0, -1).m) / (2 * step), rel=1e-6, abs=1e-6)
        assert here.kk == pytest.approx((at(0, 1).k - at(0, -1).k) / (2 * step), rel=1e-6, abs=1e-6)

    def test_narrow_spans_tell_what_known_ages_tell(self) -> None:
        age = 1e5 * np.random.default_rng(2).weibull(2.0, 30)
        exact = fit_weibull(Ages.right_censored(age, np.ones(30, dtype=bool)))
        narrow = fit_weibull(Ages(age * (1 - 1e-11), age * (1 + 1e-11), np.zeros(30, dtype=np.int64)))
        assert parameters(narrow) == pytest.approx(parameters(exact), rel=1e-9)
        assert narrow.scale_variance == pytest.approx(exact.scale_variance, rel=1e-6)

    def test_spans_too_wide_to_matter_tell_nothing(self) -> None:
        ages = right_censored(3, 1, 40)
        unsure = ages.and_also(one_group([0.0], [1e30]))
        assert parameters(fit_weibull(unsure)) == pytest.approx(parameters(fit_weibull(ages)), rel=1e-9)


class TestSearch:
    def test_both_searches_find_the_same_top(self) -> None:
        sample = sample_of(right_censored(4, 200, 15), 200)
        profile, general = climb_profile(sample), climb(sample, None)
        both = profile.converged & general.converged
        assert both.sum() > 190
        assert profile.log_scale[both] == pytest.approx(general.log_scale[both], abs=1e-11)
        assert profile.log_shape[both] == pytest.approx(general.log_shape[both], abs=1e-11)
        size = np.sqrt(general.information[0] * general.information[2])[both]
        for ours, theirs in zip(profile.information, general.information, strict=True):
            assert ours[both] / size == pytest.approx(theirs[both] / size, abs=1e-6)

    @pytest.mark.parametrize("seed", range(5))
    def test_under_a_prior_every_group_ends_where_the_slope_vanishes(self, seed: int) -> None:
        groups = 200
        ages = mixed_ages(seed, groups)
        prior = Prior.around(np.exp(np.random.default_rng(seed).normal(np.log(1e5), 1.0, groups)))
        fit = fit_weibull(ages, groups, prior)
        here = log_likelihood(sample_of(ages, groups), fit.log_scale, fit.log_shape)
        assert (fit.outcome == Outcome.FITTED).all()
        pull_m, pull_k = (fit.log_scale - prior.log_scale) / 0.4**2, (fit.log_shape - prior.log_shape) / 0.35**2
        assert np.abs(here.m - pull_m).max() < 1e-8
        assert np.abs(here.k - pull_k).max() < 1e-8
        assert (fit.scale_variance > 0.0).all()
        assert (fit.shape_variance > 0.0).all()

    def test_no_point_around_a_fit_is_more_likely(self) -> None:
        groups = 100
        ages = mixed_ages(11, groups)
        fit = fit_weibull(ages, groups)
        sample, fitted = sample_of(ages, groups), fit.outcome == Outcome.FITTED
        for angle in np.linspace(0.0, 2.0 * np.pi, 9):
            near = log_likelihood(sample, fit.log_scale + 0.01 * np.cos(angle), fit.log_shape + 0.01 * np.sin(angle))
            assert (near.value[fitted] < fit.log_likelihood[fitted]).all()

    def test_a_group_is_fitted_alike_alone_and_in_company(self) -> None:
        groups = 30
        ages, prior = mixed_ages(6, groups), Prior.around(np.full(groups, 1e5))
        together, believing = fit_weibull(ages, groups), fit_weibull(ages, groups, prior)
        for row in range(groups):
            mine = ages.chosen(ages.group == row)
            alone = Ages(mine.low_km, mine.high_km, mine.group * 0, mine.entry_km, mine.weight)
            fit = fit_weibull(alone)
            assert fit.outcome[0] == together.outcome[row]
            assert parameters(fit)[:, 0] == pytest.approx(parameters(together)[:, row], rel=1e-9, nan_ok=True)
            one = fit_weibull(alone, 1, Prior.around(np.array([1e5])))
            assert parameters(one)[:, 0] == pytest.approx(parameters(believing)[:, row], rel=1e-9)

    def test_a_right_censored_group_is_fitted_alike_alone_and_in_company(self) -> None:
        ages = right_censored(7, 20, 12)
        together = fit_weibull(ages, 20)
        for row in range(20):
            mine = slice(12 * row, 12 * row + 12)
            alone = fit_weibull(Ages(ages.low_km[mine], ages.high_km[mine], ages.group[mine] * 0))
            assert parameters(alone)[:, 0] == pytest.approx(parameters(together)[:, row], rel=1e-11, nan_ok=True)
            assert alone.scale_variance[0] == pytest.approx(together.scale_variance[row], rel=1e-6, nan_ok=True)

    @settings(deadline=None, max_examples=40)
    @given(st.floats(0.001, 1e6))
    def test_the_unit_of_distance_changes_nothing_but_the_scale(self, factor: float) -> None:
        ages = mixed_ages(8, 3, 40)
        low, high, group, entry, weight = ages.columns()
        fit = fit_weibull(ages, 3)
        scaled = fit_weibull(Ages(factor * low, factor * high, group, factor * entry, weight), 3)
        assert scaled.scale_km == pytest.approx(factor * fit.scale_km, rel=1e-9)
        assert scaled.shape == pytest.approx(fit.shape, rel=1e-9)

    def test_a_weight_of_two_is_a_record_twice_and_of_zero_none(self) -> None:
        ages = mixed_ages(9, 1, 60)
        low, high, group, entry, _ = ages.columns()
        twice = np.arange(len(low)) % 3
        repeated = np.repeat(np.arange(len(low)), twice)
        weighted = fit_weibull(Ages(low, high, group, entry, twice.astype(float)))
        listed = fit_weibull(Ages(low[repeated], high[repeated], group[repeated], entry[repeated]))
        assert parameters(weighted) == pytest.approx(parameters(listed), rel=1e-10)
        assert weighted.scale_variance == pytest.approx(listed.scale_variance, rel=1e-8)


class TestClosedForms:
    """With the shape held at one, lives are exponential and the answers are in every textbook."""

    def exponential(self, ages: Ages) -> float:
        flat = Prior.around(np.array([30_000.0]), scale_sd=1e5, shape=1.0, shape_sd=1e-7)
        return float(fit_weibull(ages, 1, flat).scale_km[0])

    def test_late_entry_counts_only_the_distance_watched(self) -> None:
        low, entry = [30e3, 50e3, 80e3, 20e3], [10e3, 45e3, 20e3, 0.0]
        ages = one_group(low, [30e3, 50e3, np.inf, 20e3], entry)
        assert self.exponential(ages) == pytest.approx((sum(low) - sum(entry)) / 3, rel=1e-9)

    def test_one_look_at_many_parts_gives_the_share_still_good(self) -> None:
        # 30 of 100 found failed at 40 000 km: S(40 000) = 0.7
        ages = one_group([0.0] * 30 + [40e3] * 70, [40e3] * 30 + [np.inf] * 70)
        assert self.exponential(ages) == pytest.approx(40e3 / -np.log(0.7), rel=1e-9)

    def test_looks_at_two_distances_reproduce_both_shares(self) -> None:
        # 20 failed before 30 000 km, 50 more before 60 000, 30 were still good: two shares, two parameters
        ages = one_group([0.0] * 20 + [30e3] * 50 + [60e3] * 30, [30e3] * 20 + [60e3] * 50 + [np.inf] * 30)
        fit = fit_weibull(ages)
        assert fit.survival_fraction(np.array([30e3]))[0] == pytest.approx(0.8, abs=1e-10)
        assert fit.survival_fraction(np.array([60e3]))[0] == pytest.approx(0.3, abs=1e-10)

    def test_a_wide_prior_is_no_prior(self) -> None:
        ages = mixed_ages(10, 1, 80)
        wide = Prior.around(np.array([1e3]), scale_sd=1e6, shape_sd=1e6)
        assert parameters(fit_weibull(ages, 1, wide)) == pytest.approx(parameters(fit_weibull(ages)), rel=1e-8)


class TestTooLittle:
    @pytest.mark.parametrize(
        ("low", "high", "outcome"),
        [
            ([], [], Outcome.TOO_FEW_FAILURES),
            ([40e3, 50e3], [np.inf, np.inf], Outcome.TOO_FEW_FAILURES),
            ([40e3, 50e3], [40e3, np.inf], Outcome.TOO_FEW_FAILURES),
            ([40e3, 40e3], [40e3, 40e3], Outcome.NO_SINGLE_BEST),
            ([40e3, 40e3, 30e3], [40e3, 40e3, np.inf], Outcome.NO_SINGLE_BEST),
            ([0.0, 10e3], [50e3, 60e3], Outcome.NO_SINGLE_BEST),
            ([0.0, 0.0, 60e3], [10e3, 10e3, np.inf], Outcome.NO_SINGLE_BEST),
        ],
    )
    def test_a_group_that_says_too_little_is_a_result(
        self, low: list[float], high: list[float], outcome: Outcome
    ) -> None:
        ages = one_group(low, high)
        fit = fit_weibull(ages)
        assert fit.outcome[0] == outcome
        assert np.isnan(parameters(fit)).all()
        assert np.isnan(fit.mean_km().high).all()
        believed = fit_weibull(ages, 1, Prior.around(np.array([50e3])))
        assert believed.outcome[0] == Outcome.FITTED
        assert 20e3 < believed.scale_km[0] < 150e3

    def test_the_outcome_is_said_in_words(self) -> None:
        assert Outcome.TOO_FEW_FAILURES.words == "too few failures to learn from"

    def test_good_groups_do_not_suffer_from_bad_ones(self) -> None:
        good, bad = right_censored(12, 1, 30), one_group([40e3], [np.inf])
        both = fit_weibull(Ages(bad.low_km, bad.high_km, bad.group + 1).and_also(good), 3)
        assert both.outcome.tolist() == [Outcome.FITTED, Outcome.TOO_FEW_FAILURES, Outcome.TOO_FEW_FAILURES]
        assert both.scale_km[0] == pytest.approx(fit_weibull(good).scale_km[0], rel=1e-11)

    def test_without_records_the_prior_comes_back(self) -> None:
        prior = Prior.around(np.array([70e3, 90e3]))
        fit = fit_weibull(one_group([], []), 2, prior)
        assert fit.scale_km == pytest.approx([70e3, 90e3], rel=1e-12)
        assert fit.shape == pytest.approx([3.0, 3.0], rel=1e-12)
        assert np.sqrt(fit.scale_variance) == pytest.approx([0.4, 0.4], rel=1e-12)
        assert np.sqrt(fit.shape_variance) == pytest.approx([0.35, 0.35], rel=1e-12)
        assert fit.covariance == pytest.approx([0.0, 0.0])

    def test_a_part_still_running_past_the_prior_lengthens_the_life(self) -> None:
        prior = Prior.around(np.array([70e3]))
        running = [fit_weibull(one_group([age], [np.inf]), 1, prior).scale_km[0] for age in (0.0, 50e3, 100e3, 200e3)]
        assert running[0] == pytest.approx(70e3)
        assert (np.diff(running) > 0.0).all()

    @pytest.mark.parametrize(
        "ages",
        [
            one_group([-1.0], [5.0]),
            one_group([np.nan], [5.0]),
            one_group([6.0], [5.0]),
            one_group([0.0], [0.0]),
            one_group([4.0], [5.0], [4.5]),
            one_group([4.0], [5.0], [-1.0]),
            Ages(np.array([4.0]), np.array([5.0]), np.array([0]), None, np.array([-1.0])),
        ],
    )
    def test_ages_that_cannot_be_are_refused(self, ages: Ages) -> None:
        with pytest.raises(ValueError, match="ages must satisfy"):
            fit_weibull(ages)


class TestIntervals:
    def test_a_higher_level_widens_every_band_around_the_same_value(self) -> None:
        fit = fit_weibull(right_censored(13, 5, 30), 5)
        for band in (fit.mean_km, fit.scale_band_km, fit.shape_band, lambda level: fit.quantile_km(0.1, level)):
            narrow, wide = band(0.5), band(0.9)
            assert narrow.value == pytest.approx(wide.value)
            assert (wide.low < narrow.low).all()
            assert (narrow.low < narrow.value).all()
            assert (narrow.value < narrow.high).all()
            assert (narrow.high < wide.high).all()

    def test_the_mean_band_moves_with_both_parameters(self) -> None:
        # the delta method, against the spread of means over many draws of the parameters
        fit = fit_weibull(right_censored(14, 1, 400))
        covariance = [[fit.scale_variance[0], fit.covariance[0]], [fit.covariance[0], fit.shape_variance[0]]]
        draws = np.random.default_rng(0).multivariate_normal(parameters(fit)[:, 0], covariance, 40_000)
        means = np.exp(draws[:, 0]) * special.gamma(1.0 + np.exp(-draws[:, 1]))
        band = fit.mean_km(0.8)
        assert band.low[0] == pytest.approx(np.quantile(means, 0.1), rel=2e-3)
        assert band.high[0] == pytest.approx(np.quantile(means, 0.9), rel=2e-3)

    def test_the_quantile_is_where_that_share_has_ended(self) -> None:
        fit = fit_weibull(right_censored(15, 4, 40), 4)
        assert fit.survival_fraction(fit.quantile_km(0.1).value) == pytest.approx([0.9] * 4, abs=1e-12)

    def test_gamma_functions_are_those_of_scipy(self) -> None:
        x = np.array([0.05, 0.5, 1.0, 1.33, 2.0, 7.5, 60.0])
        assert log_gamma(x) == pytest.approx(special.gammaln(x), abs=1e-12)
        assert digamma(x) == pytest.approx(special.digamma(x), rel=1e-12)


class TestPosteriorMean:
    def test_it_is_nearer_the_integral_than_the_mode(self) -> None:
        # five lives, two of them ended; the true mean by summing the posterior over a fine grid
        ages = one_group([60e3, 45e3, 90e3, 30e3, 70e3], [70e3, 45e3, np.inf, np.inf, np.inf])
        prior = Prior.around(np.array([80e3]))
        mode = fit_weibull(ages, 1, prior)
        mean = posterior_mean(ages, mode)
        m, k = np.meshgrid(np.log(80e3) + np.linspace(-2, 2.5, 300), np.log(3.0) + np.linspace(-1.8, 1.8, 241))
        everywhere = Ages(*(np.tile(column, m.size) for column in ages.columns()[:2]), np.repeat(np.arange(m.size), 5))
        value = log_likelihood(sample_of(everywhere, m.size), m.ravel(), k.ravel()).value
        value = value - 0.5 * ((m.ravel() - np.log(80e3)) / 0.4) ** 2 - 0.5 * ((k.ravel() - np.log(3.0)) / 0.35) ** 2
        weight = np.exp(value - value.max())
        true_m, true_k = ((weight * x.ravel()).sum() / weight.sum() for x in (m, k))
        assert abs(mean.log_scale[0] - true_m) < 0.3 * abs(mode.log_scale[0] - true_m)
        assert abs(mean.log_shape[0] - true_k) < 0.5 * abs(mode.log_shape[0] - true_k)

    def test_without_records_it_stays_at_the_prior(self) -> None:
        nothing = one_group([], [])
        mode = fit_weibull(nothing, 1, Prior.around(np.array([80e3])))
        assert posterior_mean(nothing, mode).scale_km == pytest.approx(80e3, rel=1e-12)
