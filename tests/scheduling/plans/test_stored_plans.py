"""Plans are kept, solved to the end by whoever claims them first, and say when they no longer hold."""

import threading
from dataclasses import replace
from datetime import timedelta
from typing import Any

import msgspec
import pytest
from django.utils import timezone

from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import Role
from scheduling.core.planner.audit import audited
from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import PlanProblem
from scheduling.models import StoredPlan
from scheduling.services import plans
from scheduling.services.plans import making, solving
from scheduling.services.plans.filling import BrokenPlan, fill, require_sound
from tests import factories
from tests.benchmarks.planner.instances import problem as invented
from tests.conftest import Cast, make_cast
from tests.inspections.given import PADS, result
from tests.scheduling.plans.given import PADS_JOB, empty_plan, money, planned, recent, today, url, visit, wear

_INVENTED = invented(vehicles=2, jobs_a_vehicle=15, seed=2, visits=2)
_VISITS = tuple(replace(each, day=each.day + today().toordinal()) for each in _INVENTED.visits)
LEAVES_A_GAP = replace(_INVENTED, visits=_VISITS)
"""Thirty jobs of which the plan at once is 1 % short of the best."""


@pytest.fixture
def worn(cast: Cast) -> Cast:
    wear(cast)
    return cast


def waiting_plan(cast: Cast, **columns: Any) -> StoredPlan:
    """A plan of invented jobs as the answer at once leaves it."""
    jobs = [
        {
            "vehicle": job.vehicle,
            "job": PADS_JOB,
            "title": str(number),
            "part": "front-brake-pads",
            "positions": [],
            "grade": "major",
            "before_driving": False,
            "done_by": "own",
            "cost_minor": job.cash_minor,
            "minutes": job.minutes,
            "worth_minor": job.saving_minor,
        }
        for number, job in enumerate(LEAVES_A_GAP.jobs)
    ]
    row = StoredPlan(
        fleet=cast.fleet,
        made_on=today(),
        made_by="system",
        asked={"vehicles": [], "carry_over": True, "wishes": [], "visits": []},
        basis={"vehicles": {}, "dangers": [], "asked_away": [], "all_vehicles": False},
        jobs=jobs,
        **columns,
    )
    fill(row, LEAVES_A_GAP, plan_at_once(LEAVES_A_GAP), final=False)
    row.save(force_insert=True)
    return row


def test_a_plan_stays_and_is_read_again_as_it_was_answered(api: Any, worn: Cast) -> None:
    made = api.post(url(worn), {"visits": [visit()], "title": "Saturday"}).json()
    assert api.get(url(worn, f"{made['id']}/")).json() == made
    (listed,) = api.get(url(worn)).json()["items"]
    assert listed == {name: made[name] for name in listed}
    assert listed["title"] == "Saturday"


def test_what_was_asked_can_be_sent_again_as_it_is_told(api: Any, worn: Cast) -> None:
    people = [{"name": "Ada", "hours": 8, "skills": ["difficulty-3", "licensed"]}]
    wish = {
        "vehicle": str(worn.vehicle.pk),
        "job": PADS_JOB,
        "positions": ["front-left"],
        "must": True,
        "not_after": visit(days=9)["date"],
        "requires": [{"vehicle": str(worn.vehicle.pk), "job": "outer-driveshaft-boot.replace", "positions": []}],
    }
    question = {
        "vehicles": [str(worn.vehicle.pk)],
        "visits": [visit(people=people, lift_hours=6, vehicles=[str(worn.vehicle.pk)])],
        "wishes": [wish],
        "carry_over": False,
    }
    first = api.post(url(worn), question).json()
    again = api.post(url(worn), first["asked"]).json()
    assert again["asked"] == first["asked"]
    assert (again["visits"], again["value"]) == (first["visits"], first["value"])


def test_an_answer_at_once_is_improved_to_the_best_plan_behind_it(cast: Cast) -> None:
    row = waiting_plan(cast)
    quick, bound = row.value_minor, row.bound_minor
    assert (row.state, row.status) == ("improving", "feasible")
    assert solving.solve_plan(cast.fleet.pk, row.pk)
    row.refresh_from_db()
    best = plan_visits(LEAVES_A_GAP, solving.LIMITS)
    assert (row.state, row.problem, row.claim) == ("final", None, None)
    assert quick < row.value_minor <= row.bound_minor <= bound
    assert row.value_minor == best.value_minor
    assert (row.status, row.document["gap_fraction"]) == ("optimal", 0)
    assert sum(len(each["jobs"]) for each in row.document["visits"]) == row.planned_jobs


