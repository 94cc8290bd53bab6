"""Plans, held against trying every plan there is, and against promises that hold for any problem."""

import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleetcare.kernel.errors import InvalidInput
from scheduling.core.planner.audit import audited
from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import Person, Plan, PlanJob, PlanProblem, PlanUnit
from scheduling.core.planner.solver import Limits
from tests.benchmarks.planner.instances import problem as invented
from tests.scheduling.core.planner.problems import ALIGNMENT, LOWERED, WHEEL, best_value, job, jobs, problems, visit

LIMITS = Limits(seconds=20.0)


@settings(max_examples=100, deadline=None)
@given(problems(4))
def test_the_best_plan_is_the_best_of_all_plans_there_are(problem: PlanProblem) -> None:
    plan, best = plan_visits(problem, LIMITS), best_value(problem)
    if best is None:
        assert plan.status == "infeasible"
    else:
        assert (plan.status, plan.value_minor) == ("optimal", best)
        assert audited(problem, plan.placed).broken == ()


@settings(max_examples=60, deadline=None)
@given(problems(4))
def test_the_answer_at_once_is_sound_and_its_bound_holds(problem: PlanProblem) -> None:
    plan, best = plan_at_once(problem), best_value(problem)
    if best is None:
        assert plan.status == "infeasible"
    else:
        assert plan.value_minor <= best <= plan.bound_minor
        assert audited(problem, plan.placed).broken == ()


@settings(max_examples=60, deadline=None)
@given(problems(8, 3))
def test_what_must_be_done_is_in_the_plan_or_the_plan_says_that_it_cannot_be(problem: PlanProblem) -> None:
    plan = plan_visits(problem, LIMITS)
    musts = {number for number, each in enumerate(problem.jobs) if each.must}
    one_of = [set(each) for each in problem.needed]
    if plan.status == "infeasible":
        assert plan.placed == ()
        assert plan.ways_out
    else:
        planned = {place.job for place in plan.placed}
        assert musts <= planned
        assert all(each & planned for each in one_of)


@settings(max_examples=60, deadline=None)
@given(problems(8, 3))
def test_every_job_is_planned_or_left_out_with_a_reason_never_both(problem: PlanProblem) -> None:
    plan = plan_visits(problem, LIMITS)
    planned, left = [place.job for place in plan.placed], [each.job for each in plan.left_out]
    assert sorted(planned + left) == list(range(len(problem.jobs)))


@settings(max_examples=40, deadline=None)
@given(problems(7, 2), st.integers(0, 20_000), st.integers(0, 200))
def test_more_money_or_hours_never_lower_the_value(problem: PlanProblem, money: int, minutes: int) -> None:
    before = plan_visits(problem, LIMITS)
    richer = replace(
        problem,
        visits=tuple(
            replace(each, money_minor=each.money_minor + money, minutes=each.minutes + minutes)
            for each in problem.visits
        ),
    )
    if before.status != "infeasible":
        after = plan_visits(richer, LIMITS)
        assert after.status == "optimal"
        assert after.value_minor >= before.value_minor


@settings(max_examples=40, deadline=None)
@given(problems(6, 2), jobs(2))
def test_one_more_job_to_choose_from_never_lowers_the_value(problem: PlanProblem, more: tuple[PlanJob, ...]) -> None:
    added = replace(more[0], must=False, requires=(), excludes=())
    before = plan_visits(problem, LIMITS)
    if before.status != "infeasible":
        after = plan_visits(replace(problem, jobs=(*problem.jobs, added)), LIMITS)
        assert after.value_minor >= before.value_minor


def test_the_same_problem_gives_the_same_plan() -> None:
    problem = invented(vehicles=3, jobs_a_vehicle=8, seed=3)
    assert plan_visits(problem) == plan_visits(problem)


@pytest.mark.parametrize(
    ("minutes", "each_visit"), [([50, 30, 90, 20, 80, 80, 20, 90], 160), ([30, 20, 30, 40, 40, 40], 70)]
)
def test_what_must_be_done_is_placed_even_where_no_time_is_given_and_greed_finds_no_room(
    minutes: list[int], each_visit: int
) -> None:
    """Packing these into three visits to the minute is possible, but not by taking one after the other."""
    problem = PlanProblem(
        tuple(job(0, 0, each, must=True) for each in minutes),
        tuple(visit(each_visit, day=7 * week) for week in range(3)),
    )
    plan = plan_visits(problem, Limits(seconds=0.0))
    assert sorted(place.job for place in plan.placed) == list(range(len(minutes)))
    assert audited(problem, plan.placed).broken == ()


