"""What a fleet learns from its own fitted parts: what counts as what, and how close it comes to a hidden truth."""

from dataclasses import replace

import numpy as np
import pytest

from inspections.core.lives import Lesson, book_prior, coefficient_of_variation, learn_lives
from inspections.core.part_ages import Ending, Histories, censored, dated, ended_share, undated
from inspections.core.weibull import fit_weibull
from tests.benchmarks.learning import accuracy
from tests.benchmarks.learning.records import Habits, draw_truth, kept_histories

Row = tuple[float, float, float, float, Ending]


def histories(*rows: Row, kind: list[int] | None = None) -> Histories:
    """Fitted, first seen, last good, ended (clock km), ending."""
    fitted, first, good, ended, ending = zip(*rows, strict=True) if rows else ((), (), (), (), ())
    return Histories(
        np.array(kind if kind is not None else [0] * len(rows), dtype=np.int64),
        *(np.array(column, dtype=float) for column in (fitted, first, good, ended)),
        np.array(ending, dtype=np.int64),
    )


def spans(kept: Histories) -> list[tuple[float, float, float, float]]:
    """Low, high, entry and weight of the dated records."""
    low, high, _, entry, weight = censored(kept, dated(kept), ended_share(kept, 1)).ages.columns()
    return list(zip(low.tolist(), high.tolist(), entry.tolist(), weight.tolist(), strict=True))


class TestWhatCountsAsWhat:
    def test_a_failure_counts_at_its_age(self) -> None:
        assert spans(histories((20e3, 20e3, 80e3, 95e3, Ending.FAILED))) == [(75e3, 75e3, 0.0, 1.0)]

    def test_a_worn_out_part_ended_between_the_last_good_look_and_its_removal(self) -> None:
        assert spans(histories((20e3, 20e3, 80e3, 95e3, Ending.WORN_OUT))) == [(60e3, 75e3, 0.0, 1.0)]

    def test_an_early_renewal_has_outlived_its_removal(self) -> None:
        assert spans(histories((20e3, 20e3, 80e3, 95e3, Ending.RENEWED_EARLY))) == [(75e3, np.inf, 0.0, 1.0)]

    def test_a_part_in_service_has_outlived_its_last_good_look(self) -> None:
        assert spans(histories((20e3, 20e3, 80e3, 95e3, Ending.IN_SERVICE))) == [(60e3, np.inf, 0.0, 1.0)]

    def test_a_part_first_seen_later_is_watched_from_there(self) -> None:
        assert spans(histories((20e3, 50e3, 80e3, 95e3, Ending.FAILED))) == [(75e3, 75e3, 30e3, 1.0)]

    def test_a_removal_for_an_unknown_reason_counts_partly_as_each(self) -> None:
        known = [(0.0, 0.0, 9e4, 9e4, Ending.FAILED)] * 30 + [(0.0, 0.0, 5e4, 5e4, Ending.RENEWED_EARLY)] * 10
        rows = spans(histories(*known, (0.0, 0.0, 60e3, 70e3, Ending.UNKNOWN)))[-2:]
        assert [row[:2] for row in rows] == [(60e3, 70e3), (70e3, np.inf)]
        assert rows[0][3] == pytest.approx(0.75, abs=0.01)
        assert rows[0][3] + rows[1][3] == pytest.approx(1.0)

    def test_a_part_that_failed_at_once_is_no_error(self) -> None:
        learned = learn_lives(histories((5e3, 5e3, 5e3, 5e3, Ending.FAILED)), np.array([80e3]))
        assert learned.fit.shape[0] < 2.0
        assert 0.0 < learned.life_km.low[0] < 60e3

    @pytest.mark.parametrize(
        "row", [(9e3, 5e3, 6e3, 7e3), (0.0, 8e3, 6e3, 9e3), (0.0, 5e3, 9e3, 7e3), (np.nan, 8e3, 8e3, 7e3)]
    )
    def test_readings_that_run_backwards_are_refused(self, row: tuple[float, float, float, float]) -> None:
        with pytest.raises(ValueError, match="readings must run"):
            histories((*row, Ending.FAILED))


