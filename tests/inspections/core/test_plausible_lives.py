"""The fixed set of lives of each slot."""

import math

import numpy as np
import pytest
from scipy import stats

from inspections.core.plausible_lives import LIVES, PlausibleLives
from tests.inspections.core.mechanics_book import BEARING, DISC, HOSE, SENSOR, SLOTS, book


@pytest.fixture(scope="module")
def lives() -> PlausibleLives:
    return PlausibleLives.of(book())


def test_there_are_360_lives_whose_weights_add_up_to_one(lives: PlausibleLives) -> None:
    assert lives.threshold_km.shape == (4, 2 * SLOTS, 360)
    assert lives.weight.sum() == pytest.approx(1.0, abs=1e-12)
    assert np.all(lives.weight > 0.0)


def test_no_life_reaches_a_worse_grade_before_a_better_one(lives: PlausibleLives) -> None:
    assert np.all(lives.threshold_km[0] > 0.0)
    assert np.all(np.diff(lives.threshold_km, axis=0) >= 0.0)


def test_scales_follow_the_lognormal_law_that_is_believed(lives: PlausibleLives) -> None:
    log_scale = np.log(lives.scale)
    bounds = math.log(0.35) / 0.40, math.log(2.85) / 0.40
    believed = stats.truncnorm(*bounds, scale=0.40)
    assert np.dot(lives.weight, log_scale) == pytest.approx(0.0, abs=0.005)
    assert math.sqrt(np.dot(lives.weight, log_scale**2)) == pytest.approx(believed.std(), rel=0.01)
    assert lives.scale.min() > 0.35
    assert lives.scale.max() < 2.85


@pytest.mark.parametrize("slot", [HOSE, BEARING, DISC])
def test_a_life_of_scale_one_has_the_length_and_spread_of_the_book(lives: PlausibleLives, slot: int) -> None:
    known = book()
    unscaled = lives.threshold_km[3, slot] / lives.scale
    assert unscaled.mean() == pytest.approx(known.life_km[slot], rel=0.01)
    assert unscaled.std() / unscaled.mean() == pytest.approx(known.life_cv[slot], rel=0.03)


def test_the_stages_share_the_way_from_sign_to_failure_by_50_35_and_15_percent(lives: PlausibleLives) -> None:
    known = book()
    visible = known.pf_km > 0.0
    stages = np.diff(lives.threshold_km[:, :SLOTS][:, visible], axis=0) / lives.scale
    shares = stages.mean(axis=2) / known.pf_km[visible]
    assert shares == pytest.approx(np.broadcast_to([[0.50], [0.35], [0.15]], shares.shape), rel=0.005)
    assert stages.std(axis=2) / stages.mean(axis=2) == pytest.approx(np.full(shares.shape, 0.5), rel=0.05)


def test_neighbours_in_first_sign_show_the_whole_range_of_stages(lives: PlausibleLives) -> None:
    order = np.argsort(lives.threshold_km[0, BEARING])
    minor = (np.diff(lives.threshold_km[:2, BEARING], axis=0)[0] / lives.scale / 14_000.0)[order]
    neighbours = minor.reshape(-1, 12)
    assert np.all(neighbours.min(axis=1) < 0.75)
    assert np.all(neighbours.max(axis=1) > 1.25)


def test_a_hidden_part_shows_no_grade_before_it_fails(lives: PlausibleLives) -> None:
    assert np.array_equal(lives.threshold_km[0, SENSOR], lives.threshold_km[3, SENSOR])


def test_a_hidden_part_with_a_sign_gets_a_tenth_of_its_life_as_warning(lives: PlausibleLives) -> None:
    warned = np.diff(lives.threshold_km[[0, 3], SLOTS + SENSOR], axis=0)[0] / lives.scale
    assert warned.mean() == pytest.approx(30_000.0, rel=0.01)


def test_rows_of_a_book_are_the_same_alone_as_together(lives: PlausibleLives) -> None:
    alone = PlausibleLives.of_rows(book(), np.array([DISC, SLOTS + SENSOR]))
    assert np.array_equal(alone.threshold_km, lives.threshold_km[:, [DISC, SLOTS + SENSOR]])
    assert np.array_equal(alone.growth, lives.growth[[DISC, SLOTS + SENSOR]])


def test_the_age_at_the_start_of_the_record_is_spread_evenly(lives: PlausibleLives) -> None:
    assert np.sort(lives.age_fraction) == pytest.approx((np.arange(LIVES) + 0.5) / LIVES)
