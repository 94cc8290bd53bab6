"""Lives moved to where a defect was seen, held against the law they are drawn from."""

import numpy as np
import pytest

from inspections.core.lives_at_finding import STAYING_EVERY, positions_at_finding
from inspections.core.plausible_lives import PlausibleLives
from tests.inspections.core.mechanics_book import BALL_JOINT, BUSHING, DISC, book
from tests.inspections.core.random_lives import random_lives

LIVES = PlausibleLives.of(book())
MOVED = np.arange(360) % STAYING_EVERY != 0


def known(slot: int, clock: float) -> tuple[np.ndarray, np.ndarray]:
    position, weight = positions_at_finding(
        LIVES, np.array([slot]), np.array([False]), np.array([0.0]), np.array([clock])
    )
    return position[0], weight[0]


def bought(slot: int, start: float, since: float) -> tuple[np.ndarray, np.ndarray]:
    position, weight = positions_at_finding(
        LIVES, np.array([slot]), np.array([True]), np.array([start]), np.array([since])
    )
    return position[0], weight[0]


@pytest.mark.parametrize("slot", [BALL_JOINT, BUSHING, DISC])
@pytest.mark.parametrize("clock", [70_000.0, 150_000.0, 260_000.0])
def test_the_weights_add_up_to_the_chance_of_having_lasted_so_long(slot: int, clock: float) -> None:
    """The two kinds of life share out every part still alive at the look, counted in 200,000 random lives."""
    lives = random_lives(book(), slot, 200_000)
    _, weight = known(slot, clock)
    assert weight.sum() == pytest.approx((lives[3] > clock).mean(), rel=0.08)
    assert weight[MOVED].sum() == pytest.approx(((lives[0] <= clock) & (lives[3] > clock)).mean(), rel=0.12)


def test_moved_lives_have_shown_a_sign_and_not_failed_at_the_look() -> None:
    position, weight = known(BALL_JOINT, 120_000.0)
    sign, failure = (LIVES.threshold_km[k, BALL_JOINT] - position for k in (0, 3))
    assert np.all(sign[MOVED] <= 120_000.0)
    assert np.all(failure[MOVED] > 120_000.0)
    assert np.all(weight[~MOVED & (sign <= 120_000.0)] == 0.0)


def test_a_defect_found_soon_after_fitting_leaves_no_room_for_earlier_onsets() -> None:
    position, weight = known(BUSHING, 5_000.0)
    onset = LIVES.threshold_km[0, BUSHING] - position
    assert np.all(onset[weight > 0.0] > 0.0)
    assert weight[MOVED].sum() < 0.01


def test_the_parts_of_a_vehicle_met_long_after_new_are_all_accounted_for() -> None:
    """Whatever has become of the first parts, one of the succession is alive at the look."""
    for clock in (100_000.0, 300_000.0, 600_000.0):
        _, weight = bought(DISC, clock, 0.0)
        assert weight.sum() == pytest.approx(1.0, abs=0.08)


@pytest.mark.parametrize(("start", "since"), [(150_000.0, 40_000.0), (400_000.0, 40_000.0), (400_000.0, 90_000.0)])
def test_a_part_found_bad_later_must_have_been_there_at_the_first_look(start: float, since: float) -> None:
    """The weights add up to the share of simulated parts, met at the start, that are still alive at the finding."""
    lives = random_lives(book(), DISC, 900_000)[3]
    fitted, life, used = np.zeros(100_000), lives[:100_000].copy(), 100_000
    while np.any(gone := fitted + life <= start):
        fitted[gone] += life[gone]
        fresh = int(gone.sum())
        life[gone] = lives[used : used + fresh]
        used += fresh
    _, weight = bought(DISC, start, since)
    assert weight.sum() == pytest.approx((fitted + life > start + since).mean(), abs=0.07)
