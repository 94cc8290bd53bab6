"""Lives of kinds shrunk towards what they have in common."""

import numpy as np
import pytest
from scipy import stats

from inspections.core.part_ages import Histories
from inspections.core.shrinkage import (
    COMMON_SD,
    SPREAD_SD,
    Counts,
    Shrunk,
    learn_with_common_bias,
    own_evidence,
    shrink,
)
from inspections.core.weibull import Ages, Prior, fit_weibull
from tests.benchmarks.learning import accuracy
from tests.benchmarks.learning.records import BOOK_SCALE_KM, Habits, Truth, book_life_km, kept_histories


def shrunk(estimates: list[float], variances: list[float]) -> Shrunk:
    none = np.zeros(len(estimates), dtype=np.int64)
    return shrink(np.array(estimates), np.array(variances), Counts(none, none))


class TestShrinking:
    def test_it_is_the_posterior_summed_by_brute_force(self) -> None:
        estimates, variances = np.array([0.35, 0.1, -0.2]), np.array([0.01, 0.04, 0.3])
        result = shrunk(estimates.tolist(), variances.tolist())
        common, spread = np.meshgrid(np.linspace(-2, 2, 801), np.linspace(0.002, 1.6, 400))
        weight = stats.norm.pdf(common, 0.0, COMMON_SD) * stats.halfnorm.pdf(spread, 0.0, SPREAD_SD)
        for estimate, variance in zip(estimates, variances, strict=True):
            weight = weight * stats.norm.pdf(estimate, common, np.sqrt(variance + spread**2))
        weight /= weight.sum()
        assert result.common_log_factor == pytest.approx((weight * common).sum(), abs=2e-3)
        assert result.common_sd == pytest.approx(
            np.sqrt((weight * common**2).sum() - (weight * common).sum() ** 2), rel=0.01
        )
        assert result.spread == pytest.approx((weight * spread).sum(), rel=0.02)
        for row, (estimate, variance) in enumerate(zip(estimates, variances, strict=True)):
            pull = variance / (variance + spread**2)
            given = pull * common + (1.0 - pull) * estimate
            mean = (weight * given).sum()
            second = (weight * (given**2 + pull * spread**2)).sum()
            assert result.log_factor[row] == pytest.approx(mean, abs=3e-3)
            assert result.log_factor_sd[row] == pytest.approx(np.sqrt(second - mean**2), rel=0.02)

    def test_every_group_moves_towards_the_common_factor_and_not_past_it(self) -> None:
        estimates = [0.6, 0.3, 0.25, 0.2, -0.1]
        result = shrunk(estimates, [0.05] * 5)
        share_moved = (np.array(estimates) - result.log_factor) / (np.array(estimates) - result.common_log_factor)
        assert ((share_moved > 0.0) & (share_moved < 1.0)).all()

    def test_who_knows_less_moves_further(self) -> None:
        result = shrunk([0.5, 0.5, 0.0, 0.0], [0.01, 0.2, 0.01, 0.2])
        assert result.log_factor[0] > result.log_factor[1]
        assert result.log_factor_sd[0] < result.log_factor_sd[1]

    @pytest.mark.parametrize("unknown", [np.inf, np.nan])
    def test_a_group_without_evidence_stands_at_the_common_factor_with_its_spread(self, unknown: float) -> None:
        result = shrunk([0.3, 0.4, 0.35, 9.9], [0.01, 0.01, 0.01, unknown])
        assert result.log_factor[3] == pytest.approx(result.common_log_factor)
        assert result.log_factor_sd[3] > result.common_sd
        assert np.isnan(result.alone[3])

    def test_groups_that_agree_are_taken_to_be_alike(self) -> None:
        rng = np.random.default_rng(1)
        drawn = rng.normal(size=40)
        alike = shrunk((0.2 + 0.1 * drawn).tolist(), [0.01] * 40)
        apart = shrunk((0.2 + 0.5 * drawn).tolist(), [0.01] * 40)
        assert alike.spread < 0.1
        assert apart.spread == pytest.approx(np.sqrt(0.25 * drawn.var() - 0.01), rel=0.1)
        assert np.ptp(alike.log_factor) < 0.15

    def test_without_any_evidence_beliefs_come_back(self) -> None:
        result = shrunk([0.0, 0.0], [np.inf, np.inf])
        assert result.common_log_factor == 0.0
        assert result.common_sd == pytest.approx(COMMON_SD)

    def test_factors_carry_intervals_that_widen_with_the_level(self) -> None:
        result = shrunk([0.3, -0.1, 0.2], [0.02, 0.05, 0.1])
        narrow, wide = result.factor(0.5), result.factor(0.9)
        assert narrow.value == pytest.approx(np.exp(result.log_factor))
        assert (wide.low < narrow.low).all()
        assert (wide.high > narrow.high).all()
        assert result.common_factor().low[0] < np.exp(result.common_log_factor) < result.common_factor().high[0]

    def test_intervals_hold_what_they_promise(self) -> None:
        rng = np.random.default_rng(2)
        held = []
        for _ in range(150):
            true = rng.normal(rng.normal(0.0, 0.4), abs(rng.normal(0.0, 0.4)), 12)
            variance = rng.uniform(0.01, 0.2, 12)
            band = shrunk(rng.normal(true, np.sqrt(variance)).tolist(), variance.tolist()).factor(0.8)
            held.append((band.low <= np.exp(true)) & (np.exp(true) <= band.high))
        assert np.mean(held) == pytest.approx(0.8, abs=0.025)


