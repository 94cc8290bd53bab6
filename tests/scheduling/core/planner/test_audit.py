"""The audit finds every way in which a plan can break a rule."""

import pytest

from scheduling.core.planner.audit import audited
from scheduling.core.planner.problem import Person, Placed, PlanProblem
from tests.scheduling.core.planner.problems import ALIGNMENT, WHEEL, job, visit


def broken(problem: PlanProblem, *placed: Placed) -> str:
    return "; ".join(audited(problem, placed).broken)


FIRST = Placed(0, 0)


def test_a_plan_is_recounted_from_the_problem_alone() -> None:
    problem = PlanProblem(
        (job(10_000, 1_000, 60, WHEEL, loss_minor_per_day=10), job(5_000, 500, 30, WHEEL, ALIGNMENT)),
        (visit(), visit(day=7)),
    )
    audit = audited(problem, [Placed(0, 1), Placed(1, 1)])
    assert audit.broken == ()
    assert audit.value_minor == 10_000 - 70 + 5_000 - 900 - 8_200
    assert (audit.visits[1].minutes, audit.visits[1].cash_minor) == (60 + 30 + 15 + 20, 1_000 + 500 + 7_000)
    assert audit.visits[0].jobs == ()


def test_access_opened_at_two_visits_is_paid_twice() -> None:
    problem = PlanProblem((job(10_000, 0, 60, WHEEL), job(5_000, 0, 60, WHEEL)), (visit(), visit(day=7)))
    assert audited(problem, [Placed(0, 0), Placed(1, 1)]).value_minor == 15_000 - 2 * 900


@pytest.mark.parametrize(
    ("problem", "placed", "said"),
    [
        (PlanProblem((job(must=True),), (visit(),)), (), "must be done and is left out"),
        (PlanProblem((job(),), (visit(), visit())), (FIRST, Placed(0, 1)), "planned 2 times"),
        (PlanProblem((job(), job(requires=(0,))), (visit(),)), (Placed(1, 0),), "requires job 0"),
        (PlanProblem((job(), job(requires=(0,))), (visit(), visit())), (Placed(0, 1), Placed(1, 0)), "requires job 0"),
        (PlanProblem((job(), job(excludes=(0,))), (visit(),)), (FIRST, Placed(1, 0)), "exclude each other"),
        (PlanProblem((job(1, 101),), (visit(money=100),)), (FIRST,), "spends 1 more"),
        (PlanProblem((job(1, 0, 61),), (visit(60),)), (FIRST,), "more minutes"),
        (PlanProblem((job(1, 0, 50, WHEEL),), (visit(60),)), (FIRST,), "more minutes"),
        (PlanProblem((job(1, 0, 61, bay="lift"),), (visit(lift_minutes=60),)), (FIRST,), "lift longer"),
        (
            PlanProblem((job(1, 0, 61, bay="stands"),), (visit(lift_minutes=30, stands_minutes=30),)),
            (FIRST,),
            "lift and stands longer",
        ),
        (PlanProblem((job(latest_day=3),), (visit(day=7),)), (FIRST,), "cannot be done"),
        (PlanProblem((job(earliest_day=8),), (visit(day=7),)), (FIRST,), "cannot be done"),
        (PlanProblem((job(),), (visit(vehicles=("b",)),)), (FIRST,), "cannot be done"),
        (PlanProblem((job(),), (visit(people=(Person("p", 480),)),)), (FIRST,), "nobody able"),
        (
            PlanProblem((job(skills=("welding",)),), (visit(people=(Person("p", 480),)),)),
            (Placed(0, 0, 0),),
            "nobody able",
        ),
        (PlanProblem((job(1, 0, 61),), (visit(people=(Person("p", 60),)),)), (Placed(0, 0, 0),), "longer"),
    ],
)
def test_each_broken_rule_is_told(problem: PlanProblem, placed: tuple[Placed, ...], said: str) -> None:
    assert said in broken(problem, *placed)


def test_money_carried_over_covers_a_later_visit() -> None:
    visits = (visit(money=60), visit(money=60, day=7))
    assert broken(PlanProblem((job(1, 100),), visits), Placed(0, 1)) == ""
    assert "spends 40 more" in broken(PlanProblem((job(1, 100),), visits, carry_over=False), Placed(0, 1))
