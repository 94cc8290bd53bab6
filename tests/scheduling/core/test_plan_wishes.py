"""Wishes put into jobs, and circles among them."""

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.core.plan_wishes import Wish, circles, wished
from scheduling.core.planner.problem import PlanJob

JOBS = tuple(PlanJob("car", f"job-{number}", 100, 10, 10, excludes=(2,) if number == 1 else ()) for number in range(4))


def test_of_several_wishes_about_a_job_each_counts_and_the_narrower_day_wins() -> None:
    wishes = [
        Wish((1,), must=True, not_before_day=10, not_after_day=30),
        Wish((1,), not_before_day=12, not_after_day=40, requires=(0,), excludes=(3,), skills=("welding",)),
    ]
    job = wished(JOBS, wishes)[1]
    assert (job.must, job.earliest_day, job.latest_day) == (True, 12, 30)
    assert (job.requires, job.excludes, job.skills) == ((0,), (2, 3), ("welding",))
    assert wished(JOBS, wishes)[0] == JOBS[0]


def test_a_wish_about_a_job_at_all_its_places_never_binds_one_to_itself() -> None:
    both = wished(JOBS, [Wish((0, 1), requires=(0, 1))])
    assert [job.requires for job in both[:2]] == [(1,), (0,)]


def test_each_circle_is_found_once() -> None:
    assert circles({0: [1], 1: [2], 2: [0], 3: [0], 4: [5], 5: [4]}) == [(0, 1, 2), (4, 5)]
    assert circles({0: [1, 2], 1: [3], 2: [3], 3: []}) == []


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(st.integers(0, 5), st.lists(st.integers(0, 5), max_size=3), max_size=6))
def test_there_is_a_circle_exactly_where_the_things_cannot_be_put_in_order(requires: dict[int, list[int]]) -> None:
    left = set(requires) | {other for others in requires.values() for other in others}
    while ready := {each for each in left if not set(requires.get(each, ())) & left}:
        left -= ready
    assert bool(circles(requires)) == bool(left)
    for way in circles(requires):
        assert all(there in requires[here] for here, there in zip(way, (*way[1:], way[0]), strict=True))