def test_a_problem_is_solved_as_it_was_stored() -> None:
    stored = msgspec.json.decode(msgspec.json.encode(msgspec.to_builtins(LEAVES_A_GAP)))
    assert msgspec.convert(stored, PlanProblem) == LEAVES_A_GAP


def test_a_plan_that_is_not_yet_the_best_rings_for_a_worker(
    api: Any, worn: Cast, monkeypatch: Any, django_capture_on_commit_callbacks: Any
) -> None:
    """The same from the request on: answered as improving, final once its bell was heard."""
    monkeypatch.setattr(making, "plan_at_once", empty_plan)
    with django_capture_on_commit_callbacks() as bells:
        made = api.post(url(worn), {"visits": [visit()]}).json()
    assert (made["state"], made["status"]) == ("improving", "feasible")
    assert len(bells) == 1
    bells[0]()
    read = api.get(url(worn, f"{made['id']}/")).json()
    assert (read["state"], read["status"], read["gap_fraction"]) == ("final", "optimal", 0)
    assert float(read["value"]["amount"]) > float(made["value"]["amount"])


def test_who_waits_for_the_best_plan_gets_it_in_the_answer(api: Any, worn: Cast, monkeypatch: Any) -> None:
    monkeypatch.setattr(making, "plan_at_once", empty_plan)
    body = api.post(url(worn), {"visits": [visit()], "exact": True}).json()
    assert (body["state"], body["status"]) == ("final", "optimal")
    assert planned(body)


def test_a_claimed_plan_is_left_alone_until_its_lease_ends(cast: Cast) -> None:
    row = waiting_plan(cast, claimed_until=timezone.now() + timedelta(seconds=30), attempts=1)
    assert not solving.solve_plan(cast.fleet.pk, row.pk)
    StoredPlan.objects.within(cast.fleet).update(claimed_until=timezone.now() - timedelta(seconds=1))
    assert solving.solve_plan(cast.fleet.pk, row.pk)
    assert not solving.solve_plan(cast.fleet.pk, row.pk)


def test_who_lost_the_claim_meanwhile_stores_nothing(cast: Cast, monkeypatch: Any) -> None:
    row = waiting_plan(cast)

    def slow(problem: Any, limits: Any) -> Any:
        # While it computes, the lease ends and another worker finishes the plan.
        StoredPlan.objects.within(cast.fleet).update(claim=None, claimed_until=None, state="final", value_minor=1)
        return plan_visits(problem, limits)

    monkeypatch.setattr(solving, "plan_visits", slow)
    assert not solving.solve_plan(cast.fleet.pk, row.pk)
    row.refresh_from_db()
    assert row.value_minor == 1


def test_the_tick_asks_again_for_plans_whose_bell_was_lost_and_gives_up_after_three_attempts(
    cast: Cast, django_capture_on_commit_callbacks: Any
) -> None:
    lost = waiting_plan(cast)
    dead = waiting_plan(cast, attempts=3, claimed_until=timezone.now() - timedelta(seconds=1))
    with django_capture_on_commit_callbacks() as bells:
        assert solving.ask_for_solving() == 1
    assert len(bells) == 1
    bells[0]()
    lost.refresh_from_db()
    dead.refresh_from_db()
    assert (lost.state, dead.state, dead.status) == ("final", "final", "feasible")
    with django_capture_on_commit_callbacks() as bells:
        assert solving.ask_for_solving() == 0
    assert not bells


@pytest.mark.django_db(transaction=True)
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_of_two_workers_one_solves_a_plan() -> None:
    from django.db import connection

    if connection.vendor == "sqlite":
        pytest.skip("an in-memory database has one connection")
    cast = make_cast("Race")
    row = waiting_plan(cast)
    start, outcomes = threading.Barrier(2), []

    def work() -> None:
        start.wait()
        outcomes.append(solving.solve_plan(cast.fleet.pk, row.pk))
        connection.close()

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == [False, True]


def test_a_plan_that_its_recount_does_not_confirm_is_never_stored(api: Any, worn: Cast, monkeypatch: Any) -> None:
    def boasting(problem: PlanProblem) -> Any:
        plan = plan_at_once(problem)
        return type(plan)(plan.status, plan.value_minor + 1, plan.bound_minor + 1, plan.visits, plan.left_out)

    monkeypatch.setattr(making, "plan_at_once", boasting)
    with pytest.raises(BrokenPlan):
        api.post(url(worn), {"visits": [visit()]})
    assert not StoredPlan.objects.within(worn.fleet).exists()