class TestWornOutAndNeverLookedAt:
    def test_it_ended_shortly_before_it_was_noticed_and_not_any_time_since_it_was_fitted(self) -> None:
        kept = histories((20e3, 20e3, 20e3, 95e3, Ending.WORN_OUT)).noticed_within(15e3)
        assert spans(kept) == [(60e3, 75e3, 0.0, 1.0)]

    def test_it_is_no_older_than_it_can_be(self) -> None:
        kept = histories((20e3, 20e3, 20e3, 30e3, Ending.WORN_OUT)).noticed_within(15e3)
        assert spans(kept) == [(0.0, 10e3, 0.0, 1.0)]

    def test_what_a_look_found_good_and_what_failed_are_left_as_they_are(self) -> None:
        rows = [
            (20e3, 20e3, 40e3, 95e3, Ending.WORN_OUT),
            (20e3, 20e3, 20e3, 95e3, Ending.FAILED),
            (20e3, 20e3, 20e3, 95e3, Ending.RENEWED_EARLY),
            (20e3, 20e3, 20e3, 95e3, Ending.IN_SERVICE),
        ]
        kept = histories(*rows)
        assert np.array_equal(kept.noticed_within(15e3).last_good_clock_km, kept.last_good_clock_km)

    def test_not_knowing_how_soon_it_was_noticed_widens_the_interval(self) -> None:
        rows = [(0.0, 0.0, 0.0, age, Ending.WORN_OUT) for age in np.linspace(50e3, 120e3, 60).tolist()]
        seen = histories(*rows).noticed_within(20e3)
        unseen, looked_at = (learn_lives(each, np.array([80e3])) for each in (histories(*rows), seen))
        assert unseen.life_km.value == pytest.approx(looked_at.life_km.value)
        width = [float(np.log(each.life_km.high / each.life_km.low)[0]) for each in (unseen, looked_at)]
        assert width[0] > 1.2 * width[1]


class TestUndatedParts:
    def supposed(self, *rows: Row) -> tuple[np.ndarray, np.ndarray]:
        kept = histories(*rows)
        spread = undated(kept, np.array([1e5]), np.array([3.0]), ended_share(kept, 1))
        return spread.age_km.reshape(len(rows), -1), spread.weight.reshape(len(rows), -1)

    def test_the_weights_of_a_record_sum_to_one(self) -> None:
        endings = [(np.nan, 120e3, 150e3, 160e3, ending) for ending in Ending]
        _, weight = self.supposed(*endings)
        assert weight.sum(axis=1) == pytest.approx(np.ones(len(endings)), abs=1e-12)

    def test_on_a_young_vehicle_the_part_is_the_original(self) -> None:
        age, weight = self.supposed((np.nan, 10e3, 30e3, 40e3, Ending.IN_SERVICE))
        assert age[0, -1] == 10e3
        assert weight[0, -1] > 0.99

    def test_a_part_that_failed_soon_was_older_than_one_that_lasted(self) -> None:
        age, weight = self.supposed(
            (np.nan, 250e3, 255e3, 260e3, Ending.FAILED), (np.nan, 250e3, 330e3, 340e3, Ending.FAILED)
        )
        soon, late = (age * weight).sum(axis=1)
        assert soon > late + 20e3

    def test_the_spread_of_ages_is_that_of_simulated_vehicles(self) -> None:
        # renewed at failure only; parts followed from 300 000 km that fail within 20 000 km: how old were they then?
        rng = np.random.default_rng(1)
        fitted, age_seen = np.zeros(40_000), []
        for _ in range(12):
            dead = fitted + 1e5 * rng.weibull(3.0, len(fitted))
            age_seen.append((300e3 - fitted)[(fitted <= 300e3) & (dead > 300e3) & (dead <= 320e3)])
            fitted = dead
        simulated = np.concatenate(age_seen)
        age, weight = self.supposed((np.nan, 300e3, 300e3, 320e3, Ending.WORN_OUT))
        assert (age * weight).sum() == pytest.approx(simulated.mean(), rel=0.03)

    def test_the_oldest_readings_and_shortest_lives_are_no_error(self) -> None:
        kept = histories((np.nan, 9e6, 9e6, 9.5e6, Ending.IN_SERVICE), (np.nan, 0.0, 0.0, 0.0, Ending.FAILED))
        learned = learn_lives(kept, np.array([50e3]))
        assert np.isfinite(learned.life_km.high).all()


