"""Ages of parts whose fitting nobody knows, held against simulated successions of parts."""

import numpy as np
import pytest

from inspections.core.as_bought import ages_at_start

MANY = 4_000


def _ages(lives: np.ndarray, clock: float) -> tuple[np.ndarray, np.ndarray]:
    chance = np.full(len(lives), 1.0 / len(lives))
    fraction = (np.arange(len(lives)) * 0.6180339887 + 0.5) % 1.0
    age, weight = ages_at_start(lives[None, :], chance, fraction, np.array([clock]))
    return age[0], weight[0]


def _lives() -> np.ndarray:
    """Weibull lives of shape 3, mean 0.893."""
    return (-np.log1p(-(np.arange(MANY) + 0.5) / MANY)) ** (1.0 / 3.0)


def _simulated(clock: float, vehicles: int = 40_000) -> tuple[np.ndarray, np.ndarray]:
    """Age and life of the part met at `clock` in vehicles whose parts are renewed when they fail."""
    rng = np.random.default_rng(7)
    fitted, life = np.zeros(vehicles), rng.weibull(3.0, vehicles)
    while np.any(gone := fitted + life <= clock):
        fitted[gone] += life[gone]
        life[gone] = rng.weibull(3.0, int(gone.sum()))
    return clock - fitted, life


@pytest.mark.parametrize("clock", [0.0, 0.2, 0.8, 1.5, 6.0])
def test_weights_add_up_to_one_and_no_part_is_older_than_its_life_or_vehicle(clock: float) -> None:
    lives = _lives()
    age, weight = _ages(lives, clock)
    assert weight.sum() == pytest.approx(1.0)
    assert np.all(weight >= 0.0)
    assert np.all(age <= np.minimum(lives, clock) + 1e-12)


def test_a_young_vehicle_still_has_its_original_parts() -> None:
    age, weight = _ages(_lives(), 0.15)
    assert weight[age == 0.15].sum() > 0.99


@pytest.mark.parametrize("clock", [0.5, 0.9, 2.0, 6.0])
def test_original_parts_are_as_common_as_in_simulated_vehicles(clock: float) -> None:
    age, weight = _ages(_lives(), clock)
    simulated, _ = _simulated(clock)
    assert weight[age == clock].sum() == pytest.approx((simulated == clock).mean(), abs=0.01)


@pytest.mark.parametrize(("clock", "tolerance"), [(0.5, 0.02), (0.9, 0.12), (2.0, 0.06), (6.0, 0.02)])
def test_the_mean_age_is_near_that_of_simulated_vehicles(clock: float, tolerance: float) -> None:
    """The even rate of renewals is an approximation: loosest at one typical life, where renewals set in."""
    age, weight = _ages(_lives(), clock)
    assert np.dot(weight, age) == pytest.approx(_simulated(clock)[0].mean(), abs=tolerance)


def test_far_from_new_long_lives_are_met_in_proportion_to_their_length() -> None:
    lives = _lives()
    age, weight = _ages(lives, 50.0)
    assert weight / weight.sum() == pytest.approx(lives / lives.sum(), rel=1e-6)
    assert np.dot(weight, age / lives) == pytest.approx(0.5, abs=0.01)