class TestOwnEvidence:
    def ages(self) -> Ages:
        rng = np.random.default_rng(3)
        life, ended = 70e3 * rng.weibull(3.0, 60), rng.uniform(2e4, 2e5, 60)
        return Ages.right_censored(np.minimum(life, ended), life <= ended)

    def test_it_is_what_a_fit_without_that_prior_finds(self) -> None:
        prior = Prior.around(np.array([100e3]))
        moved, variance = own_evidence(fit_weibull(self.ages(), 1, prior), prior)
        free = fit_weibull(self.ages(), 1, Prior.around(np.array([100e3]), scale_sd=1e5))
        assert moved[0] == pytest.approx(free.log_scale[0] - np.log(100e3), abs=0.01)
        assert variance[0] == pytest.approx(free.scale_variance[0], rel=0.1)

    def test_no_records_are_no_evidence(self) -> None:
        prior = Prior.around(np.array([100e3]))
        nothing = Ages(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
        assert own_evidence(fit_weibull(nothing, 1, prior), prior)[1][0] == np.inf


class TestKindsOfOneFleet:
    def test_a_common_bias_of_the_book_is_found_and_helps_every_kind(self) -> None:
        ways = accuracy.common_bias(30, 4, 6, seed=4)
        assert ways["shrunk"].rmse < 0.92 * ways["book alone"].rmse
        assert ways["shrunk"].rmse < 0.75 * ways["hardly any prior"].rmse
        assert abs(ways["shrunk"].bias) < 0.05
        assert 0.70 <= ways["shrunk"].coverage <= 0.88

    def test_a_kind_without_a_record_follows_the_others(self) -> None:
        kinds = 12
        truth = Truth(np.full(kinds - 1, np.log(0.6 * BOOK_SCALE_KM)), np.full(kinds - 1, np.log(3.0)))
        kept = kept_histories(np.random.default_rng(5), truth, 10, Habits(dates_known_fraction=1.0))
        learned, common = learn_with_common_bias(kept, np.full(kinds, book_life_km()))
        assert learned.ended[-1] == 0
        assert learned.factor[-1] == pytest.approx(0.6, abs=0.06)
        assert common.common_factor().value[0] == pytest.approx(0.6, abs=0.06)
        assert common.counts.records.tolist() == np.bincount(kept.kind, minlength=kinds).tolist()

    def test_without_records_the_book_stands(self) -> None:
        none = np.zeros(0)
        whole = np.zeros(0, dtype=np.int64)
        learned, common = learn_with_common_bias(Histories(whole, none, none, none, none, whole), np.array([5e4, 9e4]))
        assert learned.factor == pytest.approx([1.0, 1.0], abs=0.02)
        assert common.common_log_factor == pytest.approx(0.0, abs=1e-12)
