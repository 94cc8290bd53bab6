"""The year's cost of parts nobody looked at, held against the long way: what is left of every life, then its cost."""

import numpy as np

from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.tended_year import tended_year_cost
from inspections.core.unlooked import PARTS_AT_ONCE, unlooked_year_cost
from tests.inspections.core.mechanics_book import SLOTS, book, cells, costs, looks

LIVES = PlausibleLives.of(book())
PARTS = 2 * PARTS_AT_ONCE + 7


def test_it_is_what_the_filter_and_the_tended_year_say() -> None:
    rng = np.random.default_rng(3)
    now = np.concatenate([[0.0, 1.0, 5e6], rng.uniform(0.0, 500_000.0, PARTS - 3)])
    some = cells(rng.integers(0, SLOTS, PARTS), now, np.nan)
    first, every = rng.choice([0.0, 3_000.0, 30_000.0], PARTS), rng.uniform(2_000.0, 20_000.0, PARTS)
    pace = rng.uniform(0.5, 1.5, PARTS)
    left = residuals_by_life_filter(book(), some, looks(), lives=LIVES)
    wanted = tended_year_cost(left, costs(), some, first, every, driven_km_per_clock_km=pace)
    found = unlooked_year_cost(LIVES, costs(), some, first, every, driven_km_per_clock_km=pace)
    assert np.abs(found - wanted).max() < 1e-7
    assert wanted.max() > 1_000.0
