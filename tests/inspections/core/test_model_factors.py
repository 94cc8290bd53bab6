"""Models of vehicle told apart by how long parts last on them: against closed forms and a hidden truth."""

import numpy as np
import pytest
from scipy import integrate, stats

from inspections.core.lives import learn_lives
from inspections.core.model_factors import (
    FREEDOM,
    SPREAD_SD,
    VEHICLE_SD,
    FactorLesson,
    ModelFactors,
    _Groups,
    _slopes,
    learn_with_models,
)
from inspections.core.part_ages import Ending, Histories
from inspections.core.shrinkage import learn_with_common_bias
from inspections.core.types import FloatArray, IntArray
from tests.benchmarks.learning import models
from tests.benchmarks.learning.models import draw_workshop, forecast_errors, learned
from tests.benchmarks.learning.records import book_life_km

LEARNED, NO_DIFFERENCE = FactorLesson.LEARNED, FactorLesson.NO_DIFFERENCE


def run_to_failure(age_km: FloatArray, failed: np.ndarray, kind: IntArray | None = None) -> Histories:
    """Parts followed from new until they failed, or until they were last seen to serve."""
    zero = np.zeros(len(age_km))
    ending = np.where(failed, Ending.FAILED, Ending.IN_SERVICE).astype(np.int64)
    return Histories(
        np.zeros(len(age_km), dtype=np.int64) if kind is None else kind, zero, zero, age_km, age_km, ending
    )


class TestTheRecordOfOneModel:
    def test_the_slope_of_the_likelihood_is_the_closed_form(self) -> None:
        """Of lives T with shape k, n of N failed: k (sum (T / scale e^f)^k - n)."""
        rng = np.random.default_rng(1)
        kind = rng.integers(0, 2, 50)
        age, failed = rng.uniform(2e4, 1.5e5, 50), rng.random(50) < 0.7
        kept = run_to_failure(age, failed, kind)
        fit = learn_lives(kept, np.array([8e4, 1.2e5])).fit
        slopes = _slopes(kept, _Groups.of(kept, np.zeros(50, dtype=np.int64), np.zeros(1, dtype=np.int64), 1), fit)
        log_factor = -1.2 + 0.1 * np.arange(25)
        shape, scale = fit.shape[kind], fit.scale_km[kind]
        expected = [(shape * ((age / (scale * np.exp(f))) ** shape - failed)).sum() for f in log_factor]
        assert slopes[0] == pytest.approx(expected, rel=1e-9)
        assert slopes[1] == pytest.approx(np.zeros(25))

    def test_the_factor_is_the_posterior_summed_by_brute_force(self) -> None:
        """One model of three vehicles with 12 known lives, beside many vehicles that fix the lives themselves."""
        rng = np.random.default_rng(2)
        others, mine = 1e5 * rng.weibull(3.0, 4_000), 0.8e5 * rng.weibull(3.0, 12)
        kept = run_to_failure(np.concatenate((others, mine)), np.ones(4_012, dtype=bool))
        vehicle = np.concatenate((np.repeat(np.arange(100), 40), np.repeat([100, 101, 102], 4)))
        model = np.concatenate((np.full(100, -1), np.zeros(3))).astype(np.int64)
        lives, factors = learn_with_models(kept, vehicle, model, 1, np.array([9e4]))
        shape, scale = lives.fit.shape[0], lives.fit.scale_km[0]

        f, of_model = np.linspace(-0.8, 0.5, 66), np.linspace(-1.2, 1.2, 97)
        spread = np.linspace(0.01, 0.75, 30)[:, None, None]
        lasted = np.array([stats.weibull_min.logpdf(mine, shape, scale=scale * np.exp(each)).sum() for each in f])
        of_vehicles = stats.norm.pdf(f, of_model[:, None], VEHICLE_SD / np.sqrt(3.0))
        told = stats.t.pdf(of_model[:, None] / spread, FREEDOM) / spread * stats.halfnorm.pdf(spread, scale=SPREAD_SD)
        cube = told * of_vehicles * np.exp(lasted - lasted.max())
        weight = cube.sum(axis=(0, 1))
        below = integrate.cumulative_trapezoid(weight, f, initial=0.0)
        for found, share in ((factors.factor.low, 0.1), (factors.factor.value, 0.5), (factors.factor.high, 0.9)):
            assert np.log(found[0]) == pytest.approx(np.interp(share * below[-1], below, f), abs=0.015)


