"""What more money or hours buy."""

import pytest

from scheduling.core.planner.frontier import frontier, useful_amount
from scheduling.core.planner.planning import plan_visits
from scheduling.core.planner.problem import PlanProblem
from scheduling.core.planner.solver import Limits
from tests.benchmarks.planner.instances import problem as invented
from tests.scheduling.core.planner.problems import best_value, job, visit

THREE = PlanProblem((job(9_000, 3_000), job(8_000, 4_000), job(2_000, 2_000)), (visit(money=5_000),))


def test_each_step_is_the_best_for_its_money() -> None:
    steps = frontier(THREE, [0, 3_000, 5_000, 7_000, 9_000], limits=Limits(10.0))
    assert [step.value_minor for step in steps] == [0, 9_000, 11_000, 17_000, 19_000]
    assert [step.bought_minor for step in steps] == [0, 9_000, 2_000, 6_000, 2_000]
    assert {step.status for step in steps} == {"optimal"}


@pytest.mark.parametrize("of", ["money", "minutes"])
def test_values_never_fall_along_the_frontier_and_bounds_hold(of: str) -> None:
    problem = invented(vehicles=2, jobs_a_vehicle=10, seed=5, visits=2)
    total = sum(visit.money_minor if of == "money" else visit.minutes for visit in problem.visits)
    steps = frontier(problem, [total * share // 10 for share in range(0, 21, 4)], of)  # type: ignore[arg-type]
    values = [step.value_minor for step in steps]
    assert values == sorted(values)
    assert values[-1] > values[1]
    assert all(step.value_minor <= step.bound_minor for step in steps)


def test_the_amount_there_is_now_gives_the_plan_there_is_now() -> None:
    (step,) = frontier(THREE, [5_000], limits=Limits(10.0))
    assert step.value_minor == plan_visits(THREE).value_minor == best_value(THREE)


def test_the_bound_of_less_is_never_above_the_bound_of_more() -> None:
    problem = invented(vehicles=2, jobs_a_vehicle=10, seed=7, visits=2)
    total = sum(visit.money_minor for visit in problem.visits)
    steps = frontier(problem, [total * share // 10 for share in range(0, 21, 4)])
    bounds = [step.bound_minor for step in steps]
    assert bounds == sorted(bounds)
    assert [len(step.jobs) for step in steps] == [len(step.placed) for step in steps]


def test_beyond_the_useful_amount_nothing_is_bought() -> None:
    enough = useful_amount(THREE)
    steps = frontier(THREE, [enough, 3 * enough], limits=Limits(10.0))
    assert steps[1].bought_minor == 0
    assert steps[0].jobs == {0, 1, 2}


def test_a_frontier_tells_where_the_money_does_not_even_cover_what_must_be_done() -> None:
    problem = PlanProblem((job(9_000, 3_000, must=True),), (visit(money=5_000),))
    assert [step.status for step in frontier(problem, [1_000, 4_000])] == ["infeasible", "optimal"]
