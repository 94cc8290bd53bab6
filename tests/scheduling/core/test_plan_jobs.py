"""From the backlog to the planner: the same money, whole units, safety as a rule."""

import numpy as np
import pytest

from fleetcare.kernel.grades import Grade
from scheduling.core.backlog import Ranking, rank_jobs
from scheduling.core.plan_jobs import plan_jobs
from scheduling.core.planner.planning import plan_visits
from scheduling.core.planner.problem import PlanProblem, Visit
from scheduling.core.types import JobOption
from tests.scheduling.core.given import ALIGNMENT, RATE, WHEEL, cells, certain, costs, option, waited

FAILS_SOON = (0.0, 1_000.0, 2_000.0)
LASTS = (80_000.0, 90_000.0, 100_000.0)


def ranking_of(
    options: list[JobOption], failure: list[float], grades: list[int], safety: list[bool], credit: float = 0.0
) -> Ranking:
    count = len(failure)
    lives = certain(*[FAILS_SOON if cost > 1_000.0 else LASTS for cost in failure])
    prices = costs([16_000.0] * count, failure, safety=safety)
    one_vehicle = cells(*([0] * count))
    return rank_jobs(
        options, one_vehicle, np.array(grades), waited(lives), prices, np.full(count, credit), np.array([RATE])
    )


OPTIONS = [
    option(0, 0, access=(WHEEL,), follow_ups=(ALIGNMENT,), key="arm.replace"),
    option(0, 1, access=(WHEEL,), key="pads.replace"),
    option(0, 2, key="hose.replace"),
]
RANKING = ranking_of(OPTIONS, [200_000.0, 90_000.0, 900.0], [2, 2, Grade.DANGEROUS], [False, False, True], credit=0.1)


def test_a_job_saves_the_cost_of_waiting_before_its_access() -> None:
    chosen, jobs = plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=False)
    arm = jobs[chosen.index(0)]
    waiting_minor = float(RANKING.priced.waiting_minor[0])
    assert arm.saving_minor == pytest.approx(waiting_minor - 10_000 - 6_000, abs=1)
    assert {unit.key: (unit.cost_minor, unit.cash_minor, unit.minutes) for unit in arm.units} == {
        "wheel-off.front-left": (3_000, 0, 30),
        "wheel-alignment": (10_000, 7_000, 30),
    }


def test_own_hours_take_no_money_and_paid_hours_do() -> None:
    own, paid = (plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=paid)[1] for paid in (False, True))
    assert (own[0].cash_minor, paid[0].cash_minor) == (10_000, 16_000)
    assert own[0].saving_minor == paid[0].saving_minor
    assert own[0].minutes == 60


def test_what_must_be_done_before_driving_must_be_planned() -> None:
    chosen, jobs = plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=True)
    assert {option: job.must for option, job in zip(chosen, jobs, strict=True)} == {0: False, 1: False, 2: True}
    assert jobs[chosen.index(2)].saving_minor < 0


def test_a_delay_costs_what_three_months_of_waiting_cost_more_than_now() -> None:
    """Failing within three months costs 184,000 more than the job; a quarter has 91.3 days."""
    ranking = ranking_of([option(0, 0)], [200_000.0], [2], [False])
    _, (job,) = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True)
    assert job.loss_minor_per_day == round(184_000 / (365.25 / 4))


def test_jobs_that_save_nothing_even_with_all_access_open_are_left_out() -> None:
    ranking = ranking_of([option(0, 0)], [900.0], [1], [False], credit=0.1)
    assert plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True) == ((), ())


def test_alternatives_for_one_part_exclude_each_other() -> None:
    options = [option(0, 0, access=(WHEEL,), key="one.replace"), option(0, 0, access=(WHEEL,), key="other.replace")]
    ranking = ranking_of(options, [14_500.0], [2], [False])
    _, jobs = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True)
    assert [job.excludes for job in jobs] == [(1,), (0,)]


def test_with_money_and_hours_for_all_the_plan_saves_at_least_what_the_ranked_list_does() -> None:
    _, jobs = plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=True)
    plan = plan_visits(PlanProblem(jobs, (Visit(0, 10_000, 10_000_000),)))
    by_list = sum(item.cost_of_waiting_minor for item in RANKING.of(0).items)
    assert plan.value_minor >= by_list - 3
    assert plan.visits[0].cash_minor == pytest.approx(RANKING.of(0).total_cost_minor, abs=3)
