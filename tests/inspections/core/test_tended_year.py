"""What the coming year is expected to cost where a vehicle is looked at and what is found is put right."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.looking import MISSED_FRACTION
from inspections.core.tended_year import tended_year_cost
from inspections.core.types import Residuals
from inspections.core.yearly_cost import ROWS_AT_ONCE, next_year_cost
from tests.inspections.core.mechanics_book import BALL_JOINT, cells, costs

JOB, FAILURE = 18_000.0, 1.45 * 18_000.0 + 19_000.0
"""Of a ball joint in the book of these tests; major costs 0.4 a km, dangerous 4."""
PACE = np.ones(1)


def one_way(major: float, dangerous: float, failure: float) -> Residuals:
    """A part whose future is certain."""
    return Residuals(*(np.array([[each]]) for each in (1.0, 0.0, major, dangerous, failure)))


def year(residuals: Residuals, first: float, every: float = 10_000.0, km: float = 12_000.0) -> float:
    part = cells([BALL_JOINT], 0.0, km_per_month=km / 12.0)
    looks = np.array([first]), np.array([every])
    return float(tended_year_cost(residuals, costs(), part, *looks, driven_km_per_clock_km=PACE)[0])


def test_a_part_that_is_major_today_and_looked_at_today_costs_its_job() -> None:
    """One in five times it is missed, and found 10,000 km later."""
    missed = JOB + 0.4 * 10_000.0
    assert year(one_way(0.0, 11_000.0, 12_500.0), 0.0) == pytest.approx(
        (1.0 - MISSED_FRACTION) * JOB + MISSED_FRACTION * missed
    )


def test_a_part_that_turns_major_after_the_years_last_look_costs_only_the_exposure() -> None:
    assert year(one_way(11_000.0, 30_000.0, 40_000.0), 10_000.0) == pytest.approx(0.4 * 1_000.0)


def test_a_part_that_fails_between_two_looks_costs_the_failure() -> None:
    assert year(one_way(1_000.0, 3_000.0, 4_000.0), 6_000.0) == pytest.approx(FAILURE + 0.4 * 2_000.0 + 4.0 * 1_000.0)


def test_where_nobody_looks_within_the_year_it_is_as_if_nothing_were_done() -> None:
    """Save that leaving things alone counts the job of a part that is major at the year's end as due."""
    failing = one_way(1_000.0, 6_000.0, 8_000.0)
    alone = next_year_cost(failing, costs(), cells([BALL_JOINT], 0.0, km_per_month=1_000.0))[0]
    assert year(failing, 50_000.0) == pytest.approx(alone)


distance = st.floats(0.0, 30_000.0, allow_subnormal=False)


@given(
    st.lists(st.tuples(st.floats(0.01, 1.0), distance, distance, distance), min_size=1, max_size=5),
    st.floats(0.0, 12_000.0),
    st.floats(2_000.0, 12_000.0),
)
@settings(deadline=None)
def test_the_expectation_is_the_average_over_possibilities_followed_look_by_look(
    atoms: list[tuple[float, float, float, float]], first: float, every: float
) -> None:
    total = sum(each[0] for each in atoms)
    ways = [sorted(each[1:]) for each in atoms]
    expected = sum(
        each[0] / total * share * followed(way, first, every, late)
        for each, way in zip(atoms, ways, strict=True)
        for share, late in ((1.0 - MISSED_FRACTION, False), (MISSED_FRACTION, True))
    )
    rows = np.array(ways)
    weight = np.array([[each[0] / total for each in atoms]])
    whole = Residuals(weight, np.zeros_like(weight), *(rows[:, k][None, :] for k in range(3)))
    assert year(whole, first, every) == pytest.approx(expected)


def followed(way: list[float], first: float, every: float, late: bool) -> float:
    """One possibility, told look by look over 12,000 km."""
    major, dangerous, failure = way
    at, seen = first, 0
    while at < major or (late and not seen):
        seen += at >= major
        at += every
    found = at
    end = min(found, failure, 12_000.0)
    bad = 4.0 * max(end - dangerous, 0.0) + 0.4 * max(min(dangerous, end) - major, 0.0)
    if failure <= found:
        return bad + (FAILURE if failure <= 12_000.0 else 0.0)
    return bad + (JOB if found <= 12_000.0 else 0.0)


def test_many_parts_cost_what_each_costs_alone() -> None:
    rng = np.random.default_rng(0)
    count = ROWS_AT_ONCE + 7
    weight = rng.random((count, 5))
    weight /= weight.sum(axis=1, keepdims=True)
    ways = np.sort(rng.uniform(0.0, 40_000.0, (4, count, 5)), axis=0)
    first, every = rng.uniform(0.0, 10_000.0, count), rng.uniform(3_000.0, 12_000.0, count)
    parts = cells([BALL_JOINT] * count, 0.0)
    pace = np.ones(count)
    together = tended_year_cost(Residuals(weight, *ways), costs(), parts, first, every, driven_km_per_clock_km=pace)
    for row in (0, ROWS_AT_ONCE, count - 1):
        alone = Residuals(weight[[row]], *ways[:, [row]])
        one = cells([BALL_JOINT], 0.0)
        found = tended_year_cost(alone, costs(), one, first[[row]], every[[row]], driven_km_per_clock_km=PACE)
        assert found[0] == pytest.approx(together[row], rel=1e-12)