class TestLessons:
    def test_a_kind_without_records_keeps_the_life_of_the_book(self) -> None:
        learned = learn_lives(histories(), np.array([80e3, 120e3]))
        assert learned.life_km.value == pytest.approx([80e3, 120e3], rel=1e-9)
        assert learned.factor == pytest.approx([1.0, 1.0], rel=1e-9)
        assert learned.lesson.tolist() == [Lesson.TOO_FEW_FAILURES] * 2

    def test_the_counts_say_what_was_learned_from(self) -> None:
        kept = histories(
            (0.0, 0.0, 5e4, 6e4, Ending.FAILED),
            (0.0, 0.0, 5e4, 6e4, Ending.WORN_OUT),
            (np.nan, 3e4, 5e4, 6e4, Ending.RENEWED_EARLY),
            (0.0, 0.0, 5e4, 6e4, Ending.IN_SERVICE),
            (np.nan, 3e4, 5e4, 6e4, Ending.UNKNOWN),
            (0.0, 0.0, 5e4, 6e4, Ending.FAILED),
            kind=[0, 0, 0, 0, 0, 1],
        )
        learned = learn_lives(kept, np.array([80e3, 80e3]))
        counts = (
            learned.ended,
            learned.renewed_early,
            learned.in_service,
            learned.reason_unknown,
            learned.date_unknown,
        )
        assert [count.tolist() for count in counts] == [[2, 1], [1, 0], [1, 0], [1, 0], [2, 0]]
        assert learned.lesson.tolist() == [Lesson.LEARNED, Lesson.TOO_FEW_FAILURES]
        assert Lesson(learned.lesson[1]).words == "too few failures to learn from"

    def test_early_renewals_alone_never_shorten_a_life(self) -> None:
        kept = histories(*[(0.0, 0.0, age, age, Ending.RENEWED_EARLY) for age in (20e3, 50e3, 90e3)])
        assert learn_lives(kept, np.array([80e3])).factor[0] > 1.0

    def test_more_records_narrow_the_interval(self) -> None:
        rows = [(0.0, 0.0, age, age, Ending.FAILED) for age in (50e3, 70e3, 90e3, 110e3)]
        widths = []
        for times in (1, 4, 16):
            life = learn_lives(histories(*rows * times), np.array([80e3])).life_km
            widths.append(float(np.log(life.high / life.low)[0]))
        assert widths[1] < 0.7 * widths[0]
        assert widths[2] < 0.6 * widths[1]

    def test_missing_dates_and_reasons_widen_the_interval(self) -> None:
        rng = np.random.default_rng(6)
        kept = kept_histories(rng, draw_truth(rng, 40), 15, Habits(dates_known_fraction=1.0))
        came_along = kept.first_seen_clock_km > kept.fitted_clock_km
        no_date = replace(kept, fitted_clock_km=np.where(came_along, np.nan, kept.fitted_clock_km))
        removed = kept.ending != Ending.IN_SERVICE
        no_reason = replace(
            kept, ending=np.where(removed & (rng.random(len(removed)) < 0.5), Ending.UNKNOWN, kept.ending)
        )
        full, dateless, reasonless = (
            np.sqrt(learn_lives(each, np.full(40, 90e3)).fit.scale_variance).mean()
            for each in (kept, no_date, no_reason)
        )
        assert dateless > 1.2 * full
        assert reasonless > 1.02 * full

    def test_the_catalogue_life_is_the_mean_and_its_spread_that_of_the_shape(self) -> None:
        nothing = fit_weibull(
            censored(histories(), dated(histories()), np.ones(1)).ages, 1, book_prior(np.array([9e4]))
        )
        lives = float(nothing.scale_km[0]) * np.random.default_rng(0).weibull(float(nothing.shape[0]), 400_000)
        assert lives.mean() == pytest.approx(9e4, rel=3e-3)
        assert lives.std() / lives.mean() == pytest.approx(coefficient_of_variation(nothing.shape)[0], rel=3e-3)


