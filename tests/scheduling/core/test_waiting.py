"""What the ways to wait lead to, held against walking through every possibility mile by mile and closed forms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.looking import MISSED_FRACTION, look_interval_clock_km
from inspections.core.types import Residuals
from scheduling.core.waiting import (
    UNTIL_FAILURE,
    UNTIL_MAJOR,
    WAIT_MONTHS,
    WAYS,
    joined,
    waiting,
    waiting_by_group,
    waiting_of_rows,
)
from tests.scheduling.core.given import cells, certain, uncertain, waited


def walked(left: Residuals, cell: int, until: "list[float]") -> tuple[float, float, float, float]:
    """Drives every possibility until its own end and adds up what happened on the way."""
    failed = driven = major = dangerous = 0.0
    for index, end in enumerate(until):
        weight = left.weight[cell, index]
        fails, turns_dangerous, turns_major = (
            each[cell, index] for each in (left.to_failure_km, left.to_dangerous_km, left.to_major_km)
        )
        stop = fails if fails <= end else end
        failed += weight if fails <= end else 0.0
        driven += weight * stop
        if stop > turns_dangerous:
            dangerous += weight * (stop - turns_dangerous)
        if stop > turns_major:
            major += weight * (min(stop, turns_dangerous) - turns_major)
    return failed, driven, major, dangerous


def look_that_sees(first_km: float, every_km: float, major_km: float) -> float:
    """Goes from look to look until one comes after the part has become major."""
    at = first_km
    while at < major_km:
        at += every_km
    return at


def ways_walked(
    left: Residuals, cell: int, pace: float, every: float, first: float
) -> "list[tuple[float, float, float, float]]":
    possibilities = left.weight.shape[1]
    outcomes = [walked(left, cell, [pace * months] * possibilities) for months in WAIT_MONTHS]
    seen = [look_that_sees(first, every, float(major)) for major in left.to_major_km[cell]]
    at_once = walked(left, cell, seen)
    at_the_next = walked(left, cell, [at + every for at in seen])
    outcomes.append(tuple(0.8 * one + 0.2 * two for one, two in zip(at_once, at_the_next, strict=True)))
    outcomes.append(walked(left, cell, [np.inf] * possibilities))
    return outcomes


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    possibilities=st.integers(1, 9),
    pace=st.floats(150.0, 4_000.0),
    next_look=st.sampled_from([0.0, 2_100.0, 16_000.0]),
)
def test_every_way_to_wait_agrees_with_driving_each_possibility_to_its_end(
    seed: int, possibilities: int, pace: float, next_look: float
) -> None:
    left = uncertain(seed, 3, possibilities)
    paces, every, first = np.full(3, pace), np.full(3, 7_300.0), np.full(3, next_look)
    found = waiting(left, paces, every, np.full(3, 10_000.0), first)
    for cell in range(3):
        columns = (found.failure_fraction, found.driven_km, found.major_km, found.dangerous_km)
        told = np.array([column[cell] for column in columns]).T
        np.testing.assert_allclose(told, ways_walked(left, cell, pace, 7_300.0, next_look), rtol=1e-9, atol=1e-6)


def test_a_life_that_follows_an_exponential_law_gives_its_closed_form_means() -> None:
    points, mean_km = 20_000, 25_000.0
    life = -mean_km * np.log1p(-(np.arange(points) + 0.5) / points)[None, :]
    left = Residuals(np.full_like(life, 1.0 / points), life, life, life, life)
    found = waited(left)
    until = np.array(WAIT_MONTHS) * 1_000.0
    np.testing.assert_allclose(found.failure_fraction[0, :8], -np.expm1(-until / mean_km), atol=1e-4)
    np.testing.assert_allclose(found.driven_km[0, :8], -mean_km * np.expm1(-until / mean_km), rtol=1e-3)
    np.testing.assert_allclose(found.driven_km[0, UNTIL_FAILURE], mean_km, rtol=1e-3)


def test_waiting_longer_never_makes_failing_less_likely_nor_the_distance_shorter() -> None:
    found = waited(uncertain(5, 40, 60))
    grid = slice(0, len(WAIT_MONTHS))
    for column in (found.failure_fraction, found.driven_km, found.major_km, found.dangerous_km):
        assert (np.diff(column[:, grid], axis=1) >= -1e-9).all()


def test_a_cell_is_judged_alike_alone_and_among_a_thousand() -> None:
    left = uncertain(8, 1_000, 12)
    pace = np.linspace(300.0, 2_500.0, 1_000)
    every, horizon = pace * 9.0, np.full(1_000, 9_000.0)
    together = waiting(left, pace, every, horizon)
    one = slice(617, 618)
    rows = (left.weight, left.to_minor_km, left.to_major_km, left.to_dangerous_km, left.to_failure_km)
    single = Residuals(*(each[one] for each in rows))
    alone = waiting(single, pace[one], every[one], horizon[one])
    np.testing.assert_array_equal(alone.driven_km[0], together.driven_km[617])
    np.testing.assert_array_equal(alone.failure_fraction[0], together.failure_fraction[617])


def test_blocks_of_cells_joined_are_the_whole() -> None:
    left = uncertain(3, 10, 5)
    rows = (left.weight, left.to_minor_km, left.to_major_km, left.to_dangerous_km, left.to_failure_km)
    first, second = (Residuals(*(each[part] for each in rows)) for part in (slice(0, 4), slice(4, 10)))
    np.testing.assert_array_equal(joined([waited(first), waited(second)]).driven_km, waited(left).driven_km)


def test_rows_asked_for_land_at_their_cells() -> None:
    left = certain((0.0, 0.0, 4_000.0), (0.0, 0.0, 8_000.0))
    rows = np.array([1, 4])

    def residuals_of(wanted: np.ndarray) -> Residuals:
        place = np.searchsorted(rows, wanted)
        each = (left.weight, left.to_minor_km, left.to_major_km, left.to_dangerous_km, left.to_failure_km)
        return Residuals(*(array[place] for array in each))

    every = np.full(6, 10_000.0)
    found = waiting_of_rows(residuals_of, cells(0, 0, 0, 0, 0, 0), rows, every, every, chunk_cells=1)
    np.testing.assert_allclose(found.driven_km[[1, 4], UNTIL_FAILURE], [4_000.0, 8_000.0])


def test_a_look_that_misses_costs_one_more_interval() -> None:
    """Major from 4,000 km on; looks at 10,000 and 20,000 km; fails at 50,000 km."""
    found = waited(certain((4_000.0, 45_000.0, 50_000.0)))
    expected = (1 - MISSED_FRACTION) * 10_000.0 + MISSED_FRACTION * 20_000.0
    assert found.driven_km[0, UNTIL_MAJOR] == pytest.approx(expected)
    assert found.major_km[0, UNTIL_MAJOR] == pytest.approx(expected - 4_000.0)


def test_looks_come_every_ten_thousand_own_kilometres_within_three_months_and_two_years() -> None:
    own = np.array([1_000.0, 100.0, 9_000.0])
    np.testing.assert_allclose(look_interval_clock_km(own, own) / own, [10.0, 24.0, 3.0])


def test_every_column_has_its_name() -> None:
    assert len(WAYS) == waited(certain((0.0, 0.0, 1.0))).failure_fraction.shape[1]
    assert (WAYS[UNTIL_MAJOR], WAYS[UNTIL_FAILURE]) == ("until-major", "until-failure")


@pytest.mark.parametrize("seed", range(3))
def test_waiting_within_a_group_of_possibilities_is_waiting_as_if_there_were_no_others(seed: int) -> None:
    rng = np.random.default_rng(seed)
    left = uncertain(seed, 150, 500)
    count = len(left.weight)
    group = rng.integers(0, 3, left.weight.shape)
    group[0] = 1  # of a part whose possibilities are all alike
    pace, every = rng.uniform(200.0, 2_000.0, count), rng.uniform(4_000.0, 30_000.0, count)
    grouped, chance = waiting_by_group(left, group, 3, pace, every, 1.3 * every)
    for each in range(3):
        weight = np.where(group == each, left.weight, 0.0)
        share = weight.sum(axis=1)
        assert chance[each::3] == pytest.approx(share, abs=1e-12)
        there = np.flatnonzero(share > 0.0)
        alone = Residuals(
            weight[there] / share[there, None],
            *(getattr(left, name)[there] for name in Residuals.__slots__ if name != "weight"),
        )
        expected = waiting(alone, pace[there], every[there], 1.3 * every[there])
        for name in expected.__slots__:
            found = getattr(grouped, name)[each::3]
            np.testing.assert_allclose(found[there], getattr(expected, name), rtol=1e-9, atol=1e-6)
            assert not found[share == 0.0].any()
