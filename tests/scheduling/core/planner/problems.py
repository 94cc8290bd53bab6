"""Small planning problems for tests, and every plan there is for them."""

from collections.abc import Iterator
from itertools import product

from hypothesis import strategies as st

from scheduling.core.planner.audit import audited
from scheduling.core.planner.problem import Person, Placed, PlanJob, PlanProblem, PlanUnit, Visit

WHEEL = PlanUnit("wheel-off.front-left", 900, 0, 15)
ALIGNMENT = PlanUnit("wheel-alignment", 8_200, 7_000, 20)
LOWERED = PlanUnit("subframe-lowered", 7_200, 0, 120, "lift")
UNITS = (WHEEL, ALIGNMENT, LOWERED)


def job(
    saving: int = 10_000,
    cash: int = 5_000,
    minutes: int = 60,
    *units: PlanUnit,
    vehicle: str = "a",
    **more: object,
) -> PlanJob:
    """A job with round figures."""
    return PlanJob(vehicle, "job", saving, cash, minutes, units, **more)  # type: ignore[arg-type]


def visit(minutes: int = 480, money: int = 100_000, day: int = 0, **more: object) -> Visit:
    """A visit with round figures."""
    return Visit(day, minutes, money, **more)  # type: ignore[arg-type]


def every_plan(problem: PlanProblem) -> Iterator[tuple[Placed, ...]]:
    """All ways to put each job into a visit and a person, or nowhere, sound or not."""
    slots = [
        [None, *(Placed(number, at, person) for at, each in enumerate(problem.visits) for person in _people(each))]
        for number in range(len(problem.jobs))
    ]
    for choice in product(*slots):
        yield tuple(place for place in choice if place is not None)


def _people(each: Visit) -> list[int]:
    return list(range(len(each.people))) or [-1]


def best_value(problem: PlanProblem) -> int | None:
    """The most that any sound plan saves, or None where there is none."""
    audits = (audited(problem, plan) for plan in every_plan(problem))
    return max((audit.value_minor for audit in audits if not audit.broken), default=None)


def jobs(count: int) -> st.SearchStrategy[tuple[PlanJob, ...]]:
    """Any jobs of two vehicles, with all kinds of rules among them."""
    each = st.builds(
        PlanJob,
        vehicle=st.sampled_from(["a", "b"]),
        key=st.just("job"),
        saving_minor=st.integers(-3_000, 30_000),
        cash_minor=st.integers(0, 9_000),
        minutes=st.integers(0, 150),
        units=st.sets(st.sampled_from(UNITS), max_size=2).map(lambda units: tuple(sorted(units, key=str))),
        must=st.integers(0, 5).map(lambda drawn: drawn == 0),
        loss_minor_per_day=st.integers(0, 60),
        latest_day=st.sampled_from([None, None, 0, 10]),
        earliest_day=st.sampled_from([None, None, None, 3]),
        requires=st.sampled_from([(), (), (), (0,)]),
        excludes=st.sampled_from([(), (), (), (1,)]),
        skills=st.sampled_from([(), (), ("welding",)]),
        bay=st.sampled_from(["", "stands", "lift"]),
    )
    return st.lists(each, min_size=2, max_size=count).map(_without_self_reference)


def _without_self_reference(listed: list[PlanJob]) -> tuple[PlanJob, ...]:
    from dataclasses import replace

    return tuple(
        replace(
            one,
            requires=tuple(other for other in one.requires if other != number),
            excludes=tuple(other for other in one.excludes if other != number),
        )
        for number, one in enumerate(listed)
    )


def visits(count: int) -> st.SearchStrategy[tuple[Visit, ...]]:
    """Any visits a week apart, with or without named people and bays."""
    person = st.builds(
        Person, key=st.just("somebody"), minutes=st.integers(0, 300), skills=st.sampled_from([(), ("welding",)])
    )
    each = st.builds(
        Visit,
        day=st.just(0),
        minutes=st.integers(0, 400),
        money_minor=st.integers(0, 20_000),
        people=st.lists(person, max_size=2).map(tuple),
        stands_minutes=st.sampled_from([None, None, 100]),
        lift_minutes=st.sampled_from([None, None, 0, 150]),
    )
    return st.lists(each, min_size=1, max_size=count).map(_a_week_apart)


def _a_week_apart(listed: list[Visit]) -> tuple[Visit, ...]:
    from dataclasses import replace

    return tuple(replace(one, day=7 * number) for number, one in enumerate(listed))


def problems(job_count: int = 5, visit_count: int = 2) -> st.SearchStrategy[PlanProblem]:
    """Any problem small enough to try every plan."""
    return st.builds(
        PlanProblem,
        jobs=jobs(job_count),
        visits=visits(visit_count),
        carry_over=st.booleans(),
        # There are two jobs at least.
        needed=st.sampled_from([(), (), ((0, 1),), ((1,), (0, 1))]),
    )
