"""The order of a fleet's jobs, held against sorting all of them one by one."""

import uuid

from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.fleet_order import FleetOrder, Place, counted_worths

WORTHS = st.sampled_from([-0.5, 0.0, 0.25, 1.0, 1.5, 8.0])
LISTS = st.lists(
    st.tuples(st.integers(0, 2), st.lists(WORTHS, max_size=5)).map(
        lambda drawn: (
            [(True, worth) for worth in drawn[1][: drawn[0]]] + [(False, worth) for worth in drawn[1][drawn[0] :]]
        )
    ),
    max_size=6,
)


def vehicle(number: int) -> uuid.UUID:
    return uuid.UUID(int=number)


def fleet(lists: list[list[tuple[bool, float]]]) -> FleetOrder:
    return FleetOrder([vehicle(number) for number in range(len(lists))], [counted_worths(each) for each in lists])


def sorted_plainly(lists: list[list[tuple[bool, float]]]) -> list[tuple[uuid.UUID, int]]:
    keyed = []
    for number, jobs in enumerate(lists):
        least = float("inf")
        for rank, (first, worth) in enumerate(jobs):
            least = least if first else min(least, worth)
            keyed.append((not first, -least, number, rank))
    return [(vehicle(number), rank) for _, _, number, rank in sorted(keyed)]


def paged(order: FleetOrder, limit: int) -> list[tuple[uuid.UUID, int]]:
    seen: list[Place] = []
    while len(seen) < len(order):
        start, places = order.after(seen[-1] if seen else None, limit)
        assert start == len(seen)
        seen += places
    return [(place.vehicle, place.rank) for place in seen]


@given(LISTS, st.integers(1, 4))
def test_pages_of_any_size_give_every_job_once_in_the_order_of_sorting_them_all(
    lists: list[list[tuple[bool, float]]], limit: int
) -> None:
    assert paged(fleet(lists), limit) == sorted_plainly(lists)


def test_no_job_stands_ahead_of_the_one_of_its_vehicle_that_opens_its_access() -> None:
    order = fleet([[(False, 1.0), (False, 9.0)], [(False, 2.0)]])
    assert [(place.vehicle.int, place.rank) for place in order.after(None, 3)[1]] == [(1, 0), (0, 0), (0, 1)]


@given(LISTS, LISTS, st.data())
def test_a_page_goes_on_where_the_last_one_ended_whatever_came_or_went_in_between(
    before: list[list[tuple[bool, float]]], after: list[list[tuple[bool, float]]], data: st.DataObject
) -> None:
    """What both fleets have is neither skipped nor repeated: all that is left stands after the mark in sorting."""
    whole = fleet(before).after(None, 100)[1]
    if not whole:
        return
    mark = data.draw(st.sampled_from(whole))
    start, rest = fleet(after).after(mark, 100)

    def key(place: Place) -> tuple[bool, float, int, int]:
        worth = float("inf") if place.worth is None else place.worth
        return (place.worth is not None, -worth, place.vehicle.int, place.rank)

    everything = fleet(after).after(None, 100)[1]
    assert rest == [place for place in everything if key(place) > key(mark)]
    assert start == len(everything) - len(rest)


def test_a_fleet_without_jobs_has_an_empty_order() -> None:
    assert fleet([[], []]).after(None, 5) == (0, [])
