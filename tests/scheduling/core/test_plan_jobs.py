"""From the backlog to the planner: the same money, whole units, safety as a rule."""

import numpy as np
import pytest

from fleetcare.kernel.grades import Grade
from scheduling.core.backlog import Ranking, rank_jobs
from scheduling.core.plan_jobs import Danger, Demands, JobsToPlan, plan_jobs
from scheduling.core.planner.planning import plan_visits
from scheduling.core.planner.problem import PlanProblem, PlanUnit, Visit
from scheduling.core.types import JobOption, JobWork, SharedWork
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


NO_DANGER = np.zeros(3, dtype=bool)
THIRD = np.array([False, False, True])


def test_a_job_saves_the_cost_of_waiting_before_its_access() -> None:
    found = plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=False, dangerous=THIRD)
    arm = found.jobs[found.options.index(0)]
    waiting_minor = float(RANKING.priced.waiting_minor[0])
    assert arm.saving_minor == pytest.approx(waiting_minor - 10_000 - 6_000, abs=1)
    assert {unit.key: (unit.cost_minor, unit.cash_minor, unit.minutes) for unit in arm.units} == {
        "wheel-off.front-left": (3_000, 0, 30),
        "wheel-alignment": (10_000, 7_000, 30),
    }


def test_own_hours_take_no_money_and_paid_hours_do() -> None:
    own, paid = (plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=paid, dangerous=THIRD).jobs for paid in (False, True))
    assert (own[0].cash_minor, paid[0].cash_minor) == (10_000, 16_000)
    assert own[0].saving_minor == paid[0].saving_minor
    assert own[0].minutes == 60


def test_what_must_be_done_before_driving_is_needed_whatever_it_saves() -> None:
    found = plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=True, dangerous=THIRD)
    hose = found.options.index(2)
    assert (found.dangers, found.needed) == ((Danger(2, (hose,)),), ((hose,),))
    assert found.jobs[hose].saving_minor < 0


def test_any_job_that_puts_a_dangerous_part_right_will_do() -> None:
    options = [option(0, 0, key="one.replace"), option(0, 0, key="other.repair"), option(0, 1, key="next.replace")]
    ranking = ranking_of(options, [900.0, 90_000.0], [Grade.DANGEROUS, 2], [True, False])
    found = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=THIRD[[2, 0]])
    assert found.needed == ((0, 1),)
    assert [job.excludes for job in found.jobs] == [(1,), (0,), ()]
    without = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=THIRD[[2, 0]], unwanted={0})
    assert (without.options, without.needed) == ((1, 2), ((0,),))
    nothing = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=THIRD[[2, 0]], unwanted={0, 1})
    assert (nothing.dangers, nothing.needed) == ((Danger(0, ()),), ())


def test_what_is_given_away_takes_money_and_nothing_of_the_visit() -> None:
    away = SharedWork("wheel-off.front-left", 0.5, given_away=True, minor_per_hour=9_000.0)
    work = JobWork("arm.replace", 1.0, 10_000.0, (away,), given_away=True, minor_per_hour=9_000.0)
    ranking = ranking_of([JobOption(0, work, (0,)), option(0, 1, access=(WHEEL,))], [90_000.0] * 2, [2, 2], [False] * 2)
    demands = Demands({"arm.replace": ("difficulty-3",)}, {"arm.replace": "stands"}, {WHEEL.key: "stands"})
    found = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=False, dangerous=NO_DANGER[:2], demands=demands)
    given, own = found.jobs
    assert (given.minutes, given.cash_minor, given.skills, given.bay) == (0, 19_000, (), "")
    (theirs,), (ours,) = given.units, own.units
    assert theirs.key != ours.key
    assert (theirs.minutes, theirs.cash_minor, theirs.bay) == (0, 4_500, "")
    assert (ours.minutes, ours.cash_minor, ours.bay) == (30, 0, "stands")


def test_a_unit_that_two_jobs_describe_differently_takes_the_larger_figures() -> None:
    longer = SharedWork(WHEEL.key, 0.75, 200.0)
    options = [option(0, 0, access=(WHEEL,)), option(0, 1, access=(longer,), key="other.replace")]
    ranking = ranking_of(options, [90_000.0] * 2, [2, 2], [False] * 2)
    found = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=NO_DANGER[:2])
    assert {job.units for job in found.jobs} == {(PlanUnit(WHEEL.key, 4_700, 4_700, 45),)}


def test_a_job_that_saves_nothing_is_there_if_somebody_wants_it() -> None:
    ranking = ranking_of([option(0, 0)], [900.0], [1], [False], credit=0.1)
    found = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=NO_DANGER[:1], wanted={0})
    assert found.options == (0,)
    assert found.jobs[0].saving_minor < 0


def test_a_delay_costs_what_three_months_of_waiting_cost_more_than_now() -> None:
    """Failing within three months costs 184,000 more than the job; a quarter has 91.3 days."""
    ranking = ranking_of([option(0, 0)], [200_000.0], [2], [False])
    (job,) = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=NO_DANGER[:1]).jobs
    assert job.loss_minor_per_day == round(184_000 / (365.25 / 4))


def test_jobs_that_save_nothing_even_with_all_access_open_are_left_out() -> None:
    ranking = ranking_of([option(0, 0)], [900.0], [1], [False], credit=0.1)
    found = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=NO_DANGER[:1])
    assert found == JobsToPlan((), (), ())


def test_alternatives_for_one_part_exclude_each_other() -> None:
    options = [option(0, 0, access=(WHEEL,), key="one.replace"), option(0, 0, access=(WHEEL,), key="other.replace")]
    ranking = ranking_of(options, [14_500.0], [2], [False])
    jobs = plan_jobs(ranking, ["a"], [RATE], labour_is_paid=True, dangerous=NO_DANGER[:1]).jobs
    assert [job.excludes for job in jobs] == [(1,), (0,)]


def test_with_money_and_hours_for_all_the_plan_saves_at_least_what_the_ranked_list_does() -> None:
    found = plan_jobs(RANKING, ["a"], [RATE], labour_is_paid=True, dangerous=THIRD)
    plan = plan_visits(PlanProblem(found.jobs, (Visit(0, 10_000, 10_000_000),), needed=found.needed))
    by_list = sum(item.cost_of_waiting_minor for item in RANKING.of(0).items)
    assert plan.value_minor >= by_list - 3
    assert plan.visits[0].cash_minor == pytest.approx(RANKING.of(0).total_cost_minor, abs=3)
