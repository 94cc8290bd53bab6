"""The grade table, held against its closed form, against parts met at random, and against its promises."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inspections.core import grade_table
from inspections.core.grade_table import (
    GradeTable,
    closed_form_failure_chance,
    closed_form_residual,
    residuals_by_last_grade,
)
from inspections.core.life_filter import distances_km
from inspections.core.looking import seen_chances
from inspections.core.types import NEVER_LOOKED, Residuals
from tests.inspections.core.mechanics_book import (
    BALL_JOINT,
    BEARING,
    BUSHING,
    DISC,
    HOSE,
    SENSOR,
    SLOTS,
    WATER_PUMP,
    book,
    cells,
    some_cells,
)
from tests.inspections.core.random_lives import random_lives

TABLE = GradeTable.of(book())
VISIBLE = (BALL_JOINT, BUSHING, HOSE, BEARING, WATER_PUMP, DISC)


def seen(slot: int, grade: int, since_km: float = 0.0) -> Residuals:
    some = cells([slot], 200_000.0)
    return residuals_by_last_grade(book(), some, np.array([grade]), np.array([200_000.0 - since_km]), table=TABLE)


def chance(slot: int, grade: int, since_km: float = 0.0, horizon_km: float = 10_000.0) -> float:
    return float(seen(slot, grade, since_km).failure_chance_fraction(np.array([horizon_km]))[0])


def test_the_closed_form_of_a_ball_joint_seen_minor_is_the_one_done_by_hand() -> None:
    """Stages 17,500, 12,250 and 5,250 km: mean 0.72 * 17,500 + 17,500."""
    mean, variance = closed_form_residual(book(), np.array([BALL_JOINT]), np.array([1]))
    assert mean == pytest.approx(30_100.0)
    by_hand = 0.234375 * 17_500.0**2 + 0.25 * (12_250.0**2 + 5_250.0**2) + (0.32 * 30_100.0) ** 2
    assert variance == pytest.approx(by_hand)


def test_the_closed_form_conditions_a_gamma_law_on_the_distance_survived() -> None:
    slot, grade = np.array([DISC]), np.array([2])
    mean, variance = closed_form_residual(book(), slot, grade)
    law = stats.gamma(mean**2 / variance, scale=variance / mean)
    found = closed_form_failure_chance(book(), slot, grade, np.array([7_000.0]), np.array([10_000.0]))
    assert found == pytest.approx(1.0 - law.sf(17_000.0) / law.sf(7_000.0), rel=1e-9)


@pytest.mark.parametrize("slot", VISIBLE)
@pytest.mark.parametrize("grade", [1, 2, 3])
def test_without_errors_of_looking_the_table_agrees_with_the_closed_form(
    slot: int, grade: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The closed form lengthens only the stage in progress, the table the later ones too: up to a sixth apart."""
    monkeypatch.setattr(grade_table, "seen_chances", lambda: np.eye(4))
    exact = GradeTable.of_rows(book(), np.array([slot]))
    mean, variance = closed_form_residual(book(), np.array([slot]), np.array([grade]))
    weight, distance = exact.weight[0, grade], exact.distance_km[3, 0, grade]
    found = np.dot(weight, distance)
    assert found == pytest.approx(mean, rel=0.17)
    assert np.sqrt(np.dot(weight, (distance - found) ** 2)) == pytest.approx(np.sqrt(variance), rel=0.25)


@pytest.mark.parametrize("slot", [BALL_JOINT, WATER_PUMP, DISC])
def test_a_grade_means_what_it_means_among_random_parts_met_at_random(slot: int) -> None:
    """400,000 random lives, each met with a chance in proportion to its length, somewhere along it, seen as by us."""
    rng = np.random.default_rng(5)
    lives = random_lives(book(), slot, 400_000, scale_sd=0.32)
    met = rng.choice(lives.shape[1], 400_000, p=lives[3] / lives[3].sum())
    position = rng.random(400_000) * lives[3, met]
    state = (lives[:3, met] <= position).sum(axis=0)
    grade = (rng.random(400_000)[:, None] > np.cumsum(seen_chances(), axis=1)[state, :3]).sum(axis=1)
    left = lives[3, met] - position
    for each in range(4):
        for survived, tolerance in ((0.0, 0.03), (8_000.0, 0.07)):
            alive = (grade == each) & (left > survived)
            expected = (left[alive] <= survived + 10_000.0).mean()
            assert chance(slot, each, survived) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("slot", VISIBLE)
@pytest.mark.parametrize("since_of_pf", [0.0, 0.1, 0.25])
def test_a_worse_grade_means_a_likelier_failure(slot: int, since_of_pf: float) -> None:
    chances = [chance(slot, grade, since_of_pf * book().pf_km[slot]) for grade in range(4)]
    assert chances == sorted(chances)


@given(
    slot=st.integers(0, SLOTS - 1),
    grade=st.integers(NEVER_LOOKED, 3),
    since=st.floats(0.0, 2e6),
)
@settings(max_examples=60, deadline=None)
def test_weights_add_up_to_one_and_worse_grades_never_come_earlier(slot: int, grade: int, since: float) -> None:
    found = seen(slot, grade, since)
    assert found.weight.sum() == pytest.approx(1.0)
    minor, major, dangerous, failure = distances_km(found)
    assert np.all((minor >= 0.0) & (minor <= major + 1e-6) & (major <= dangerous + 1e-6))
    assert np.all((dangerous <= failure + 1e-6) & np.isfinite(failure))


def test_what_is_left_shrinks_by_what_was_driven_since() -> None:
    fresh, later = seen(HOSE, 0), seen(HOSE, 0, 4_000.0)
    alive = fresh.to_failure_km > 4_000.0
    assert later.to_failure_km[alive] == pytest.approx(fresh.to_failure_km[alive] - 4_000.0)


def test_a_part_that_outlived_every_possibility_is_expected_to_fail_at_an_even_rate() -> None:
    found = seen(BEARING, 3, 1e6)
    assert np.all(found.to_dangerous_km == 0.0)
    mean = np.dot(found.weight[0], found.to_failure_km[0])
    half = found.failure_chance_fraction(np.array([mean * np.log(2.0)]))
    assert half == pytest.approx(0.5, abs=0.03)


def test_a_part_never_looked_at_lies_between_sound_and_minor() -> None:
    for slot in VISIBLE:
        assert chance(slot, 0) < chance(slot, NEVER_LOOKED) < chance(slot, 3)


def test_sound_says_nothing_of_a_part_that_shows_nothing_but_a_sign_on_it_counts() -> None:
    assert chance(SENSOR, 0) == pytest.approx(chance(SENSOR, NEVER_LOOKED))
    assert chance(SENSOR, 2) > 5.0 * chance(SENSOR, 0)


def test_neither_order_nor_company_changes_a_digit() -> None:
    rng = np.random.default_rng(2)
    some = cells(rng.integers(0, SLOTS, 200), rng.uniform(1e5, 3e5, 200))
    grade, clock = rng.integers(NEVER_LOOKED, 4, 200), some.now_clock_km - rng.uniform(0.0, 6e4, 200)
    whole = residuals_by_last_grade(book(), some, grade, clock, table=TABLE)
    rows = rng.permutation(200)[:70]
    part = residuals_by_last_grade(book(), some_cells(some, rows), grade[rows], clock[rows])
    for name in Residuals.__slots__:
        assert np.array_equal(getattr(part, name), getattr(whole, name)[rows])