def test_without_time_the_plan_still_carries_a_bound_that_holds() -> None:
    problem = invented(vehicles=3, jobs_a_vehicle=10, seed=4)
    hurried, best = plan_visits(problem, Limits(seconds=0.0)), plan_visits(problem)
    assert hurried.value_minor <= best.value_minor <= hurried.bound_minor


def test_importing_the_planner_loads_no_solver() -> None:
    code = "import sys, scheduling.core.planner.planning; sys.exit('highspy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_solving_prints_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    plan_visits(invented(vehicles=1, jobs_a_vehicle=5, seed=1))
    assert capfd.readouterr().out == ""


def planned(*listed: PlanJob, **more: object) -> Plan:
    return plan_visits(PlanProblem(listed, (visit(**more),)))  # type: ignore[arg-type]


def test_access_is_counted_once_a_visit_and_vehicle() -> None:
    plan = planned(job(10_000, 1_000, 60, WHEEL, ALIGNMENT), job(9_000, 1_000, 60, WHEEL, ALIGNMENT))
    (done,) = plan.visits
    assert plan.value_minor == 19_000 - WHEEL.cost_minor - ALIGNMENT.cost_minor
    assert (done.minutes, done.cash_minor) == (120 + 35, 2_000 + 7_000)
    assert done.units == (("a", "wheel-alignment"), ("a", "wheel-off.front-left"))


def test_the_answer_at_once_counts_open_access_as_free_too() -> None:
    """Two jobs of an hour share 35 minutes: 155 minutes hold both, not one minute less."""
    pair = (job(10_000, 0, 60, WHEEL, ALIGNMENT), job(9_000, 0, 60, WHEEL, ALIGNMENT))
    both, one = (plan_at_once(PlanProblem(pair, (visit(minutes),))) for minutes in (155, 154))
    assert (len(both.placed), len(one.placed)) == (2, 1)
    assert both.value_minor == 19_000 - WHEEL.cost_minor - ALIGNMENT.cost_minor


def test_access_of_another_vehicle_is_another_access() -> None:
    plan = planned(job(10_000, 0, 60, WHEEL), job(9_000, 0, 60, WHEEL, vehicle="b"))
    assert plan.value_minor == 19_000 - 2 * WHEEL.cost_minor


def test_jobs_that_pay_only_together_are_planned_together() -> None:
    together = planned(job(5_000, 0, 30, LOWERED), job(5_000, 0, 30, LOWERED))
    assert together.value_minor == 10_000 - LOWERED.cost_minor
    assert planned(job(5_000, 0, 30, LOWERED)).value_minor == 0


def test_a_job_that_saves_less_than_its_access_is_left_out_as_not_worth_it() -> None:
    plan = planned(job(5_000, 0, 30, LOWERED))
    assert [each.why for each in plan.left_out] == ["not-worth-it"]


@pytest.mark.parametrize(
    ("listed", "more", "why"),
    [
        ((job(9_000, 8_000), job(5_000, 8_000)), {"money": 10_000}, "no-money-left"),
        ((job(9_000, 0, 300), job(5_000, 0, 300)), {"minutes": 400}, "no-time-left"),
        ((job(9_000), job(5_000, excludes=(0,))), {}, "excluded"),
        ((job(-9_000), job(5_000, requires=(0,))), {}, "requires-left-out"),
        ((job(9_000), job(5_000, latest_day=-1)), {}, "no-visit-fits"),
        ((job(9_000), job(5_000, bay="lift")), {"lift_minutes": 0}, "no-visit-fits"),
        ((job(9_000), job(5_000, skills=("welding",))), {"people": (Person("p", 480),)}, "nobody-can"),
        ((job(9_000, 0, 60), job(5_000, 0, 60)), {"people": (Person("p", 90),)}, "nobody-free"),
    ],
)
def test_a_job_left_out_tells_what_stands_in_its_way(
    listed: tuple[PlanJob, ...], more: dict[str, object], why: str
) -> None:
    (left,) = [each for each in planned(*listed, **more).left_out if each.job == 1]
    assert left.why == why