class TestAgainstTheTruth:
    """Short, seeded runs of the benchmark; its targets hold."""

    @pytest.mark.parametrize("records", [5, 20, 100])
    def test_learned_lives_meet_the_targets_and_beat_prior_and_likelihood(self, records: int) -> None:
        ways = accuracy.by_records(records, 20_000 // records + 500, seed=1)
        assert ways["posterior"].rmse <= accuracy.TARGETS[records]
        assert ways["posterior"].rmse <= min(ways["prior"].rmse, ways["likelihood"].rmse)
        assert 0.74 <= ways["posterior"].coverage <= 0.85
        assert abs(ways["posterior"].bias) < 0.05

    def test_dropping_the_healthy_parts_shortens_lives_by_a_quarter_and_more_data_does_not_cure_it(self) -> None:
        few, many = accuracy.once_followed(20, 400, seed=2), accuracy.once_followed(200, 200, seed=2)
        assert np.exp(few["ended only"].bias) == pytest.approx(0.75, abs=0.04)
        assert np.exp(many["ended only"].bias) == pytest.approx(0.75, abs=0.04)
        assert abs(few["posterior"].bias) < 0.03
        assert abs(many["posterior"].bias) < 0.015

    def test_undated_parts_sharpen_lives_and_intervals_stay_honest(self) -> None:
        habits = Habits(dates_known_fraction=0.0, followed_km=60_000.0)
        ways = accuracy.undated(12, 150, 4, habits)
        assert ways["all records"].rmse < 0.85 * ways["dated only"].rmse
        assert abs(ways["all records"].bias) < 0.05
        assert 0.70 <= ways["all records"].coverage <= 0.88

    @pytest.mark.parametrize("name", list(accuracy.NOBODY_LOOKS)[:4])
    def test_intervals_stay_honest_where_nobody_ever_looks(self, name: str) -> None:
        """Taken for ends spread evenly since fitting, worn parts made lives a fifth too short: 38 % covered."""
        learned = accuracy.undated(15, 120, 4, accuracy.NOBODY_LOOKS[name])["all records"]
        assert 0.70 <= learned.coverage <= 0.92
        assert abs(learned.bias) < 0.08

    def test_intervals_own_up_that_no_reason_is_on_record(self) -> None:
        """Half of the removals taken for early renewals, and that for certain: 35 % covered."""
        learned = accuracy.undated(15, 120, 4, accuracy.NOBODY_LOOKS["reasons never written down"])["all records"]
        assert learned.coverage > 0.70
        assert abs(learned.bias) < 0.12

    def test_reasons_lost_at_random_do_not_bend_the_lives(self) -> None:
        rng = np.random.default_rng(5)
        truth = draw_truth(rng, 60)
        kept = kept_histories(rng, truth, 60, Habits(dates_known_fraction=1.0, reasons_known_fraction=0.6))
        life = np.full(60, 90e3)
        with_reason = accuracy.Accuracy.of(learn_lives(kept, life).fit, truth)
        as_healthy = np.where(kept.ending == Ending.UNKNOWN, Ending.RENEWED_EARLY, kept.ending)
        naive = accuracy.Accuracy.of(learn_lives(replace(kept, ending=as_healthy), life).fit, truth)
        assert abs(with_reason.bias) < 0.025
        assert naive.bias > 0.08
