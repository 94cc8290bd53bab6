"""Suspects: exact against brute force, calibrated by simulation, and the check that tells most."""

from itertools import product

import numpy as np
import pytest

from inspections.core.suspects import MOST_SIGNS, NO_CHECK, PartChecks, SignTable, Suspicion, suspect_parts, told_bits
from inspections.core.types import BoolArray, FloatArray

SIGNS, PARTS = 5, 7


def random_table(rng: np.random.Generator, signs: int = SIGNS, parts: int = PARTS, linked: float = 0.5) -> SignTable:
    shows = rng.uniform(0.05, 0.95, (signs, parts)) * (rng.random((signs, parts)) < linked)
    return SignTable(shows, rng.uniform(0.01, 0.3, signs))


def brute_force(
    prior: FloatArray, table: SignTable, present: BoolArray, absent: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Every set of bad parts with its posterior chance: sets (2^K, K), chances (2^K,)."""
    sets = np.array(list(product([False, True], repeat=len(prior))))
    chance = np.where(sets, prior, 1.0 - prior).prod(axis=1)
    silent = 1.0 - np.where(sets[:, None, :], table.shows_fraction, 0.0)
    there = 1.0 - (1.0 - table.background_fraction) * silent.prod(axis=2)
    chance = chance * there[:, present].prod(axis=1) * (1.0 - there[:, absent]).prod(axis=1)
    return sets, chance / chance.sum()


def ask(prior: FloatArray, table: SignTable, *present: int, checks: PartChecks | None = None) -> Suspicion:
    there = np.isin(np.arange(len(table.background_fraction)), present)
    return suspect_parts(prior, table, there, np.zeros_like(there), checks)


def chance_of(suspicion: Suspicion, part: int) -> float:
    return float(suspicion.chance_fraction[suspicion.part == part][0])


class TestChances:
    @pytest.mark.parametrize("seed", range(12))
    def test_they_are_those_of_brute_force_over_all_sets_of_bad_parts(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        table, prior = random_table(rng), rng.uniform(0.01, 0.9, PARTS)
        present = rng.random(SIGNS) < 0.6
        absent = ~present & (rng.random(SIGNS) < 0.6)
        sets, chance = brute_force(prior, table, present, absent)
        found = suspect_parts(prior, table, present, absent)
        assert found.chance_fraction == pytest.approx((chance @ sets)[found.part], rel=1e-10)
        assert found.none_fraction == pytest.approx(chance[~sets[:, found.part].any(axis=1)].sum(), rel=1e-10)
        assert sorted(found.part) == np.flatnonzero((table.shows_fraction[present] > 0).any(axis=0)).tolist()

    def test_the_most_probable_comes_first_and_keeps_its_prior_beside_it(self) -> None:
        rng = np.random.default_rng(20)
        prior = rng.uniform(0.01, 0.5, PARTS)
        found = ask(prior, random_table(rng), 0, 1, 2)
        assert (np.diff(found.chance_fraction) <= 0.0).all()
        assert found.prior_fraction == pytest.approx(prior[found.part])

    def test_tiny_chances_keep_their_digits(self) -> None:
        # ten rare signs at once, each with a part of its own: closed form for each, whatever the others
        shows, background = np.diag(np.full(10, 0.6)), np.full(10, 2e-3)
        found = ask(np.full(10, 1e-4), SignTable(shows, background), *range(10))
        bad = 1e-4 * (1.0 - (1.0 - 2e-3) * 0.4)
        assert found.chance_fraction == pytest.approx(np.full(10, bad / (bad + (1.0 - 1e-4) * 2e-3)), rel=1e-10)

    def test_parts_that_show_none_of_the_signs_are_no_suspects(self) -> None:
        table = SignTable(np.array([[0.8, 0.0], [0.0, 0.7]]), np.array([0.05, 0.05]))
        assert ask(np.array([0.1, 0.9]), table, 0).part.tolist() == [0]

    def test_a_sign_without_any_cause_in_the_table_changes_nothing_and_is_named(self) -> None:
        table = SignTable(np.array([[0.8, 0.3], [0.0, 0.0]]), np.array([0.05, 0.05]))
        prior = np.array([0.1, 0.2])
        with_it, without = ask(prior, table, 0, 1), ask(prior, table, 0)
        assert with_it.chance_fraction == pytest.approx(without.chance_fraction)
        assert with_it.signs_unused.tolist() == [1]

    def test_without_signs_nobody_is_suspected(self) -> None:
        found = ask(np.full(PARTS, 0.1), random_table(np.random.default_rng(1)))
        assert found.part.size == 0
        assert found.none_fraction == 1.0
        assert found.next_check == NO_CHECK

    def test_a_part_known_to_be_bad_explains_the_others_away(self) -> None:
        table = SignTable(np.array([[0.9, 0.9]]), np.array([0.01]))
        even = ask(np.array([0.05, 0.05]), table, 0)
        explained = ask(np.array([1.0, 0.05]), table, 0)
        assert chance_of(even, 1) > 0.4
        assert chance_of(explained, 1) == pytest.approx(0.05, abs=0.01)
        assert explained.none_fraction == 0.0

    def test_a_second_sign_of_the_same_part_raises_it_and_one_not_found_lowers_it(self) -> None:
        table = SignTable(np.array([[0.8, 0.8], [0.7, 0.0]]), np.array([0.03, 0.03]))
        prior = np.array([0.05, 0.05])
        one = suspect_parts(prior, table, np.array([True, False]), np.array([False, False]))
        both = suspect_parts(prior, table, np.array([True, True]), np.array([False, False]))
        not_found = suspect_parts(prior, table, np.array([True, False]), np.array([False, True]))
        assert chance_of(both, 0) > chance_of(one, 0) > chance_of(not_found, 0)
        assert chance_of(not_found, 1) > chance_of(one, 1)

    def test_common_signs_leave_room_for_none_of_these(self) -> None:
        shows, prior = np.array([[0.8, 0.5]]), np.array([0.03, 0.03])
        rare = ask(prior, SignTable(shows, np.array([0.01])), 0)
        common = ask(prior, SignTable(shows, np.array([0.30])), 0)
        assert common.none_fraction > 0.8 > rare.none_fraction

    def test_each_suspect_says_which_signs_it_would_explain(self) -> None:
        table = SignTable(np.array([[0.8, 0.0], [0.7, 0.6], [0.5, 0.5]]), np.full(3, 0.05))
        found = ask(np.array([0.2, 0.1]), table, 0, 1)
        assert found.part.tolist() == [0, 1]
        assert found.explains.tolist() == [[True, True, False], [False, True, False]]

    def test_of_too_many_signs_the_rarest_are_used(self) -> None:
        signs = MOST_SIGNS + 4
        background = np.linspace(0.01, 0.2, signs)
        found = ask(np.full(3, 0.1), SignTable(np.full((signs, 3), 0.5), background), *range(signs))
        assert found.signs_unused.tolist() == list(range(MOST_SIGNS, signs))
        assert np.isfinite(found.chance_fraction).all()

    def test_signs_that_contradict_the_table_are_no_error(self) -> None:
        table = SignTable(np.array([[1.0], [1.0]]), np.array([0.0, 0.0]))
        found = suspect_parts(np.array([1.0]), table, np.array([True, False]), np.array([False, True]))
        assert found.chance_fraction.tolist() == [1.0]
        clean = suspect_parts(np.array([0.0]), table, np.array([True, False]), np.array([False, False]))
        assert clean.chance_fraction.tolist() == [0.0]
        assert clean.none_fraction == 1.0


@pytest.fixture(scope="module")
def simulated() -> tuple[FloatArray, BoolArray, FloatArray, BoolArray]:
    """Chances given and truths, of suspects and of none, over vehicles whose signs are drawn from the table."""
    rng = np.random.default_rng(3)
    table = random_table(rng, signs=7, parts=16, linked=0.3)
    given, bad, none_given, none_true = [], [], [], []
    for _ in range(2000):
        prior = rng.beta(0.4, 4.0, 16)
        truth = rng.random(16) < prior
        silent = (1.0 - table.background_fraction) * (1.0 - table.shows_fraction * truth).prod(axis=1)
        there = rng.random(7) > silent
        asked = rng.random(7) < 0.7
        found = suspect_parts(prior, table, there & asked, ~there & asked)
        given.append(found.chance_fraction)
        bad.append(truth[found.part])
        none_given.append(found.none_fraction)
        none_true.append(not truth[found.part].any())
    return np.concatenate(given), np.concatenate(bad), np.array(none_given), np.array(none_true)


class TestCalibration:
    @pytest.mark.parametrize("tenth", range(10))
    def test_parts_suspected_with_a_chance_are_bad_that_often(
        self, simulated: tuple[FloatArray, BoolArray, FloatArray, BoolArray], tenth: int
    ) -> None:
        given, bad, _, _ = simulated
        these = (given >= tenth / 10) & (given < (tenth + 1) / 10)
        error = 4.0 * np.sqrt(0.25 / these.sum())
        assert these.sum() > 90
        assert bad[these].mean() == pytest.approx(given[these].mean(), abs=error)

    def test_none_of_these_is_true_as_often_as_it_is_said(
        self, simulated: tuple[FloatArray, BoolArray, FloatArray, BoolArray]
    ) -> None:
        _, _, given, true = simulated
        assert true.mean() == pytest.approx(given.mean(), abs=0.02)
        likely = given > 0.3
        assert true[likely].mean() == pytest.approx(given[likely].mean(), abs=0.1)


class TestNextCheck:
    def test_what_a_check_tells_is_the_drop_of_the_whole_posterior_entropy(self) -> None:
        # by brute force: entropy over all sets of bad parts before, and expected after the answer
        rng = np.random.default_rng(4)
        table, prior = random_table(rng), rng.uniform(0.05, 0.5, PARTS)
        present, nothing = np.ones(SIGNS, dtype=bool), np.zeros(SIGNS, dtype=bool)
        sets, chance = brute_force(prior, table, present, nothing)
        found = suspect_parts(prior, table, present, nothing)
        for part in found.part:
            says_bad = np.where(sets[:, part], 0.9, 0.04)
            expected = 0.0
            for answer in (says_bad, 1.0 - says_bad):
                joint = chance * answer
                expected -= (joint * np.log2(joint / joint.sum())).sum()
            drop = -(chance * np.log2(chance)).sum() - expected
            told = told_bits(chance_of(found, part), np.array([0.9]), np.array([0.04]))[0]
            assert told == pytest.approx(drop, rel=1e-9)

    def test_a_perfect_check_of_an_even_chance_tells_one_bit_and_a_coin_none(self) -> None:
        told = told_bits(0.5, np.array([1.0, 0.5]), np.array([0.0, 0.5]))
        assert told == pytest.approx([1.0, 0.0], abs=1e-12)

    def test_a_certain_part_needs_no_check(self) -> None:
        assert told_bits(1.0, np.array([0.9]), np.array([0.1]))[0] == pytest.approx(0.0, abs=1e-12)

    def checks(self, minutes: list[float]) -> PartChecks:
        """Two checks of part 0, one of part 1; none of part 2."""
        return PartChecks(
            np.array([0, 0, 1]), np.array(minutes), np.array([0.95, 0.7, 0.95]), np.array([0.02, 0.1, 0.02])
        )

    def table(self) -> SignTable:
        return SignTable(np.array([[0.9, 0.5, 0.4]]), np.array([0.05]))

    def test_each_suspect_gets_its_best_check_and_the_whole_the_best_of_all(self) -> None:
        found = ask(np.array([0.1, 0.1, 0.1]), self.table(), 0, checks=self.checks([10.0, 10.0, 10.0]))
        assert found.part.tolist() == [0, 1, 2]
        assert found.check.tolist() == [0, 2, NO_CHECK]
        assert found.bits_per_minute[0] > found.bits_per_minute[1] > found.bits_per_minute[2] == 0.0
        assert found.next_check == 0

    def test_minutes_decide_between_checks(self) -> None:
        found = ask(np.array([0.1, 0.1, 0.1]), self.table(), 0, checks=self.checks([60.0, 2.0, 1.0]))
        assert found.check.tolist() == [1, 2, NO_CHECK]
        assert found.next_check == 2

    def test_without_checks_none_is_advised(self) -> None:
        found = ask(np.array([0.1, 0.1, 0.1]), self.table(), 0)
        assert found.check.tolist() == [NO_CHECK] * 3
        assert found.next_check == NO_CHECK

    def test_following_the_advice_settles_the_matter_in_fewer_minutes(self) -> None:
        # until one part is called bad or all leaders are cleared: by the advice, against most probable first
        rng = np.random.default_rng(5)
        spent = {"advice": 0.0, "most probable first": 0.0}
        for _ in range(80):
            shows = rng.uniform(0.3, 0.9, (2, 6))
            prior, minutes = rng.uniform(0.02, 0.3, 6), rng.choice([1.0, 5.0, 30.0], 6)
            table = SignTable(shows, np.full(2, 0.02))
            sets, chance = brute_force(prior, table, np.ones(2, dtype=bool), np.zeros(2, dtype=bool))
            truth = sets[rng.choice(len(sets), p=chance)]
            checks = PartChecks(np.arange(6), minutes, np.full(6, 0.999), np.full(6, 0.001))
            for way in spent:
                left = prior.copy()
                for _ in range(6):
                    found = ask(left, table, 0, 1, checks=checks)
                    open_ones = found.part[(found.prior_fraction > 0.0) & (found.prior_fraction < 1.0)]
                    advised = checks.part[found.next_check] if way == "advice" else open_ones[0]
                    spent[way] += minutes[advised]
                    left[advised] = 1.0 if truth[advised] else 0.0
                    if truth[advised] or len(open_ones) == 1:
                        break
        assert spent["advice"] < 0.9 * spent["most probable first"]