def test_money_not_spent_carries_over_only_where_it_may() -> None:
    problem = PlanProblem((job(9_000, 15_000, earliest_day=7),), (visit(money=10_000), visit(money=10_000, day=7)))
    assert plan_visits(problem).value_minor == 9_000
    assert plan_visits(replace(problem, carry_over=False)).value_minor == 0


def test_money_of_a_later_visit_is_not_there_before() -> None:
    problem = PlanProblem((job(9_000, 15_000, latest_day=0),), (visit(money=10_000), visit(money=10_000, day=7)))
    assert plan_visits(problem).value_minor == 0


def test_a_required_job_is_done_in_the_same_visit_or_before() -> None:
    problem = PlanProblem(
        (job(1_000, 0, 300, earliest_day=7), job(9_000, 0, 300, requires=(0,), loss_minor_per_day=10)),
        (visit(400), visit(400, day=7), visit(400, day=14)),
    )
    plan = plan_visits(problem)
    assert {place.job: place.visit for place in plan.placed} == {0: 1, 1: 2}
    assert (plan.status, plan.value_minor) == ("optimal", 10_000 - 140)


def test_waiting_costs_so_the_more_pressing_job_is_done_first() -> None:
    problem = PlanProblem(
        (job(9_000, 0, 300, loss_minor_per_day=10), job(9_000, 0, 300, loss_minor_per_day=400)),
        (visit(400), visit(400, day=7)),
    )
    plan = plan_visits(problem)
    assert {place.job: place.visit for place in plan.placed} == {0: 1, 1: 0}
    assert plan.value_minor == 18_000 - 70


def test_work_on_the_lift_is_bounded_by_the_lift_and_stands_work_may_use_it() -> None:
    listed = (job(9_000, 0, 60, bay="lift"), job(8_000, 0, 60, bay="stands"), job(7_000, 0, 60, bay="lift"))
    plan = planned(*listed, lift_minutes=120, stands_minutes=0)
    assert [place.job for place in plan.placed] == [0, 1]
    with_stands = planned(*listed, lift_minutes=120, stands_minutes=60)
    assert [place.job for place in with_stands.placed] == [0, 1, 2]


def test_work_goes_to_who_can_do_it_within_their_hours() -> None:
    people = (Person("apprentice", 200), Person("welder", 100, ("welding",)))
    plan = planned(
        job(9_000, 0, 100, skills=("welding",)), job(8_000, 0, 100), job(7_000, 0, 100), job(6_000, 0, 100),
        people=people,
    )  # fmt: skip
    assert {place.job: place.person for place in plan.placed} == {0: 1, 1: 0, 2: 0}


def test_free_work_that_saves_something_is_always_done() -> None:
    plan = planned(job(1, 0, 0), job(50_000, 100_000, 480))
    assert {place.job for place in plan.placed} == {0, 1}


def test_a_problem_that_contradicts_itself_is_refused_naming_every_fault() -> None:
    other_wheel = PlanUnit("wheel-off.front-left", 900, 0, 99)
    problem = PlanProblem(
        (job(1, 0, 0, WHEEL), job(1, 0, -5, other_wheel, requires=(7,))), (visit(day=7), visit(day=0))
    )
    with pytest.raises(InvalidInput) as refused:
        plan_visits(problem)
    assert {fault.pointer for fault in refused.value.faults} == {"/visits", "/jobs/1", "/jobs/1/units"}


def test_no_visits_are_refused() -> None:
    with pytest.raises(InvalidInput, match="at least one visit"):
        plan_at_once(PlanProblem((), ()))


def test_nothing_to_do_is_the_best_plan_for_no_jobs() -> None:
    plan = planned()
    assert (plan.status, plan.value_minor, plan.gap_fraction, plan.placed) == ("optimal", 0, 0.0, ())


def test_a_tolerance_lets_a_plan_close_enough_count_as_best() -> None:
    problem = invented(vehicles=4, jobs_a_vehicle=10, seed=2)
    plan = plan_visits(problem, Limits(seconds=20.0, tolerance_fraction=0.05))
    assert plan.status == "optimal"
    assert plan.gap_fraction <= 0.05
