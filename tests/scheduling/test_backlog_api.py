"""The backlog over the API: shared work once, parts put right, looks asked for, and what moved."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from inspections.catalogue.loader import default_catalogue
from inspections.models import FittedPart
from scheduling.models import BacklogChanges
from scheduling.services.assess import assess_vehicles
from scheduling.services.backlog_changes import MOST_STEPS
from scheduling.services.jobs import open_job
from scheduling.services.prices import job_price, set_price
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result
from tests.scheduling.work_given import BOOT_JOB, closed, job

COOLANT, NUTS = "coolant.level", "wheel-nuts.tightness"
LEFT, RIGHT = "front-left", "front-right"


def look(cast: Cast, *results: dict[str, Any], ago: int = 20, km: int = 120_000) -> None:
    day = timezone.now().date() - timedelta(ago)
    inspect(cast.access, cast.vehicle, *results, inspected_on=day, shown_km=Decimal(km))


def backlog(api: Any, cast: Cast, rest: str = "") -> dict[str, Any]:
    body: dict[str, Any] = api.get(f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/backlog/{rest}").json()
    return body


def assess(cast: Cast) -> None:
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])


def amount(money: dict[str, str]) -> Decimal:
    return Decimal(money["amount"])


def test_one_alignment_follows_for_all_that_upsets_the_wheels(api: Any, cast: Cast) -> None:
    ends = [result("track-rod-end.play", side, grade="dangerous") for side in (LEFT, RIGHT)]
    look(cast, *ends, result("lower-ball-joint.play", LEFT, grade="dangerous"))
    items = backlog(api, cast)["items"]
    aligned = [each for each in items if "wheel-alignment" in each["follow_ups"]]
    assert len(aligned) >= 3
    assert [each["rank"] for each in aligned if "wheel-alignment" not in each["opened_before"]] == [aligned[0]["rank"]]
    # 0.3 h at 15.00 and 70.00 of work given out: the second end on the same axle is cheaper by at least that.
    first, second = [each for each in items if each["job"] == "track-rod-end.replace"][:2]
    if "wheel-alignment" not in first["opened_before"]:
        assert amount(first["cost_now"]) - amount(second["cost_now"]) >= Decimal("74.50")
    body = backlog(api, cast)
    assert amount(body["total_cost"]) == sum(amount(each["cost_now"]) for each in items)


def test_a_rear_mount_and_the_steering_rack_lower_the_rack_once_and_are_told_as_a_pair(api: Any, cast: Cast) -> None:
    look(cast, result("engine-mount-rear.movement", "", grade="minor"), result("steering-rack.play", "", grade="minor"))
    body = backlog(api, cast)
    assert body["items"] == []
    rack, mount = (
        next(each for each in body["can_wait"] if each["job"] == key)
        for key in ("steering-rack.replace", "engine-mount-rear.replace")
    )
    (pair,) = body["bundles"]
    assert {each["job"] for each in pair["jobs"]} == {rack["job"], mount["job"]}
    assert {"steering-rack-lowered", "wheel-alignment", "undertray-off"} <= set(pair["shared"])
    # Rack lowered 1.5 h, undertray off 0.3 h, alignment 0.3 h and road test apart: 2.1 h at 15.00, and 70.00 once.
    assert amount(rack["cost_now"]) + amount(mount["cost_now"]) - amount(pair["cost"]) == Decimal("101.50")
    assert amount(pair["saving"]) > 0
    # What the pair saves is what both save, and what is shared comes once: 101.50 more than one by one.
    single = amount(rack["cost_of_waiting"]) + amount(mount["cost_of_waiting"])
    assert amount(pair["saving"]) == pytest.approx(single + Decimal("101.50"), abs=Decimal("0.02"))


def test_a_defect_that_can_be_put_right_offers_to_keep_the_part(api: Any, cast: Cast) -> None:
    look(cast, result(NUTS, LEFT, observations=["turned-a-little"]))
    body = backlog(api, cast)
    offered = [*body["items"], *body["can_wait"]]
    tighten = next(each for each in offered if each["job"] == "wheel-nuts.tighten")
    assert not tighten["renews"]
    assert amount(tighten["terms"]["kept_part"]) <= 0
    terms = tighten["terms"]
    total = sum(amount(terms[name]) for name in terms if name != "best_way_to_wait")
    assert total == amount(tighten["cost_now"]) + amount(tighten["cost_of_waiting"])


def test_what_is_not_known_to_be_put_right_is_not_offered_cheaply(api: Any, cast: Cast) -> None:
    """A grade alone does not say that the nuts are merely loose; a worn thread is not cured by tightening."""
    look(cast, result(NUTS, LEFT, grade="minor"), result(NUTS, RIGHT, observations=["thread-damaged"]))
    body = backlog(api, cast)
    offered = {each["job"] for each in [*body["items"], *body["can_wait"]]}
    assert "wheel-nuts.tighten" not in offered
    assert offered


def test_a_worse_word_than_the_observation_means_offers_no_cheap_remedy(api: Any, cast: Cast) -> None:
    look(cast, result(NUTS, LEFT, observations=["turned-a-little"], grade="major"))
    assert "wheel-nuts.tighten" not in {each["job"] for each in backlog(api, cast)["items"]}


def test_a_part_put_right_and_kept_leaves_the_list_and_keeps_its_age(api: Any, cast: Cast) -> None:
    look(cast, result(NUTS, LEFT, observations=["turned-a-little"]))
    fitted = FittedPart.objects.within(cast.fleet).filter(part_key="wheel-nuts")
    before = list(fitted.values_list("position", "fitted_on", "removed_on"))
    closed(cast.access, job(cast.access, cast.vehicle, "wheel-nuts.tighten", LEFT), hours=Decimal("0.2"))
    body = backlog(api, cast)
    assert not [each for each in [*body["items"], *body["can_wait"]] if each["part"] == "wheel-nuts"]
    assert list(fitted.values_list("position", "fitted_on", "removed_on")) == before


def test_safety_parts_that_nobody_examined_ask_for_a_look_with_its_cautions_first(api: Any, cast: Cast) -> None:
    look(cast, result(BOOT, RIGHT))
    looks = backlog(api, cast)["looks"]
    assert looks
    assert all(each["cautions"] for each in looks if each["part"] == "lower-ball-joint")
    assert all(amount(each["saving"]) > amount(each["cost"]) for each in looks)
    assert [each["worth_per_cost"] for each in looks] == sorted((e["worth_per_cost"] for e in looks), reverse=True)
    assert "outer-driveshaft-boot" not in {each["part"] for each in looks}


def everything(cast: Cast) -> list[dict[str, Any]]:
    """Every check that applies, seen sound."""
    return [
        {"check": each.key, "position": each.position, "grade": "sound"}
        for each in default_catalogue().applicable_checks(cast.vehicle.traits)
    ]


def asked(api: Any, cast: Cast) -> dict[str, dict[str, Any]]:
    return {each["part"]: each for each in backlog(api, cast)["looks"]}


def test_a_look_answers_the_question_and_it_is_asked_again_when_that_is_long_ago(
    api: Any, cast: Cast, time_machine: Any
) -> None:
    look(cast, *everything(cast))
    assert asked(api, cast) == {}
    time_machine.move_to(timezone.now() + timedelta(days=3 * 365))
    boots = [each for each in everything(cast) if each["check"] == BOOT]
    look(cast, *[each for each in everything(cast) if each["check"] != BOOT], ago=1, km=175_000)
    (boot,) = asked(api, cast).values()
    assert (boot["part"], boot["last_grade"]) == ("outer-driveshaft-boot", "sound")
    assert boot["reason"].startswith("last seen")
    look(cast, *boots, ago=0, km=175_010)
    assert asked(api, cast) == {}


def test_nothing_is_renewed_on_a_guess_where_a_look_would_do(api: Any, cast: Cast, time_machine: Any) -> None:
    look(cast, *[result(BOOT, side) for side in (LEFT, RIGHT)])
    time_machine.move_to(timezone.now() + timedelta(days=8 * 365))
    body = backlog(api, cast)
    assert not [each for each in [*body["items"], *body["can_wait"]] if each["job"] == BOOT_JOB]


def steps(api: Any, cast: Cast) -> list[dict[str, Any]]:
    return list(backlog(api, cast, "changes/")["steps"])


def test_what_moved_is_told_with_its_cause_step_by_step(api: Any, cast: Cast) -> None:
    look(cast, result(BOOT, RIGHT), ago=40, km=119_000)
    assess(cast)
    assert steps(api, cast) == []
    look(cast, result(BOOT, RIGHT, grade="major"), result(PADS, LEFT, grade="major"))
    assess(cast)
    (found,) = steps(api, cast)
    boot = next(each for each in found["changes"] if each["job"] == BOOT_JOB)
    assert (boot["what"], boot["causes"], boot["before"]) == ("came", ["finding-opened"], None)
    assert boot["because"] == "a defect was found"
    closed(cast.access, job(cast.access, cast.vehicle, BOOT_JOB, RIGHT), hours=Decimal(2))
    assess(cast)
    done = next(each for each in steps(api, cast)[0]["changes"] if each["job"] == BOOT_JOB)
    assert (done["what"], done["after"]) == ("went", None)
    assert done["causes"][0] == "job-done"


def test_a_price_that_changed_is_named_as_the_cause(api: Any, cast: Cast) -> None:
    look(cast, result(BOOT, RIGHT, grade="major"))
    assess(cast)
    set_price(cast.access, job_price(cast.access, BOOT_JOB), parts_typical_minor=9_900)
    assess(cast)
    (step,) = steps(api, cast)
    dearer = next(each for each in step["changes"] if each["job"] == BOOT_JOB)
    assert dearer["causes"] == ["price-changed"]
    assert amount(dearer["after"]["cost_now"]) > amount(dearer["before"]["cost_now"])


def test_a_day_on_which_nothing_moved_leaves_no_trace_and_only_the_last_steps_are_kept(
    api: Any, cast: Cast, time_machine: Any
) -> None:
    look(cast, result(BOOT, RIGHT, grade="major"))
    assess(cast)
    kept = BacklogChanges.objects.within(cast.fleet).get()
    assess(cast)
    assert BacklogChanges.objects.within(cast.fleet).get().since == kept.since
    for number in range(MOST_STEPS + 3):
        price = job_price(cast.access, BOOT_JOB)
        set_price(cast.access, price, parts_typical_minor=9_000 + 3_000 * (number % 2))
        assess(cast)
    assert len(steps(api, cast)) == MOST_STEPS


@pytest.mark.parametrize("vehicles", [1, 8])
def test_storing_what_moved_takes_two_statements_however_many_vehicles(
    cast: Cast, vehicles: int, django_assert_num_queries: Any
) -> None:
    rows = [factories.vehicle(cast.fleet, name=f"Car {number}") for number in range(vehicles)]
    for row in rows:
        inspect(cast.access, row, result(BOOT, RIGHT, grade="major"))
    ids = [row.pk for row in rows]
    assess_vehicles(cast.fleet.pk, ids)
    set_price(cast.access, job_price(cast.access, BOOT_JOB), parts_typical_minor=9_900)
    with django_assert_num_queries(40, exact=False) as captured:
        assess_vehicles(cast.fleet.pk, ids)
    mine = [query["sql"] for query in captured.captured_queries if "scheduling_backlogchanges" in query["sql"]]
    assert len(mine) == 2
    prices = ("fleet_workterms", "fleet_jobprice", "fleet_jobexperience")
    assert [sum(table in query["sql"] for query in captured.captured_queries) for table in prices] == [1, 1, 1]


def test_a_figure_that_was_set_anew_is_no_longer_held_against_the_part(api: Any, cast: Cast) -> None:
    """Too many clicks: the cable is set, and neither finding nor old figure keeps it on the list."""
    entry = default_catalogue().checks["parking-brake-cable.travel"]
    measured = entry.check.measurement
    assert measured is not None
    bad = {"value": measured.limits[0].value + 1, "unit": measured.unit}
    look(cast, {"check": "parking-brake-cable.travel", "position": "", "measurement": bad})
    body = backlog(api, cast)
    adjust = next(each for each in body["items"] if each["job"] == "parking-brake-cable.adjust")
    assert adjust["worth_per_cost"] > 0
    row = open_job(cast.access, cast.vehicle, job_key="parking-brake-cable.adjust")[0]
    closed(cast.access, row, hours=Decimal("0.5"))
    body = backlog(api, cast)
    assert not [each for each in [*body["items"], *body["can_wait"]] if each["part"] == "parking-brake-cable"]
    address = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/condition/"
    assert "parking-brake-cable" not in {each["part"] for each in api.get(address).json()["contributions"]}
