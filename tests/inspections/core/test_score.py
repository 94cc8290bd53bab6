"""The condition score: its arithmetic, and what it promises to whoever reads it."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.score import Scores, score_vehicles
from inspections.core.score_table import SINCE_OF_LIFE, ScoreTable, build_score_table
from inspections.core.types import NEVER_LOOKED, Cells, CostBook
from tests.inspections.core.mechanics_book import (
    BALL_JOINT,
    BUSHING,
    DISC,
    SENSOR,
    SLOTS,
    WATER_PUMP,
    book,
    cells,
    costs,
    some_cells,
)

TABLE = build_score_table(book(), costs())

grades = st.lists(st.integers(NEVER_LOOKED, 3), min_size=SLOTS, max_size=SLOTS)
distances = st.lists(st.floats(0.0, 200_000.0), min_size=SLOTS, max_size=SLOTS)


def scored(grade: list[int], since_km: list[float], *, table: ScoreTable = TABLE, fitted: float = np.nan) -> Scores:
    """One vehicle with one part in every slot, 180,000 km from new."""
    one = cells(np.arange(SLOTS), 180_000.0, fitted)
    return score_vehicles(table, one, np.array(grade), np.array(since_km), 1)


def a_fleet(vehicles: int, seed: int) -> tuple[Cells, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    parts = vehicles * SLOTS
    now = rng.uniform(10_000.0, 300_000.0, parts)
    fitted = np.where(rng.random(parts) < 0.5, np.nan, rng.uniform(0.0, 1.0, parts) * now)
    some = cells(np.tile(np.arange(SLOTS), vehicles), now, fitted, vehicle=np.repeat(np.arange(vehicles), SLOTS))
    return some, rng.choice([-1, 0, 1, 2, 3], parts, p=[0.2, 0.6, 0.1, 0.07, 0.03]), rng.uniform(0.0, 60_000.0, parts)


def with_grade(grade: list[int], part: int, value: int) -> list[int]:
    return [value if index == part else each for index, each in enumerate(grade)]


# --- arithmetic


def test_a_vehicle_just_seen_sound_all_over_scores_100() -> None:
    found = scored([0] * SLOTS, [0.0] * SLOTS)
    assert found.score == pytest.approx(100.0)
    assert found.low == found.high == found.score
    assert np.all(found.points == 0.0)
    assert found.coverage_fraction == pytest.approx(1.0)
    assert found.worst_grade == 0
    assert not found.do_not_drive


def test_losses_of_2500_euros_a_year_leave_37_points() -> None:
    grade, since = [0, 2, 0, 0, 0, 0, 0], [0.0] * SLOTS
    loss = TABLE.loss_minor[BUSHING, 2, 0]
    exact = build_score_table(book(), costs(), scale_minor=loss)
    assert scored(grade, since, table=exact).score == pytest.approx(100.0 / math.e)


def test_a_part_seen_major_costs_at_least_its_job_and_at_most_its_failure_and_exposure() -> None:
    prices = costs()
    yearly = TABLE.loss_minor[BUSHING, 2, 0]
    assert 0.8 * prices.planned_minor[BUSHING] < yearly
    assert yearly < prices.failure_minor[BUSHING] + 13_500.0 * prices.dangerous_minor_per_km[BUSHING]


@given(grades, distances)
@settings(max_examples=80, deadline=None)
def test_points_and_score_add_up_to_100(grade: list[int], since: list[float]) -> None:
    found = scored(grade, since)
    assert found.points.sum() + found.score[0] == pytest.approx(100.0, abs=1e-9)
    assert np.all(found.points >= 0.0)
    assert 0.0 <= found.low[0] <= found.score[0] <= found.high[0] <= 100.0


@given(grades, distances)
@settings(max_examples=60, deadline=None)
def test_losses_of_two_halves_multiply_into_the_score_of_the_whole(grade: list[int], since: list[float]) -> None:
    grade = [min(each, 2) for each in grade]
    first, second = [BALL_JOINT, BUSHING, DISC], [2, 3, WATER_PUMP, SENSOR]
    whole = scored(grade, since).score[0]
    halves = []
    for half in (first, second):
        some = cells(half, 180_000.0, np.nan)
        found = score_vehicles(TABLE, some, np.array(grade)[half], np.array(since)[half], 1)
        halves.append(found.score[0] / 100.0)
    assert whole / 100.0 == pytest.approx(halves[0] * halves[1])


# --- what it promises


@given(grades, distances, st.integers(0, SLOTS - 1), st.integers(0, 3))
@settings(max_examples=80, deadline=None)
def test_a_worse_finding_never_raises_the_score(grade: list[int], since: list[float], part: int, worse: int) -> None:
    better = with_grade(grade, part, min(max(grade[part], 0), worse))
    assert scored(with_grade(grade, part, worse), since).score[0] <= scored(better, since).score[0] + 1e-9


@given(grades, distances, st.integers(0, SLOTS - 1), st.floats(0.0, 100_000.0))
@settings(max_examples=80, deadline=None)
def test_an_older_look_never_raises_the_score(grade: list[int], since: list[float], part: int, more: float) -> None:
    older = [each + more * (index == part) for index, each in enumerate(since)]
    assert scored(grade, older).score[0] <= scored(grade, since).score[0] + 1e-9


@given(grades, distances, st.integers(0, SLOTS - 1), st.integers(1, 3))
@settings(max_examples=60, deadline=None)
def test_mending_a_part_restores_the_score_as_if_it_had_always_been_sound(
    grade: list[int], since: list[float], part: int, was: int
) -> None:
    fresh = [0.0 if index == part else each for index, each in enumerate(since)]
    mended = scored(with_grade(grade, part, 0), fresh)
    assert mended.points[part] == 0.0
    assert mended.score[0] >= scored(with_grade(grade, part, was), since).score[0]


def test_losses_never_fall_with_grade_or_distance() -> None:
    assert np.all(TABLE.loss_minor >= 0.0)
    assert np.all(np.diff(TABLE.loss_minor, axis=1) >= 0.0)
    assert np.all(np.diff(TABLE.loss_minor, axis=2) >= 0.0)
    assert TABLE.loss_minor.shape == (SLOTS, 4, len(SINCE_OF_LIFE))


def test_a_dangerous_safety_part_holds_the_score_at_25_and_the_vehicle_off_the_road() -> None:
    free = CostBook(*(np.zeros(SLOTS),) * 4, safety=costs().safety)
    harmless = build_score_table(book(), free)
    for table in (TABLE, harmless):
        found = scored([3, 0, 0, 0, 0, 0, 0], [0.0] * SLOTS, table=table)
        assert found.score <= 25.0
        assert found.do_not_drive
        assert found.points.sum() + found.score[0] == pytest.approx(100.0, abs=1e-9)
        assert found.points[BALL_JOINT] > 70.0


def test_a_dangerous_part_without_meaning_for_safety_does_not_stop_the_vehicle() -> None:
    found = scored([0, 3, 0, 0, 0, 0, 0], [0.0] * SLOTS)
    assert not found.do_not_drive
    assert found.score > 25.0
    assert found.worst_grade == 3


def test_neither_order_nor_batch_changes_a_score() -> None:
    some, grade, since = a_fleet(60, 3)
    whole = score_vehicles(TABLE, some, grade, since, 60)
    rows = np.arange(20 * SLOTS, 35 * SLOTS)
    part = some_cells(some, rows)
    renumbered = Cells(part.vehicle - 20, part.slot, part.fitted_clock_km, part.now_clock_km, part.clock_km_per_month)
    alone = score_vehicles(TABLE, renumbered, grade[rows], since[rows], 15)
    for name in ("score", "low", "high", "coverage_fraction", "worst_grade", "do_not_drive"):
        assert np.array_equal(getattr(alone, name), getattr(whole, name)[20:35])
    assert np.array_equal(alone.points, whole.points[rows])
    shuffled = np.random.default_rng(0).permutation(len(grade))
    mixed = score_vehicles(TABLE, some_cells(some, shuffled), grade[shuffled], since[shuffled], 60)
    assert mixed.score == pytest.approx(whole.score, rel=1e-12)


def test_vehicles_without_parts_have_nothing_to_lose() -> None:
    some, grade, since = a_fleet(2, 1)
    found = score_vehicles(TABLE, some, grade, since, 4)
    assert found.score[2:] == pytest.approx([100.0, 100.0])
    assert np.array_equal(found.worst_grade[2:], [NEVER_LOOKED, NEVER_LOOKED])
    assert np.array_equal(found.coverage_fraction[2:], [0.0, 0.0])


# --- what was not looked at


def test_nothing_looked_at_leaves_a_wide_interval_and_no_coverage() -> None:
    found = scored([NEVER_LOOKED] * SLOTS, [math.nan] * SLOTS)
    assert found.high[0] - found.low[0] > 25.0
    assert found.coverage_fraction == 0.0
    assert found.worst_grade == NEVER_LOOKED
    assert not found.do_not_drive


def test_unseen_parts_cost_more_on_an_old_vehicle_than_on_a_new_one() -> None:
    unseen = np.full(SLOTS, NEVER_LOOKED)
    scores = [
        score_vehicles(TABLE, cells(np.arange(SLOTS), clock, np.nan), unseen, np.zeros(SLOTS), 1).score[0]
        for clock in (1_000.0, 60_000.0, 150_000.0)
    ]
    assert scores[0] > 98.0
    assert scores == sorted(scores, reverse=True)


@pytest.mark.parametrize("hidden_fraction", [0.1, 0.3, 0.6])
def test_the_interval_holds_the_score_of_a_complete_look_in_about_eight_of_ten_vehicles(hidden_fraction: float) -> None:
    """Grades drawn from the mix that the judge expects of parts nobody looked at, 10 parts of each slot, no cap."""
    rng = np.random.default_rng(9)
    vehicles, parts = 400, 10 * SLOTS
    uncapped = build_score_table(
        book(), CostBook(*(getattr(costs(), name) for name in CostBook.__slots__[:-1]), safety=np.zeros(SLOTS, bool))
    )
    slot = np.tile(np.repeat(np.arange(SLOTS), 10), vehicles)
    some = cells(slot, 140_000.0, np.nan, vehicle=np.repeat(np.arange(vehicles), parts))
    mix = uncapped.mix_unseen(some, np.arange(len(slot)))
    grade = (rng.random(len(slot))[:, None] > np.cumsum(mix, axis=1)[:, :3]).sum(axis=1)
    none = np.zeros(len(slot))
    truth = score_vehicles(uncapped, some, grade, none, vehicles).score
    partly = np.where(rng.random(len(slot)) < hidden_fraction, NEVER_LOOKED, grade)
    found = score_vehicles(uncapped, some, partly, none, vehicles)
    held = ((found.low <= truth + 1e-9) & (truth <= found.high + 1e-9)).mean()
    assert 0.74 < held < 0.90


def test_a_likely_danger_among_unseen_safety_parts_shows_in_the_interval() -> None:
    slot = np.full(12, DISC)
    found = score_vehicles(TABLE, cells(slot, 110_000.0, 0.0), np.full(12, NEVER_LOOKED), np.zeros(12), 1)
    assert found.low[0] <= 25.0


def test_coverage_is_lost_when_looks_grow_old_and_ignores_parts_that_show_nothing() -> None:
    half_the_pf = 0.5 * book().pf_km
    fresh = scored([0] * SLOTS, list(half_the_pf))
    stale = scored([0] * SLOTS, list(half_the_pf + 1.0))
    blind = scored([0] * (SLOTS - 1) + [NEVER_LOOKED], [0.0] * SLOTS)
    assert fresh.coverage_fraction == pytest.approx(1.0)
    assert stale.coverage_fraction == 0.0
    assert blind.coverage_fraction == pytest.approx(1.0)


def test_coverage_counts_parts_by_what_is_at_stake() -> None:
    without_bushing = scored(with_grade([0] * SLOTS, BUSHING, NEVER_LOOKED), [0.0] * SLOTS).coverage_fraction[0]
    visible = book().pf_km > 0.0
    share = TABLE.stake_minor[BUSHING] / TABLE.stake_minor[visible].sum()
    assert without_bushing == pytest.approx(1.0 - share)


@pytest.mark.parametrize("since", [-1.0, math.nan])
def test_a_look_in_the_future_or_at_no_known_clock_is_refused(since: float) -> None:
    with pytest.raises(ValueError, match="since the last look"):
        scored([0] * SLOTS, [since] + [0.0] * (SLOTS - 1))


@given(distances)
@settings(deadline=None)
def test_parts_seen_sound_however_long_ago_are_no_worse_than_parts_that_nobody_looked_at(since: list[float]) -> None:
    assert scored([0] * SLOTS, since).score[0] >= scored([NEVER_LOOKED] * SLOTS, since).score[0] - 1e-9