def test_every_stored_plan_passes_the_recount(worn: Cast) -> None:
    plan = plan_at_once(LEAVES_A_GAP)
    require_sound(LEAVES_A_GAP, plan)
    assert not audited(LEAVES_A_GAP, plan.placed).broken


def outdated(api: Any, cast: Cast, made: dict[str, Any]) -> list[str]:
    body = api.get(url(cast, f"{made['id']}/")).json()
    assert body["outdated"] == bool(body["outdated_because"])
    return [reason["code"] for reason in body["outdated_because"]]


def test_a_plan_says_when_something_was_written_about_its_vehicles(api: Any, worn: Cast) -> None:
    other = factories.vehicle(worn.fleet, name="Other")
    made = api.post(url(worn), {"vehicles": [str(worn.vehicle.pk)], "visits": [visit()]}).json()
    assert outdated(api, worn, made) == []
    touch(other)
    assert outdated(api, worn, made) == []
    touch(worn.vehicle)
    assert outdated(api, worn, made) == ["vehicle-changed"]
    type(worn.vehicle).objects.within(worn.fleet).filter(pk=worn.vehicle.pk).update(archived=True)
    assert outdated(api, worn, made) == ["vehicle-gone"]


def test_a_plan_for_all_vehicles_says_when_there_is_one_more(api: Any, worn: Cast) -> None:
    made = api.post(url(worn), {"visits": [visit()]}).json()
    factories.vehicle(worn.fleet, name="New")
    assert outdated(api, worn, made) == ["vehicle-added"]


def test_a_plan_says_when_prices_or_the_day_have_moved_on(api: Any, worn: Cast, time_machine: Any) -> None:
    made = api.post(url(worn), {"visits": [visit()]}).json()
    api.patch(f"/api/v1/fleets/{worn.fleet.pk}/", {"labour_per_hour": money("25.00")})
    assert "prices-changed" in outdated(api, worn, made)
    time_machine.move_to(timezone.now() + timedelta(days=8), tick=False)
    assert "visit-past" in outdated(api, worn, made)


def test_plans_without_a_title_make_room_for_newer_ones(worn: Cast, monkeypatch: Any) -> None:
    monkeypatch.setattr(making, "UNTITLED_KEPT", 2)
    ask = plans.PlanAsk((), (plans.VisitAsk(today(), 60, 1_000),))
    kept = plans.make_plan(worn.access, ask, title="Kept")
    made = [plans.make_plan(worn.access, ask).pk for _ in range(3)]
    left = set(StoredPlan.objects.within(worn.fleet).values_list("pk", flat=True))
    assert left == {kept.pk, *made[1:]}


def test_a_plan_can_be_deleted_and_is_gone(api: Any, client_of: Any, worn: Cast) -> None:
    made = api.post(url(worn), {"visits": [visit()]}).json()
    assert client_of(Role.INSPECTOR).delete(url(worn, f"{made['id']}/")).status_code == 403
    assert api.delete(url(worn, f"{made['id']}/")).status_code == 204
    assert api.get(url(worn, f"{made['id']}/")).status_code == 404


@pytest.mark.parametrize("count", [1, 12])
def test_the_list_of_plans_takes_the_same_number_of_queries_for_one_and_for_twelve(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    for number in range(count):
        vehicle = factories.vehicle(cast.fleet, name=f"car {number}")
        recent(vehicle, cast, result(PADS, "front-left", grade="major"))
        plans.make_plan(cast.access, plans.PlanAsk((vehicle.pk,), (plans.VisitAsk(today(), 60, 1_000),)))
    client = client_of(Role.VIEWER)
    client.get(url(cast))
    # The key, the plans, the vehicles they rest on, the fleet's prices (3).
    with django_assert_num_queries(6):
        body = client.get(url(cast)).json()
    assert len(body["items"]) == count
    with django_assert_num_queries(6):
        assert client.get(url(cast, f"{body['items'][0]['id']}/")).status_code == 200


def test_walking_the_pages_meets_every_plan_once(api: Any, cast: Cast) -> None:
    ask = plans.PlanAsk((), (plans.VisitAsk(today(), 60, 1_000),))
    made = {str(plans.make_plan(cast.access, ask).pk) for _ in range(5)}
    seen, where = [], url(cast) + "?limit=2"
    while where:
        body = api.get(where.removeprefix("http://testserver")).json()
        seen += [item["id"] for item in body["items"]]
        where = body["next"]
    assert len(seen) == 5
    assert set(seen) == made