class TestAWorkshop:
    def test_a_short_lived_model_is_found_and_no_other_is_touched(self) -> None:
        shop = draw_workshop(31, (12, 6, 6, 6, 6), np.array([0.7, 1.0, 1.0, 1.0, 1.0]), vehicle_sd=0.0)
        lives, factors = learned(shop)
        assert factors.factor.value[0] == pytest.approx(0.7, abs=0.05)
        assert factors.factor.low[0] < factors.factor.value[0] < factors.factor.high[0]
        assert factors.lesson.tolist() == [LEARNED, *[NO_DIFFERENCE] * 4]
        assert factors.believed[1:].tolist() == [1.0] * 4
        # The lives are those of the others: pooled with the short-lived model they would be a seventh too short.
        off, pooled = (
            np.mean(each.fit.log_scale - shop.truth.log_scale) for each in (lives, models.without_models(shop))
        )
        assert abs(off) < 0.05
        assert pooled < -0.1

    def test_failures_of_that_model_are_forecast_better_and_the_others_no_worse(self) -> None:
        found = forecast_errors(draw_workshop(32, (12, 6, 6, 6, 6), np.array([0.7, 1.0, 1.0, 1.0, 1.0])), 5)
        error = {way: found[way] - found["truth"] for way in ("with models", "without")}
        for rows, gain in ((slice(0, 12), 0.9), (slice(12, None), 1.0)):
            ours, plain = (float(np.sqrt((error[way][rows] ** 2).mean())) for way in ("with models", "without"))
            assert ours < gain * plain
        predicted = found["with models"][:12].mean() / found["truth"][:12].mean()
        assert 0.85 < predicted < 1.15
        assert found["without"][:12].mean() < 0.75 * found["truth"][:12].mean()

    def test_intervals_hold_what_they_promise_and_models_that_are_alike_are_left_alone(self) -> None:
        differing = models.coverage((3, 4, 6, 8, 3), 10, 0.2, 0.2, shops=10, seed=1500, kinds=8)
        assert 0.68 <= differing["coverage_fraction"] <= 0.92
        assert differing["log_life_rmse_with_models"] < 0.5 * differing["log_life_rmse_without"]
        alike = models.coverage((3, 4, 6, 8, 3), 10, 0.0, 0.0, shops=5, seed=80, kinds=8)
        assert alike["believed_fraction"] < 0.1

    def test_two_models_only_are_told_against_each_other(self) -> None:
        shop = draw_workshop(33, (10, 10), np.array([0.7, 1.0]), vehicle_sd=0.0)
        lives, factors = learned(shop)
        off = np.mean(lives.fit.log_scale - shop.truth.log_scale)
        assert off + np.log(factors.believed) == pytest.approx(np.log([0.7, 1.0]), abs=0.06)
        assert LEARNED in factors.lesson


class TestTooLittle:
    def few(self, ended: int, vehicles: int = 3) -> ModelFactors:
        """One model with a few short lives in a fleet with plenty of others."""
        rng = np.random.default_rng(3)
        others = 1e5 * rng.weibull(3.0, 400)
        mine = np.linspace(4e4, 5e4, 3 * vehicles)
        failed = np.concatenate((np.ones(400, dtype=bool), np.arange(len(mine)) < ended))
        kept = run_to_failure(np.concatenate((others, mine)), failed)
        vehicle = np.concatenate((np.repeat(np.arange(20), 20), 20 + np.repeat(np.arange(vehicles), 3)))
        model = np.concatenate((np.full(20, -1), np.zeros(vehicles))).astype(np.int64)
        return learn_with_models(kept, vehicle, model, 1, np.array([9e4]))[1]

    @pytest.mark.parametrize("ended", [0, 1])
    def test_hardly_any_failure_says_little_and_is_not_believed(self, ended: int) -> None:
        factors = self.few(ended)
        assert factors.lesson[0] == FactorLesson.TOO_FEW_FAILURES
        assert factors.factor.value[0] == pytest.approx(1.0, abs=0.12)
        assert factors.factor.low[0] < 0.95 < 1.1 < factors.factor.high[0]
        assert factors.believed[0] == 1.0
        assert (factors.vehicles[0], factors.records[0], factors.ended[0]) == (3, 9, ended)

    def test_more_of_the_same_narrows_the_interval_until_it_is_believed(self) -> None:
        some, more = self.few(3), self.few(30, vehicles=10)
        width = [float(np.log(each.factor.high / each.factor.low)[0]) for each in (some, more)]
        assert width[1] < 0.6 * width[0]
        assert (some.lesson[0], more.lesson[0]) == (NO_DIFFERENCE, LEARNED)

    def test_a_single_vehicle_with_a_history_is_no_model(self) -> None:
        assert self.few(3, vehicles=1).lesson[0] == FactorLesson.TOO_FEW_FAILURES

    def test_where_all_vehicles_are_of_one_model_the_lives_say_it_all(self) -> None:
        shop = draw_workshop(34, (8,), np.array([0.7]), vehicle_sd=0.0, kinds=6)
        lives, factors = learned(shop)
        assert factors.lesson.tolist() == [FactorLesson.NOTHING_TO_COMPARE]
        assert factors.believed.tolist() == [1.0]
        assert np.mean(lives.fit.log_scale - shop.truth.log_scale) == pytest.approx(np.log(0.7), abs=0.08)

    def test_a_fleet_of_unlike_vehicles_learns_lives_as_ever(self) -> None:
        shop = draw_workshop(35, (), np.zeros(0), singles=8, kinds=6)
        lives, factors = learned(shop)
        plain, _ = learn_with_common_bias(shop.histories, np.full(6, book_life_km()))
        assert len(factors.lesson) == len(factors.believed) == 0
        assert np.array_equal(lives.life_km.value, plain.life_km.value)

    def test_no_records_at_all_are_no_error(self) -> None:
        none, whole = np.zeros(0), np.zeros(0, dtype=np.int64)
        nothing = Histories(whole, none, none, none, none, whole)
        _, factors = learn_with_models(nothing, whole, np.zeros(2, dtype=np.int64), 1, np.array([9e4]))
        assert factors.believed.tolist() == [1.0]
        assert factors.lesson.tolist() == [FactorLesson.TOO_FEW_FAILURES]


def test_lives_out_of_all_proportion_are_taken_as_gaps_in_the_record() -> None:
    rng = np.random.default_rng(4)
    age = np.concatenate((1e5 * rng.weibull(3.0, 400), 0.31e5 * rng.weibull(3.0, 100)))
    kept = run_to_failure(age, np.ones(500, dtype=bool))
    model = np.concatenate((np.full(20, -1), np.zeros(5))).astype(np.int64)
    _, factors = learn_with_models(kept, np.repeat(np.arange(25), 20), model, 1, np.array([9e4]))
    assert factors.lesson.tolist() == [FactorLesson.IMPLAUSIBLE]
    assert factors.believed.tolist() == [1.0]
