"""What is settled before the search, and how a first plan is made better: neither may lose the best plan."""

import pytest

from scheduling.core.planner.audit import audited
from scheduling.core.planner.formulation import formulated
from scheduling.core.planner.improving import improved
from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import Placed, PlanProblem
from scheduling.core.planner.settling import near, settled
from scheduling.core.planner.solver import Limits, relaxed, solved
from tests.benchmarks.planner.instances import problem as invented
from tests.scheduling.core.planner.problems import LOWERED, best_value, job, visit

LIMITS = Limits(seconds=20.0)


@pytest.mark.parametrize("seed", range(4))
def test_over_three_visits_too_the_best_plan_is_the_best_of_all_there_are(seed: int) -> None:
    problem = invented(2, 2, seed, 3, share=0.7)
    plan, best = plan_visits(problem, LIMITS), best_value(problem)
    assert (plan.status, plan.value_minor) == ("optimal", best)


@pytest.mark.parametrize(("size", "seed"), [((2, 20, 1), 4), ((2, 15, 1), 5), ((1, 10, 2), 6)])
def test_with_columns_settled_the_search_finds_what_it_finds_without(size: tuple[int, int, int], seed: int) -> None:
    problem = invented(*size[:2], seed, size[2])
    plan, whole = plan_visits(problem, LIMITS), solved(formulated(problem), LIMITS)
    assert (plan.status, whole.outcome) == ("optimal", "solved")
    assert plan.value_minor == pytest.approx(whole.bound, abs=0.5)


def test_no_better_plan_moves_what_is_settled() -> None:
    """The best plan, found without settling anything, against what a plan a little worse settles."""
    problem = invented(5, 20, 7)
    model = formulated(problem)
    bound, best = relaxed(model), solved(model, LIMITS)
    assert best.x is not None
    value = audited(problem, [model.places[at] for at in range(len(model.places)) if best.x[at] > 0.5]).value_minor
    ends = settled(model, bound, value - 500)
    assert ((ends.lower - 1e-6 <= best.x) & (best.x <= ends.upper + 1e-6)).all()
    assert (ends.lower == ends.upper).sum() > 0.5 * model.columns
    worse = settled(model, bound, value - 50_000)
    assert (worse.lower == worse.upper).sum() < (ends.lower == ends.upper).sum()


def test_near_the_relaxed_plan_so_many_places_are_left_to_choose() -> None:
    problem = invented(5, 20, 7)
    model = formulated(problem)
    ends = near(model, relaxed(model), 30)
    assert (ends.lower != ends.upper)[: len(model.places)].sum() == 30
    assert (ends.lower != ends.upper)[len(model.places) :].all()


def test_what_one_vehicle_has_done_moves_together_to_where_its_access_is_opened_once() -> None:
    """Two jobs that share a subframe stand at two visits; together at one they leave room and money."""
    shared = [job(20_000, 1_000, 60, LOWERED) for _ in range(2)]
    problem = PlanProblem((*shared, job(9_000, 1_000, 100, vehicle="b")), (visit(240), visit(240, day=7)))
    apart = (Placed(0, 0), Placed(1, 1))

    def value(plan: tuple[Placed, ...]) -> int | None:
        audit = audited(problem, plan)
        return None if audit.broken else audit.value_minor

    better = improved(problem, formulated(problem), (None,), apart, value, 10)
    assert value(better) == 20_000 * 2 - LOWERED.cost_minor + 9_000
    assert improved(problem, formulated(problem), (None,), apart, value, 0) == apart


@pytest.mark.parametrize(("seed", "best_minor"), [(1, 217_696), (2, 267_646), (3, 264_718)])
def test_over_several_visits_the_answer_at_once_is_near_the_best(seed: int, best_minor: int) -> None:
    """The best values were proved once by the exact search (half a minute on a loaded machine)."""
    assert 0.95 * best_minor <= plan_at_once(invented(2, 15, seed, 2)).value_minor <= best_minor


def test_where_not_all_that_must_be_done_fits_nobody_is_said_to_be_busy() -> None:
    """Each fits by itself and both do not; no people are named, so that nobody can be the reason."""
    problem = PlanProblem((job(minutes=100, must=True), job(minutes=90, must=True)), (visit(120),))
    plan = plan_visits(problem, LIMITS)
    assert plan.status == "infeasible"
    assert {each.why for each in plan.left_out} == {"no-time-left"}
    assert plan.ways_out
