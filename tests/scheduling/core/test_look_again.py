"""When to look again: the default, and the warning that a part gives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleetcare.kernel.grades import Grade
from scheduling.core.look_again import Limit, LookAgain, SheetCover, gathered, look_again


def looked(
    grade: int, *, pf: float = 60_000.0, since: float = 0.0, own: float = 1_000.0, every: float = 10_000.0
) -> LookAgain:
    each = (np.array([value]) for value in (since, pf, own, own))
    return look_again(np.array([grade]), *each, every_km=every)


@pytest.mark.parametrize(
    ("own", "months", "limit"),
    [(1_000.0, 10.0, Limit.OWN_USE), (200.0, 24.0, Limit.MOST), (5_000.0, 3.0, Limit.LEAST)],
)
def test_a_sound_part_is_looked_at_every_ten_thousand_own_kilometres(own: float, months: float, limit: Limit) -> None:
    found = looked(Grade.SOUND, own=own, pf=600_000.0)
    assert float(found.interval_months[0]) == pytest.approx(months)
    assert found.limit[0] == limit


def test_two_looks_fall_inside_the_warning_that_a_part_gives() -> None:
    """P-F interval convention: about half of it (common practice in reliability-centred maintenance)."""
    found = looked(Grade.SOUND, pf=12_000.0)
    assert 2.0 * float(found.interval_months[0]) * 1_000.0 <= 12_000.0
    assert found.limit[0] == Limit.WARNING


@settings(max_examples=60, deadline=None)
@given(pf=st.floats(500.0, 200_000.0), own=st.floats(100.0, 5_000.0), grade=st.sampled_from(list(Grade)))
def test_half_the_warning_never_lengthens_the_interval(pf: float, own: float, grade: Grade) -> None:
    whole, half = looked(grade, pf=pf, own=own), looked(grade, pf=pf / 2.0, own=own)
    assert half.interval_months[0] <= whole.interval_months[0]


@pytest.mark.parametrize("pf", [8_000.0, 20_000.0, 60_000.0])
def test_a_worse_grade_is_never_looked_at_later(pf: float) -> None:
    months = [float(looked(grade, pf=pf).interval_months[0]) for grade in Grade]
    assert months == sorted(months, reverse=True)


def test_a_part_never_looked_at_is_due_now() -> None:
    assert looked(-1).in_months[0] == 0.0


def test_what_has_passed_since_the_last_look_counts() -> None:
    assert looked(Grade.SOUND, since=4.0).in_months[0] == pytest.approx(6.0)
    assert looked(Grade.SOUND, since=40.0).in_months[0] == 0.0


def test_a_part_that_shows_nothing_has_no_next_look() -> None:
    found = looked(Grade.SOUND, pf=0.0)
    assert np.isnan(found.in_months[0])
    assert found.limit[0] == Limit.NOTHING_TO_SEE
    assert not found.too_fast[0]


def test_a_warning_too_short_to_catch_is_told() -> None:
    found = looked(Grade.SOUND, pf=1_500.0)
    assert found.too_fast[0]
    assert found.interval_months[0] == 1.0


def planned(months: list[float], interval: list[float]) -> LookAgain:
    blank = np.zeros(len(months), dtype=np.int64)
    return LookAgain(np.array(interval), np.array(months), blank, blank.astype(bool))


SHEETS = [
    SheetCover("full", 120.0, frozenset(range(5))),
    SheetCover("wheels-off", 60.0, frozenset({0, 1, 2})),
    SheetCover("walk-round", 5.0, frozenset({4})),
]


def test_looks_are_gathered_into_few_with_the_shortest_sheet_that_covers_them() -> None:
    looks = planned([2.0, 4.0, 5.0, 12.0, np.nan], [9.0, 9.0, 9.0, 24.0, np.nan])
    first, second = gathered(looks, range(5), SHEETS)
    assert (first.in_months, first.cells, first.sheet) == (2.0, (0, 1, 2), "wheels-off")
    assert (second.in_months, second.cells, second.sheet) == (12.0, (3,), "full")


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0.0, 24.0), st.floats(1.0, 24.0)), min_size=1, max_size=12))
def test_every_part_is_looked_at_once_never_late_and_at_most_a_third_early(parts: list[tuple[float, float]]) -> None:
    looks = planned([each[0] for each in parts], [each[1] for each in parts])
    visits = gathered(looks, range(len(parts)), [])
    assert sorted(cell for visit in visits for cell in visit.cells) == list(range(len(parts)))
    for visit in visits:
        for cell in visit.cells:
            due, interval = parts[cell]
            assert visit.in_months <= due <= visit.in_months + interval / 3.0 + 1e-9


def test_parts_that_no_sheet_covers_are_named_without_one() -> None:
    (visit,) = gathered(planned([1.0], [9.0]), [0], [SheetCover("walk-round", 5.0, frozenset({4}))])
    assert visit.sheet is None
