"""Of readings that contradict each other the one that is alone is wrong; what is stored is believed."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleetcare.portal.exchange.roads import Candidate, Stored, placed

FIRST = date(2024, 1, 1)


def at(row: int, days: int, km: int) -> Candidate:
    return Candidate(row, FIRST + timedelta(days=days), Decimal(km))


def stored(days: int, km: int, shown: int | None = None) -> Stored:
    return Stored(FIRST + timedelta(days=days), Decimal(km), Decimal(km if shown is None else shown))


def wrong(known: list[Stored], *candidates: Candidate) -> dict[int, str]:
    fitting, contradictions = placed(known, candidates)
    assert {each.row for each in fitting} | {each.row for each in contradictions} == {each.row for each in candidates}
    return {each.row: each.code for each in contradictions}


def test_readings_in_any_order_of_rows_are_put_in_the_order_of_the_road() -> None:
    fitting, contradictions = placed([], [at(4, 20, 2_000), at(2, 0, 1_000), at(3, 10, 1_500)])
    assert [each.row for each in fitting] == [2, 3, 4]
    assert not contradictions


@pytest.mark.parametrize(
    ("candidates", "culprit"),
    [
        ((at(2, 0, 1_000), at(3, 10, 15_000), at(4, 20, 1_900), at(5, 30, 2_400)), {3: "runs-backwards"}),
        ((at(2, 0, 1_000), at(3, 10, 150), at(4, 20, 1_900)), {3: "runs-backwards"}),
        ((at(2, 0, 1_000), at(3, 10, 900_000)), {3: "jumps"}),
        ((at(2, 0, 6_000_000),), {2: "range"}),
        ((at(2, 0, 1_000), at(3, 0, 1_000)), {}),
    ],
)
def test_the_one_that_is_alone_is_named(candidates: tuple[Candidate, ...], culprit: dict[int, str]) -> None:
    assert wrong([], *candidates) == culprit


def test_what_is_stored_is_believed_against_any_number_of_rows() -> None:
    known = [stored(0, 50_000), stored(100, 60_000)]
    assert wrong(known, at(2, 10, 40_000), at(3, 20, 41_000), at(4, 30, 51_000), at(5, 40, 70_000)) == {
        2: "runs-backwards",
        3: "runs-backwards",
        5: "runs-backwards",
    }


def test_a_replaced_odometer_is_counted_on() -> None:
    known = [stored(0, 200_000), stored(10, 200_000, shown=0)]
    fitting, contradictions = placed(known, [at(2, 20, 500), at(3, -5, 199_000)])
    assert not contradictions
    assert {each.row: each.total_km for each in fitting} == {2: Decimal(200_500), 3: Decimal(199_000)}


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 300_000)), max_size=25), st.integers(0, 3))
def test_what_fits_never_runs_backwards_and_every_row_is_told(rows: list[tuple[int, int]], known: int) -> None:
    before = [stored(100 * index, 40_000 * index) for index in range(known)]
    candidates = [at(number, days, km) for number, (days, km) in enumerate(rows, 2)]
    fitting, contradictions = placed(before, candidates)
    assert sorted([each.row for each in fitting] + [each.row for each in contradictions]) == [c.row for c in candidates]
    road = sorted([(each.read_on, each.total_km) for each in (*fitting, *before)])
    assert [km for _, km in road] == sorted(km for _, km in road)
