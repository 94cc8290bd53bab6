"""What possibilities say about state, distance and time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.deterioration import (
    expected_km_to_next_grade,
    failure_chance_fraction,
    grade_chance_fraction,
    km_quantiles,
    months_to_failure,
    months_to_grade,
    prior_grade_mix,
)
from inspections.core.types import NEVER_LOOKED, Residuals
from tests.inspections.core.mechanics_book import BALL_JOINT, DISC, SENSOR, SLOTS, book, cells
from tests.inspections.core.random_lives import random_lives


def two_parts() -> Residuals:
    """Three possibilities each: a part now sound, minor or major; and one surely dangerous."""
    return Residuals(
        weight=np.array([[0.5, 0.3, 0.2], [0.2, 0.3, 0.5]]),
        to_minor_km=np.array([[9_000.0, 0.0, 0.0], [0.0, 0.0, 0.0]]),
        to_major_km=np.array([[20_000.0, 6_000.0, 0.0], [0.0, 0.0, 0.0]]),
        to_dangerous_km=np.array([[30_000.0, 15_000.0, 4_000.0], [0.0, 0.0, 0.0]]),
        to_failure_km=np.array([[36_000.0, 24_000.0, 12_000.0], [1_000.0, 2_000.0, 3_000.0]]),
    )


def test_the_state_now_is_read_off_what_has_been_reached() -> None:
    expected = [[0.5, 0.3, 0.2, 0.0], [0.0, 0.0, 0.0, 1.0]]
    assert grade_chance_fraction(two_parts()) == pytest.approx(np.array(expected))


def test_the_chance_to_fail_counts_the_months_at_the_own_pace() -> None:
    slow = cells([DISC, DISC], 0.0, km_per_month=1_000.0)
    assert failure_chance_fraction(two_parts(), slow, 2.0) == pytest.approx([0.0, 0.5])
    assert failure_chance_fraction(two_parts(), slow, 24.0) == pytest.approx([0.5, 1.0])


def test_the_way_to_the_next_grade_is_counted_from_the_grade_last_seen() -> None:
    def found(*grades: int) -> np.ndarray:
        return expected_km_to_next_grade(two_parts(), np.array(grades))

    assert found(NEVER_LOOKED, 3) == pytest.approx([4_500.0, 2_300.0])
    assert found(0, 0) == pytest.approx([4_500.0, 0.0])
    assert found(1, 2) == pytest.approx([11_800.0, 0.0])


def test_quantiles_are_the_least_distances_that_reach_the_chance() -> None:
    found = km_quantiles(two_parts().weight, two_parts().to_failure_km, (0.1, 0.5, 0.500001, 1.0))
    assert found[0] == pytest.approx([12_000.0, 24_000.0, 36_000.0, 36_000.0])
    assert found[1] == pytest.approx([1_000.0, 2_000.0, 3_000.0, 3_000.0])


@given(st.lists(st.tuples(st.integers(1, 9), st.integers(0, 50)), min_size=1, max_size=12), st.floats(0.01, 0.99))
@settings(deadline=None)
def test_quantiles_agree_with_the_possibilities_written_out(atoms: list[tuple[int, int]], fraction: float) -> None:
    """Each possibility repeated as often as its weight says, NumPy's inverted distribution function."""
    counts, distances = (np.array(each) for each in zip(*atoms, strict=True))
    written_out = np.repeat(distances, counts)
    weight = counts / counts.sum()
    found = km_quantiles(weight[None, :], distances[None, :].astype(float), (fraction,))[0, 0]
    near = [np.quantile(written_out, fraction + slip, method="inverted_cdf") for slip in (-1e-9, 1e-9)]
    assert found in near


def test_months_are_distances_over_the_own_pace() -> None:
    fast = cells([DISC, DISC], 0.0, km_per_month=2_000.0)
    assert months_to_failure(two_parts(), fast, (0.5,)) == pytest.approx(np.array([[12.0], [1.0]]))
    assert months_to_grade(two_parts(), fast, np.array([2, 4]), (0.5,)) == pytest.approx(np.array([[3.0], [1.0]]))


def test_only_grades_that_can_still_come_are_forecast() -> None:
    with pytest.raises(ValueError, match="grade to come"):
        months_to_grade(two_parts(), cells([DISC, DISC], 0.0), np.array([0, 4]))


def test_parts_of_a_new_vehicle_are_sound_unseen() -> None:
    for fitted in (0.0, np.nan):
        mix = prior_grade_mix(book(), cells(np.arange(SLOTS), 3_000.0, fitted))
        assert np.all(mix[:, 0] > 0.99)


def test_the_grades_of_unseen_parts_are_those_of_the_survivors() -> None:
    """Of 300,000 random lives, those still alive at the age."""
    for slot, age in ((BALL_JOINT, 150_000.0), (DISC, 110_000.0), (DISC, 60_000.0)):
        lives = random_lives(book(), slot, 300_000)
        alive = lives[:, lives[3] > age]
        expected = np.bincount((alive[:3] <= age).sum(axis=0), minlength=4) / alive.shape[1]
        assert prior_grade_mix(book(), cells([slot], age))[0] == pytest.approx(expected, abs=0.04)


def test_a_hidden_part_is_never_thought_to_show_anything() -> None:
    assert prior_grade_mix(book(), cells([SENSOR], 250_000.0, np.nan))[0] == pytest.approx([1.0, 0.0, 0.0, 0.0])


def test_the_older_an_original_part_the_likelier_it_is_worse_than_sound() -> None:
    ages = np.linspace(20_000.0, 200_000.0, 6)
    sound = prior_grade_mix(book(), cells([BALL_JOINT] * 6, ages))[:, 0]
    assert np.all(np.diff(sound) < 0.0)
