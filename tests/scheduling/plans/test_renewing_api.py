"""A plan made anew: what moved, and because of what."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from inspections.models import Finding
from inspections.services.findings import dismiss_finding
from inspections.services.parts import fit_part
from inspections.words import Removal
from scheduling.models import StoredPlan
from scheduling.services.plans import making, solving
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, result
from tests.scheduling.plans.given import (
    BOOT_JOB,
    PADS_JOB,
    empty_plan,
    faults,
    jobs_of,
    money,
    planned,
    recent,
    today,
    url,
    visit,
    wear,
)


@pytest.fixture
def worn(cast: Cast) -> Cast:
    wear(cast)
    return cast


def make(api: Any, cast: Cast, *visits: Any, **more: Any) -> dict[str, Any]:
    body = {"visits": list(visits) or [visit(20, "300.00"), visit(20, "300.00", 30)], "exact": True, **more}
    made: dict[str, Any] = api.post(url(cast), body).json()
    return made


def renew(api: Any, cast: Cast, plan: dict[str, Any], **changed: Any) -> dict[str, Any]:
    response = api.post(url(cast, f"{plan['id']}/renew/"), {"exact": True, **changed})
    assert response.status_code == 201, response.content
    body: dict[str, Any] = response.json()
    assert response["Location"] == url(cast, f"{body['id']}/")
    assert body["replaces"] == plan["id"]
    return body


def told(plan: dict[str, Any]) -> list[tuple[str, str, list[str]]]:
    return [(each["kind"], each["job"], [cause["code"] for cause in each["because"]]) for each in plan["changes"]]


def fresh(cast: Cast, *results: Any) -> None:
    recent(cast.vehicle, cast, *results, days_ago=0, km=180_400)


def test_a_first_plan_has_no_changes_and_one_made_anew_at_once_has_none_to_tell(api: Any, worn: Cast) -> None:
    first = make(api, worn)
    assert first["changes"] is None
    second = renew(api, worn, first)
    assert second["changes"] == []
    assert second["visits"] == first["visits"]
    assert api.get(url(worn, f"{first['id']}/")).json()["visits"] == first["visits"]


def test_a_job_comes_in_because_of_a_finding_opened_since(api: Any, worn: Cast) -> None:
    first = make(api, worn)
    fresh(worn, result("anti-roll-bar-link.play", "front-left", grade="major"))
    again = renew(api, worn, first)
    (came,) = [each for each in again["changes"] if each["kind"] == "came-in"]
    assert came["job"] == "anti-roll-bar-link.replace"
    assert came["cost"]["before"] is None
    (cause,) = came["because"]
    assert (cause["code"], cause["on"]) == ("finding-opened", today().isoformat())
    assert cause["say"].endswith("front left, was found major")


def test_what_was_found_on_an_earlier_day_but_entered_since_counts_as_since(api: Any, worn: Cast) -> None:
    first = make(api, worn)
    recent(worn.vehicle, worn, result("anti-roll-bar-link.play", "front-left", grade="major"), days_ago=10, km=180_200)
    again = renew(api, worn, first)
    assert ("came-in", "anti-roll-bar-link.replace", ["finding-opened"]) in told(again)


def test_worth_changes_with_the_grade_and_with_the_pace_of_driving(api: Any, worn: Cast) -> None:
    """The new reading says that the vehicle drives less than was reckoned: so the other boot is worth a little less."""
    first = make(api, worn)
    seen = (result(BOOT, "front-left", grade="dangerous"), result(PADS, "front-left", grade="minor"))
    recent(worn.vehicle, worn, *seen, days_ago=0, km=180_100)
    again = renew(api, worn, first)
    causes = {
        (each["job"], *each["positions"]): [cause["code"] for cause in each["because"]] for each in again["changes"]
    }
    assert causes == {
        (PADS_JOB, "front-left", "front-right"): ["finding-improved"],
        (BOOT_JOB, "front-left"): ["finding-worsened"],
        (BOOT_JOB, "front-right"): ["use-changed"],
    }
    assert {each["kind"] for each in again["changes"]} == {"worth-changed"}


def test_a_dangerous_part_found_since_pushes_other_jobs_out_and_they_say_so(api: Any, worn: Cast) -> None:
    first = make(api, worn, visit(2.6, "300.00"))
    assert planned(first) == {PADS_JOB}
    fresh(worn, result("parking-brake-cable.travel", "", measurement={"value": 18, "unit": "clicks"}))
    again = renew(api, worn, first)
    out, came = again["changes"]
    assert (out["kind"], out["job"], out["left_out"]) == ("went-out", PADS_JOB, "no-time-left")
    assert out["because"][-1]["say"] == f"other jobs came or went: {came['job']}"
    assert [cause["code"] for cause in came["because"]] == ["finding-opened"]


def test_a_part_renewed_since_takes_its_job_out(api: Any, worn: Cast) -> None:
    first = make(api, worn)
    fit_part(
        worn.access, worn.vehicle, part_key="front-brake-pads", position="front-left", fitted_on=today(),
        shown_km=Decimal(180_400), removal=Removal.WORN_OUT,
    )  # fmt: skip
    again = renew(api, worn, first)
    (out,) = [each for each in again["changes"] if each["job"] == PADS_JOB]
    assert (out["kind"], out["left_out"], out["visit"]["after"]) == ("went-out", "not-in-backlog", None)
    assert [cause["code"] for cause in out["because"]] == ["job-done"]


def test_a_finding_seen_sound_or_dismissed_takes_its_job_out(api: Any, worn: Cast) -> None:
    first = make(api, worn)
    fresh(worn, result(PADS, "front-left", grade="sound"))
    for finding in Finding.objects.within(worn.fleet).filter(part_key="outer-driveshaft-boot", position="front-left"):
        dismiss_finding(worn.access, finding, because="it was mud")
    codes = {(job, tuple(codes)) for kind, job, codes in told(renew(api, worn, first)) if kind == "went-out"}
    assert codes == {(PADS_JOB, ("finding-closed",)), (BOOT_JOB, ("finding-dismissed",))}


def test_a_raised_budget_is_the_cause_of_what_it_buys(api: Any, worn: Cast) -> None:
    first = make(api, worn, visit(20, "55.00"))
    again = renew(api, worn, first, visits=[visit(20, "300.00")])
    assert planned(again) > planned(first)
    came = [each for each in again["changes"] if each["kind"] == "came-in"]
    assert came
    for change in came:
        (cause,) = change["because"]
        assert cause["code"] == "budget-changed"
        assert "300.00 EUR instead of 55.00 EUR" in cause["say"]


def test_another_visit_is_the_cause_of_what_moves_to_it(api: Any, worn: Cast) -> None:
    first = make(api, worn, visit(20, "300.00", 20))
    again = renew(api, worn, first, visits=[visit(20, "300.00", 5)])
    assert {kind for kind, _, _ in told(again)} == {"moved"}
    assert {tuple(codes) for _, _, codes in told(again)} == {("visit-added", "visit-dropped")}


def test_a_dearer_hour_changes_the_cost_of_a_workshops_jobs(api: Any, worn: Cast) -> None:
    type(worn.fleet).objects.filter(pk=worn.fleet.pk).update(kind="workshop")
    first = make(api, worn, visit(20, "2000.00"))
    api.patch(f"/api/v1/fleets/{worn.fleet.pk}/", {"labour_per_hour": money("16.00")})
    again = renew(api, worn, first)
    dearer = [each for each in again["changes"] if each["kind"] == "cost-changed"]
    assert dearer
    for change in dearer:
        assert [cause["code"] for cause in change["because"]] == ["prices-changed"]
        assert change["because"][0]["say"] == "an hour of work changed from 15.00 EUR to 16.00 EUR"
        assert Decimal(change["cost"]["before"]["amount"]) < Decimal(change["cost"]["after"]["amount"])


def test_distance_driven_since_is_the_cause_of_more_worth(api: Any, worn: Cast, time_machine: Any) -> None:
    first = make(api, worn, visit(20, "300.00", 90))
    time_machine.move_to(timezone.now() + timedelta(days=60), tick=False)
    record_odometer(worn.access, worn.vehicle, read_on=today(), shown_km=Decimal(195_000))
    again = renew(api, worn, first)
    worthier = [each for each in again["changes"] if each["kind"] == "worth-changed"]
    assert worthier
    assert {cause["code"] for each in worthier for cause in each["because"]} == {"km-driven", "use-changed"}


def test_what_moves_by_the_exact_answer_is_told_anew_when_it_comes(api: Any, worn: Cast, monkeypatch: Any) -> None:
    """The answer at once did not yet see the job that more money buys; the change is told once it does."""
    first = make(api, worn, visit(20, "55.00"))

    monkeypatch.setattr(making, "plan_at_once", empty_plan)
    response = api.post(url(worn, f"{first['id']}/renew/"), {"visits": [visit(20, "300.00")]})
    quick = response.json()
    assert {each["kind"] for each in quick["changes"]} == {"went-out"}
    assert solving.solve_plan(worn.fleet.pk, quick["id"])
    final = api.get(url(worn, f"{quick['id']}/")).json()
    assert {each["kind"] for each in final["changes"]} == {"came-in"}
    assert {each["because"][0]["code"] for each in final["changes"]} == {"budget-changed"}
    assert StoredPlan.objects.within(worn.fleet).get(pk=quick["id"]).causes is None


def test_visits_that_have_passed_and_wishes_that_were_met_are_left_behind(
    api: Any, worn: Cast, time_machine: Any
) -> None:
    wish = {"vehicle": str(worn.vehicle.pk), "job": PADS_JOB, "must": True}
    first = make(api, worn, visit(), visit(days=40), wishes=[wish])
    time_machine.move_to(timezone.now() + timedelta(days=9), tick=False)
    fit_part(
        worn.access, worn.vehicle, part_key="front-brake-pads", position="front-left", fitted_on=today(),
        shown_km=Decimal(180_400), removal=Removal.WORN_OUT,
    )  # fmt: skip
    again = renew(api, worn, first)
    assert [each["date"] for each in again["visits"]] == [first["visits"][1]["date"]]
    assert again["asked"]["wishes"] == []
    time_machine.move_to(timezone.now() + timedelta(days=60), tick=False)
    refused = api.post(url(worn, f"{again['id']}/renew/"), {})
    assert (refused.status_code, refused.json()["detail"]) == (
        409, "Every visit of this plan has passed; name new ones.",
    )  # fmt: skip


def test_a_vehicle_no_longer_kept_is_left_behind_unless_it_was_the_only_one(api: Any, worn: Cast) -> None:
    other = factories.vehicle(worn.fleet, name="Other")
    recent(other, worn, result(PADS, "front-left", grade="major"))
    both = make(api, worn, vehicles=[str(worn.vehicle.pk), str(other.pk)])
    alone = make(api, worn, vehicles=[str(other.pk)])
    type(other).objects.within(worn.fleet).filter(pk=other.pk).update(archived=True)
    again = renew(api, worn, both)
    assert again["asked"]["vehicles"] == [str(worn.vehicle.pk)]
    assert {job["vehicle"] for job in jobs_of(again)} == {str(worn.vehicle.pk)}
    assert api.post(url(worn, f"{alone['id']}/renew/"), {}).status_code == 409


def test_bad_input_names_its_place_and_inspectors_may_not_renew(api: Any, client_of: Any, worn: Cast) -> None:
    plan = make(api, worn)
    address = url(worn, f"{plan['id']}/renew/")
    assert faults(api.post(address, {"visits": [visit(days=-1)]})) == [("/visits/0/date", "past")]
    assert faults(api.post(address, {"colour": 1})) == [("/colour", "unknown")]
    stale = {"vehicle": str(worn.vehicle.pk), "job": "tyre.replace", "must": True}
    assert faults(api.post(address, {"wishes": [stale]})) == [("/wishes/0/job", "not-open")]
    assert client_of(Role.INSPECTOR).post(address, {}).status_code == 403


@pytest.mark.parametrize("count", [1, 8])
def test_renewing_takes_the_same_number_of_queries_for_one_vehicle_and_for_eight(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.PLANNER)
    for number in range(count):
        vehicle = factories.vehicle(cast.fleet, name=f"car {number}")
        recent(vehicle, cast, result(PADS, "front-left", grade="major"))
    plan = make(client, cast)
    # As making one, the plan before, and what was found since.
    with django_assert_num_queries(23):
        assert client.post(url(cast, f"{plan['id']}/renew/"), {}).status_code == 201
