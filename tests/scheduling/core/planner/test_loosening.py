"""Where not everything fits, the ways out are ways out, and no larger than needed."""

from dataclasses import replace

import pytest
from hypothesis import given, settings

from scheduling.core.planner.loosening import loosened, ways_out
from scheduling.core.planner.planning import plan_visits
from scheduling.core.planner.problem import Loosening, Person, PlanProblem
from tests.scheduling.core.planner.problems import ALIGNMENT, WHEEL, best_value, job, problems, visit


@settings(max_examples=60, deadline=None)
@given(problems(4, 2))
def test_every_way_out_makes_a_plan_possible(problem: PlanProblem) -> None:
    infeasible = best_value(problem) is None
    ways = ways_out(problem)
    assert bool(ways) == infeasible
    for way in ways:
        assert best_value(loosened(problem, way)) is not None


@settings(max_examples=60, deadline=None)
@given(problems(4, 2))
def test_a_way_out_by_one_rule_asks_for_no_more_than_is_needed(problem: PlanProblem) -> None:
    for way in ways_out(problem):
        if len(way) == 1 and way[0].amount > 1 and way[0].rule in ("money", "minutes"):
            less = replace(way[0], amount=way[0].amount - 1)
            assert best_value(loosened(problem, (less,))) is None


def infeasible(problem: PlanProblem) -> tuple[tuple[Loosening, ...], ...]:
    plan = plan_visits(problem)
    assert plan.status == "infeasible"
    assert [each.job for each in plan.left_out] == list(range(len(problem.jobs)))
    return plan.ways_out


def test_money_that_lacks_is_told_to_the_last_unit() -> None:
    problem = PlanProblem((job(0, 9_000, 60, ALIGNMENT, must=True),), (visit(money=10_000),))
    assert infeasible(problem) == ((Loosening("money", 6_000, visit=0),),)


def test_money_given_at_one_visit_is_not_asked_for_again_at_the_next() -> None:
    listed = (job(0, 5_000, must=True, latest_day=0), job(0, 5_000, must=True, earliest_day=7))
    first_way = infeasible(PlanProblem(listed, (visit(money=0), visit(money=0, day=7))))[0]
    assert {each.rule for each in first_way} == {"money"}
    assert sum(each.amount for each in first_way) == 10_000


def test_hours_that_lack_are_told_with_the_access_they_include() -> None:
    problem = PlanProblem((job(0, 0, 60, WHEEL, must=True),), (visit(minutes=50),))
    assert infeasible(problem) == ((Loosening("minutes", 25, visit=0),),)


def test_a_job_that_can_only_be_done_later_tells_by_how_many_days() -> None:
    problem = PlanProblem((job(0, 5_000, must=True, latest_day=0),), (visit(money=0), visit(day=14)))
    assert infeasible(problem) == ((Loosening("money", 5_000, visit=0),), (Loosening("latest-day", 14, job=0),))


def test_a_person_with_too_few_hours_is_named() -> None:
    problem = PlanProblem(
        (job(0, 0, 90, must=True, skills=("welding",)),),
        (visit(people=(Person("helper", 400), Person("welder", 60, ("welding",)))),),
    )
    assert infeasible(problem) == ((Loosening("person-minutes", 30, visit=0, person=1),),)


def test_a_missing_lift_is_told_with_the_minutes_it_is_needed() -> None:
    problem = PlanProblem((job(0, 0, 90, must=True, bay="lift"),), (visit(lift_minutes=0, stands_minutes=0),))
    assert infeasible(problem) == ((Loosening("lift-minutes", 90, visit=0),),)


def test_money_and_hours_are_asked_for_together_where_neither_suffices() -> None:
    problem = PlanProblem((job(0, 9_000, 60, must=True),), (visit(minutes=50, money=8_000),))
    assert infeasible(problem) == ((Loosening("minutes", 10, visit=0), Loosening("money", 1_000, visit=0)),)


def test_a_job_that_nobody_can_ever_do_is_named_as_a_last_resort() -> None:
    problem = PlanProblem(
        (job(0, must=True, skills=("welding",)), job(0, must=True)), (visit(people=(Person("helper", 400),)),)
    )
    assert infeasible(problem) == ((Loosening("must", 0, job=0),),)


@pytest.mark.parametrize("required_first", [True, False])
def test_what_a_job_requires_counts_among_what_must_fit(required_first: bool) -> None:
    required, wanting = job(0, 0, 60), job(0, 0, 60, must=True)
    listed = (
        (required, replace(wanting, requires=(0,))) if required_first else (replace(wanting, requires=(1,)), required)
    )
    assert infeasible(PlanProblem(listed, (visit(minutes=100),))) == ((Loosening("minutes", 20, visit=0),),)
