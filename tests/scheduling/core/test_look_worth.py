"""What a look is worth: against the same choice played out by hand, and in plain cases."""

import itertools

import numpy as np
import pytest

from inspections.core.types import Residuals
from scheduling.core.look_worth import look_worth, promising, unseen_too_long, worth_looking
from scheduling.core.waiting import waiting
from tests.scheduling.core.given import KM_PER_MONTH, cells, costs, uncertain

SEES_ALL = np.eye(4)
SEES_NOTHING = np.full((4, 4), 0.25)
CARELESS = np.array([[0.98, 0.02, 0, 0], [0.22, 0.7, 0.08, 0], [0.06, 0.12, 0.75, 0.07], [0.03, 0.01, 0.12, 0.84]])
PRICES = costs([20_000.0], [90_000.0], major=0.2, dangerous=4.0)
CREDIT = np.array([0.2])


def worth(residuals: Residuals, chances: np.ndarray, *, found: bool = False) -> float:
    interval = np.array([10.0 * KM_PER_MONTH])
    return float(look_worth(residuals, cells(0), interval, PRICES, CREDIT, chances, np.array([found])).saving_minor[0])


def by_hand(residuals: Residuals, chances: np.ndarray) -> float:
    """Whoever sees a grade believes the lives that fit it, by Bayes, and takes the cheaper of waiting and the job."""

    def best_wait(weight: np.ndarray) -> float:
        lives = Residuals(weight[None, :], *(getattr(residuals, name) for name in Residuals.__slots__[1:]))
        pace = np.array([KM_PER_MONTH])
        ways = waiting(lives, pace, 10.0 * pace, pace)
        cost = (
            ways.failure_fraction * 90_000.0
            + (1.0 - ways.failure_fraction) * 20_000.0
            + ways.dangerous_km * 4.0
            + ways.major_km * 0.2
            - ways.driven_km * 0.2
        )
        return float(cost.min())

    weight = residuals.weight[0]
    ends = (residuals.to_minor_km[0], residuals.to_major_km[0], residuals.to_dangerous_km[0])
    state = sum((end <= 0.0).astype(int) for end in ends)
    after = 0.0
    for grade in range(4):
        joint = weight * chances[state, grade]
        if joint.sum() > 0.0:
            after += joint.sum() * min(best_wait(joint / joint.sum()), 20_000.0)
    return max(best_wait(weight) - after, 0.0)


@pytest.mark.parametrize(("seed", "chances"), list(itertools.product(range(12), (SEES_ALL, CARELESS))))
def test_a_look_saves_what_acting_on_it_by_hand_saves(seed: int, chances: np.ndarray) -> None:
    lives = uncertain(seed, 1, 40)
    assert worth(lives, chances) == pytest.approx(by_hand(lives, chances), abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_a_look_that_sees_better_never_saves_less_and_a_blind_one_only_what_acting_blindly_does(seed: int) -> None:
    lives = uncertain(seed, 1, 40)
    assert worth(lives, SEES_ALL) >= worth(lives, CARELESS) - 1e-6
    assert worth(lives, CARELESS) >= worth(lives, SEES_NOTHING) - 1e-6
    assert worth(lives, SEES_NOTHING, found=True) == pytest.approx(0.0, abs=1e-6)


def test_a_part_that_cannot_be_bad_yet_is_worth_no_look() -> None:
    sound = Residuals(np.ones((1, 1)), *(np.array([[far]]) for far in (1e4, 2e4, 3e4, 4e4)))
    assert worth(sound, SEES_ALL) == 0.0


def test_parts_seen_within_their_interval_and_harmless_ones_never_seen_ask_for_nothing() -> None:
    grade = np.array([0, 0, 1, -1, -1])
    since = np.array([9_000.0, 11_000.0, 11_000.0, 0.0, 0.0])
    safety = np.array([True, False, False, True, False])
    unseen = unseen_too_long(grade, since, np.full(5, 10_000.0), safety)
    assert unseen.tolist() == [False, True, True, True, False]


def test_looks_that_share_a_setting_up_pay_for_it_together_or_not_at_all() -> None:
    saving = np.array([500.0, 500.0, 900.0, 50.0])
    minutes = np.full(4, 100.0)
    pays = worth_looking(saving, minutes, np.array([0, 0, 1, 0]), np.array([700.0, 850.0]))
    assert pays.tolist() == [True, True, False, False]


def test_the_cheap_guess_keeps_the_most_telling_parts_of_each_vehicle() -> None:
    """Twelve parts on two vehicles: those that fail before the next look, and with people at risk, are kept."""
    lives = np.array([5e3, 4e4, 6e4, 8e3, 9e4, 7e4] * 2)
    ends = [np.minimum(lives, at)[:, None] for at in (1e3, 2e3, 3e3)]
    residuals = Residuals(np.ones((12, 1)), *ends, lives[:, None])
    book = costs([20_000.0] * 12, [90_000.0] * 12)
    kept = promising(residuals, cells(*[0] * 6, *[1] * 6), np.full(12, 1e4), book, 2)
    assert kept.tolist() == [0, 3, 6, 9]
    assert promising(residuals, cells(*[0] * 6, *[1] * 6), np.full(12, 1e4), book, 50).tolist() == list(range(12))
