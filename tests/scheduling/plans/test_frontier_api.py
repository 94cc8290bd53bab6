"""What each further amount of money or hour buys, over the API."""

from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.words import Role
from scheduling.models import StoredPlan
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import PADS, result
from tests.scheduling.plans.given import BOOT_JOB, PADS_JOB, faults, money, recent, url, visit, wear


@pytest.fixture
def worn(cast: Cast) -> Cast:
    wear(cast)
    return cast


def points(api: Any, cast: Cast, **question: Any) -> list[dict[str, Any]]:
    response = api.post(url(cast, "frontier/"), {"visits": [visit(20, "400.00")], **question})
    assert response.status_code == 200, response.content
    found: list[dict[str, Any]] = response.json()["points"]
    return found


def values(found: list[dict[str, Any]]) -> list[Decimal]:
    return [Decimal(point["value"]["amount"]) for point in found if point["value"]]


@pytest.mark.parametrize("of", ["money", "hours"])
def test_values_never_fall_and_each_step_tells_what_it_buys(api: Any, worn: Cast, of: str) -> None:
    found = points(api, worn, of=of, steps=8)
    assert len(found) == 8
    assert values(found) == sorted(values(found))
    assert values(found)[0] < values(found)[-1]
    bounds = [Decimal(point["bound"]["amount"]) for point in found]
    assert bounds == sorted(bounds)
    bought = [Decimal(point["bought"]["value"]["amount"]) for point in found]
    assert sum(bought) == values(found)[-1]
    done: set[tuple[str, ...]] = set()
    for point in found:
        came, went = ({(j["job"], *j["positions"]) for j in point["bought"][k]} for k in ("came_in", "went_out"))
        assert went <= done
        assert not came & done
        done = (done | came) - went
        assert point["jobs"] == len(done)


def test_a_point_is_the_plan_for_that_much_money(api: Any, worn: Cast) -> None:
    (point,) = points(api, worn, amounts=[money("72.00")])
    plan = api.post(url(worn), {"visits": [visit(20, "72.00")], "exact": True}).json()
    assert (point["value"], point["status"]) == (plan["value"], "optimal")
    assert point["amount"] == money("72.00")
    assert {job["job"] for job in point["bought"]["came_in"]} == {PADS_JOB, BOOT_JOB}


def test_the_last_step_buys_all_that_is_worth_doing(api: Any, worn: Cast) -> None:
    plan = api.post(url(worn), {"visits": [visit(20, "9000.00")], "exact": True}).json()
    assert values(points(api, worn))[-1] == Decimal(plan["value"]["amount"])


def test_hours_and_amounts_can_be_named(api: Any, worn: Cast) -> None:
    found = points(api, worn, of="hours", hours=[2, 5])
    assert [point["hours"] for point in found] == [2, 5]
    assert {point["amount"] for point in found if point["amount"]} == set()


def test_too_little_for_what_must_be_done_has_no_value(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result(PADS, "front-left", grade="dangerous"))
    nothing, enough = points(api, cast, amounts=[money("0.00"), money("50.00")])
    assert (nothing["status"], nothing["value"], nothing["jobs"]) == ("infeasible", None, 0)
    assert (enough["status"], enough["jobs"]) == ("optimal", 1)


def test_nothing_is_stored_and_viewers_may_not_ask(api: Any, client_of: Any, worn: Cast) -> None:
    points(api, worn)
    assert not StoredPlan.objects.within(worn.fleet).exists()
    assert client_of(Role.INSPECTOR).post(url(worn, "frontier/"), {"visits": [visit()]}).status_code == 403


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"steps": 1}, [("/steps", "min-value")]),
        ({"steps": 40}, [("/steps", "max-value")]),
        ({"of": "fuel"}, [("/of", "invalid-choice")]),
        ({"of": "hours", "amounts": [money("5.00")]}, [("/amounts", "other-kind")]),
        ({"hours": [5]}, [("/hours", "other-kind")]),
        ({"amounts": [money("-5.00")]}, [("/amounts/0/amount", "invalid")]),
    ],
)
def test_bad_input_names_its_place(api: Any, cast: Cast, change: Any, expected: Any) -> None:
    assert faults(api.post(url(cast, "frontier/"), {"visits": [visit()], **change})) == expected


@pytest.mark.parametrize("count", [1, 6])
def test_a_frontier_takes_the_same_number_of_queries_for_one_vehicle_and_for_six(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.PLANNER)
    for number in range(count):
        vehicle = factories.vehicle(cast.fleet, name=f"car {number}")
        recent(vehicle, cast, result(PADS, "front-left", grade="major"))
    client.post(url(cast, "frontier/"), {"visits": [visit()]})
    # The key, the vehicles, what the judge loads (9), what is wrong with the parts.
    with django_assert_num_queries(12):
        assert client.post(url(cast, "frontier/"), {"visits": [visit()]}).status_code == 200
