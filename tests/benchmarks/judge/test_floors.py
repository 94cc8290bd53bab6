"""The judge gives what its arithmetic gives when written out plainly: the floors of its speed are a second opinion."""

import numpy as np

from inspections.core.plausible_lives import PlausibleLives
from tests.benchmarks.judge.floors import known_chance, mixed_cost
from tests.benchmarks.judge.speed import LOOKS, book_of_60, costs_of_60, filtered, fleet, judged


def test_next_years_cost_of_a_mixed_fleet_is_that_of_the_formulas_written_out() -> None:
    rng = np.random.default_rng(7)
    book, costs = book_of_60(rng), costs_of_60(rng)
    lives, seen = PlausibleLives.of(book), fleet(rng, 8)
    assert np.isnan(seen[0].fitted_clock_km).sum() > 200
    assert np.unique(seen[1].cell[seen[1].grade > 0]).size > 60
    expected = mixed_cost(lives, costs, *seen, LOOKS)
    np.testing.assert_allclose(judged(book, costs, lives, *seen), expected, rtol=1e-9)


def test_chances_of_parts_seen_sound_are_those_of_the_formula_as_it_stands() -> None:
    rng = np.random.default_rng(8)
    book = book_of_60(rng)
    lives, seen = PlausibleLives.of(book), fleet(rng, 8, unknown_fraction=0.0, found_fraction=0.0)
    expected = known_chance(lives, *seen, LOOKS, split=False)
    np.testing.assert_allclose(filtered(book, lives, *seen), expected, rtol=1e-9, atol=1e-15)
