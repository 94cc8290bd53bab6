"""Closing a job renews parts, closes findings and makes what must follow due; undoing restores all of it."""

import threading
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import connection, connections
from django.forms.models import model_to_dict
from django.utils import timezone

from fleetcare.fleet.models import Event, OdometerReading, Standing
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.kernel.errors import Conflict, InvalidInput
from inspections.models import Finding, FindingChange, FittedPart
from inspections.services.assessment import current_condition
from inspections.services.parts import Renewal, fit_part, fit_parts
from inspections.words import Removal
from scheduling.core.job_states import JobState
from scheduling.models import DueItem, Job, JobPart, ServiceDone, ServiceRule
from scheduling.services.backlog import current_backlog
from scheduling.services.jobs import PartLine, close_job, decline_job, defer_job, open_job, plan_job, undo_closing
from scheduling.words import JobOrigin
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result
from tests.scheduling.work_given import BOOT_JOB, CLEAN_HUB, PADS_JOB, SIDES, closed, closing, day, job

RUNOUT = "front-brake-disc.runout"
SURFACE = "front-brake-disc.surface"


def seen(cast: Cast, *results: dict[str, Any], ago: int = 10, km: int = 120_000) -> None:
    inspect(cast.access, cast.vehicle, *results, inspected_on=day(cast.access, ago), shown_km=Decimal(km))


def parts_of(cast: Cast) -> list[tuple[str, str, str]]:
    rows = FittedPart.objects.within(cast.fleet)
    return sorted((row.position, row.removal, "off" if row.removed_on else "on") for row in rows)


def open_findings(cast: Cast) -> set[tuple[str, str]]:
    rows = Finding.objects.within(cast.fleet).filter(closed_on=None)
    return set(rows.values_list("check_key", "position"))


def open_follow_ups(cast: Cast) -> list[str]:
    rows = DueItem.objects.within(cast.fleet).filter(kind="follow-up", closed_on=None)
    return sorted(row.source.rpartition(":")[2] for row in rows)


def fresh(cast: Cast) -> Any:
    return type(cast.vehicle).objects.within(cast.fleet).select_related("standing").one(pk=cast.vehicle.pk)


def test_a_renewing_job_of_an_axle_fits_both_sides_ends_the_old_parts_and_closes_their_findings(cast: Cast) -> None:
    seen(cast, *(result(PADS, side, grade="major") for side in SIDES), result(BOOT, "front-left", grade="major"))
    done = closed(
        cast.access,
        job(cast.access, cast.vehicle),
        removal=Removal.WORN_OUT,
        hours=Decimal("1.5"),
        parts=(PartLine("pad set, front", "AX-1", price_minor=4_500), PartLine("cleaner", price_minor=600)),
    )
    assert parts_of(cast) == [
        ("front-left", "", "on"),
        ("front-left", "worn-out", "off"),
        ("front-right", "", "on"),
        ("front-right", "worn-out", "off"),
    ]
    fitted = FittedPart.objects.within(cast.fleet).filter(removed_on=None)
    assert set(fitted.values_list("description", "part_number", "fitted_total_km")) == {
        ("pad set, front", "AX-1", Decimal(120_500))
    }
    assert open_findings(cast) == {(BOOT, "front-left")}
    assert (done.state, done.parts_minor, done.positions) == ("done", 5_100, SIDES)


def test_condition_and_backlog_show_a_closed_job_at_once(cast: Cast) -> None:
    seen(cast, result(PADS, "front-left", grade="dangerous"))
    before = current_condition(cast.access, fresh(cast))
    assert before["do_not_drive"]
    assert PADS_JOB in {item["job"] for item in current_backlog(cast.access, fresh(cast))["items"]}
    closed(cast.access, job(cast.access, cast.vehicle), removal=Removal.WORN_OUT)
    after = current_condition(cast.access, fresh(cast))
    assert not after["do_not_drive"]
    assert after["score"] > before["score"]
    assert PADS_JOB not in {item["job"] for item in current_backlog(cast.access, fresh(cast))["items"]}


def test_a_job_that_does_not_renew_puts_right_what_the_catalogue_says_and_the_part_keeps_its_age(cast: Cast) -> None:
    seen(
        cast,
        result(RUNOUT, "front-left", measurement={"value": 0.2, "unit": "mm"}),
        result(SURFACE, "front-left", observations=["scored"]),
    )
    before = current_condition(cast.access, fresh(cast))["score"]
    closed(cast.access, job(cast.access, cast.vehicle, CLEAN_HUB))
    # Cleaning the seat cures the runout and not the scores.
    assert open_findings(cast) == {(SURFACE, "front-left")}
    assert parts_of(cast) == []
    cured = Finding.objects.within(cast.fleet).get(check_key=RUNOUT)
    assert (cured.remedied_total_km, cured.closed_on) == (Decimal(120_500), day(cast.access))
    assert current_condition(cast.access, fresh(cast))["score"] >= before


def test_the_judge_sees_a_part_that_was_put_right_as_sound_from_then_on(cast: Cast) -> None:
    seen(cast, result(RUNOUT, "front-left", measurement={"value": 0.2, "unit": "mm"}))
    before = current_condition(cast.access, fresh(cast))
    closed(cast.access, job(cast.access, cast.vehicle, CLEAN_HUB))
    after = current_condition(cast.access, fresh(cast))

    def losses(document: Any) -> dict[str, float]:
        rows = (each for each in document["contributions"] if each["part"] == "front-brake-disc")
        return {each["grade"]: each["points"] for each in rows if each["position"] == "front-left"}

    assert losses(before)["major"] > 1
    assert losses(after).get("sound", 0) < 0.5
    assert "major" not in losses(after)
    assert after["coverage_fraction"] >= before["coverage_fraction"]


@pytest.mark.parametrize(
    ("said", "closes"),
    [
        ({"observations": ["slides-stiff"]}, True),
        ({"observations": ["slides-stiff", "boot-cracked"]}, True),
        ({"observations": ["slides-stiff", "leaking"]}, False),
        ({"observations": ["seized"]}, False),
        ({"grade": "minor"}, True),  # graded by a word alone: nobody knows what was seen
    ],
)
def test_a_finding_stays_open_while_anything_of_it_is_not_put_right(cast: Cast, said: Any, closes: bool) -> None:
    check = "brake-caliper.slides-and-boots"
    seen(cast, result(check, "front-left", **said), result("brake-caliper.drag", "front-right", grade="minor"))
    closed(cast.access, job(cast.access, cast.vehicle, "brake-caliper.free-slides"))
    assert ((check, "front-left") not in open_findings(cast)) == closes
    assert ("brake-caliper.drag", "front-right") in open_findings(cast)


def test_findings_can_be_named_and_a_named_one_that_was_seen_later_is_refused(cast: Cast) -> None:
    seen(cast, result(BOOT, "front-left", grade="major"), result(PADS, "front-left", grade="minor"))
    boot, pads = (Finding.objects.within(cast.fleet).get(check_key=key) for key in (BOOT, PADS))
    free = open_job(cast.access, cast.vehicle, title="Tighten the clip of the boot")[0]
    with pytest.raises(InvalidInput) as caught:
        closed(cast.access, free, ago=20, shown_km=Decimal(119_000), findings=(boot.pk,))
    assert [fault.pointer for fault in caught.value.faults] == ["/findings/0"]
    assert caught.value.faults[0].code == "seen-later"
    closed(cast.access, Job.objects.within(cast.fleet).get(pk=free.pk), findings=(boot.pk,))
    assert open_findings(cast) == {(PADS, "front-left")}
    assert pads.closed_on is None


def test_a_look_after_the_renewal_leaves_its_finding_open(cast: Cast) -> None:
    seen(cast, result(PADS, "front-left", grade="major"), ago=5)
    closed(cast.access, job(cast.access, cast.vehicle), ago=8, shown_km=Decimal(119_900))
    assert open_findings(cast) == {(PADS, "front-left")}


def test_what_must_follow_becomes_due_once_a_visit(cast: Cast) -> None:
    seen(cast, result(PADS, "front-left", grade="major"))
    closed(cast.access, job(cast.access, cast.vehicle))
    closed(cast.access, job(cast.access, cast.vehicle, BOOT_JOB))
    assert open_follow_ups(cast) == ["brake-bed-in", "wheel-nut-retorque"]
    nuts = DueItem.objects.within(cast.fleet).get(source__endswith=":wheel-nut-retorque", closed_on=None)
    assert nuts.due_total_km == Decimal(120_550)


def test_undoing_one_of_two_jobs_leaves_what_the_other_obliges(cast: Cast) -> None:
    first = closed(cast.access, job(cast.access, cast.vehicle))
    closed(cast.access, job(cast.access, cast.vehicle, BOOT_JOB))
    undo_closing(cast.access, first)
    assert open_follow_ups(cast) == ["wheel-nut-retorque"]


def test_a_rule_about_a_part_is_done_with_a_job_only_where_it_renews_all_of_it(cast: Cast) -> None:
    access = cast.access
    for part in ("outer-driveshaft-boot", "front-brake-pads"):
        ServiceRule.objects.create(fleet=cast.fleet, vehicle=cast.vehicle, title=part, part_key=part, every_months=24)
    closed(access, job(access, cast.vehicle, BOOT_JOB))
    assert not ServiceDone.objects.within(cast.fleet).exists()
    pads = closed(access, job(access, cast.vehicle))
    (done,) = ServiceDone.objects.within(cast.fleet).select_related("rule")
    assert (done.rule.part_key, done.job_id, done.total_km) == ("front-brake-pads", pads.pk, Decimal(120_500))


def test_a_job_opened_for_scheduled_work_marks_it_done_without_renewing_anything(cast: Cast) -> None:
    rule = {"title": "Axle oil", "part_key": "rear-final-drive", "every_months": 48}
    ServiceRule.objects.create(fleet=cast.fleet, vehicle=cast.vehicle, **rule)
    values = {"title": "Axle oil", "part_key": "rear-final-drive", "origin": JobOrigin.SERVICE}
    closed(cast.access, open_job(cast.access, cast.vehicle, **values)[0])
    assert ServiceDone.objects.within(cast.fleet).count() == 1
    assert not FittedPart.objects.within(cast.fleet).exists()


def test_warranty_and_number_are_kept_with_the_part_that_was_fitted(cast: Cast) -> None:
    until = day(cast.access) + timedelta(days=730)
    lines = (
        PartLine("cleaner"),
        PartLine("pads, left", "L-1", position="front-left", warranty_until=until, warranty_km=40_000),
        PartLine("pads", "P-1", Decimal(2), 1_999, fitted=True),
    )
    done = closed(cast.access, job(cast.access, cast.vehicle), parts=lines)
    rows = {row.description: row for row in JobPart.objects.within(cast.fleet).select_related("fitted_part")}
    assert rows["cleaner"].fitted_part is None
    left, right = rows["pads, left"].fitted_part, rows["pads"].fitted_part
    assert left is not None
    assert right is not None
    assert (left.position, left.part_number) == ("front-left", "L-1")
    assert (right.position, right.part_number) == ("front-right", "P-1")
    assert (rows["pads, left"].warranty_until, rows["pads, left"].warranty_km) == (until, 40_000)
    assert done.parts_minor == 3_998


def test_the_cost_of_a_line_is_rounded_half_up_once(cast: Cast) -> None:
    assert PartLine("oil", quantity=Decimal("4.25"), price_minor=790).cost_minor == 3_358  # 3,357.5
    assert PartLine("hose", quantity=Decimal("0.33"), price_minor=101).cost_minor == 33  # 33.33


def everything(cast: Cast) -> dict[str, Any]:
    """All that closing touches, without versions and what only tells when."""
    quiet = {"version", "id", "revision", "changed_at"}

    def rows(model: Any, **conditions: Any) -> list[Any]:
        found = model.objects.within(cast.fleet).filter(**conditions).order_by("pk")
        return [{k: v for k, v in model_to_dict(row).items() if k not in quiet} | {"pk": row.pk} for row in found]

    standing = Standing.objects.within(cast.fleet).get(vehicle=cast.vehicle)
    return {
        "parts": rows(FittedPart),
        "findings": rows(Finding),
        "changes": rows(FindingChange),
        "due": rows(DueItem, closed_on=None, kind="follow-up"),
        "served": rows(ServiceDone),
        "readings": rows(OdometerReading),
        "lines": rows(JobPart),
        "jobs": rows(Job),
        "odometer": (standing.odometer_km, standing.odometer_on),
    }


@pytest.mark.parametrize("key", [PADS_JOB, BOOT_JOB, CLEAN_HUB])
def test_undoing_restores_exactly_what_stood_before(cast: Cast, key: str) -> None:
    access = cast.access
    seen(
        cast,
        *(result(PADS, side, grade="major") for side in SIDES),
        result(BOOT, "front-left", grade="major"),
        result(RUNOUT, "front-left", measurement={"value": 0.2, "unit": "mm"}),
    )
    # One side has a part on record, the other is as bought.
    part = key.partition(".")[0]
    fitting = {"part_key": part, "position": "front-left", "shown_km": Decimal(100_000)}
    fit_part(access, cast.vehicle, fitted_on=day(access, 400), **fitting)
    ServiceRule.objects.create(fleet=cast.fleet, vehicle=cast.vehicle, title="t", part_key=part, every_months=12)
    wanted = job(access, cast.vehicle, key)
    plan_job(access, wanted, planned_on=day(access), assigned_to="R. Amsel")
    before = everything(cast)
    line = PartLine("new one", "N-1", price_minor=2_000)
    done = closed(access, wanted, parts=(line,), hours=Decimal(1), labour_minor=3_000, note="as found")
    assert everything(cast) != before
    undo_closing(access, done)
    assert everything(cast) == before
    assert done.state == JobState.PLANNED


def test_a_job_can_be_closed_again_after_an_undo_and_its_follow_ups_are_due_again(cast: Cast) -> None:
    done = closed(cast.access, job(cast.access, cast.vehicle))
    undo_closing(cast.access, done)
    assert open_follow_ups(cast) == []
    closed(cast.access, done, shown_km=Decimal(120_700))
    assert open_follow_ups(cast) == ["brake-bed-in", "wheel-nut-retorque"]
    nuts = DueItem.objects.within(cast.fleet).get(source__endswith=":wheel-nut-retorque", closed_on=None)
    assert nuts.due_total_km == Decimal(120_750)
    assert [kind for _, kind, _ in parts_of(cast)].count("unknown") == 2


def test_undoing_a_job_that_was_put_off_returns_to_the_day_it_was_put_off_to(cast: Cast) -> None:
    until = day(cast.access) + timedelta(days=40)
    waiting = defer_job(cast.access, job(cast.access, cast.vehicle), until=until, reason="no money now")
    undo_closing(cast.access, closed(cast.access, waiting))
    again = Job.objects.within(cast.fleet).get()
    assert (again.state, again.deferred_until, again.reason) == ("deferred", until, "no money now")


def test_an_odometer_reading_stays_where_something_else_rests_on_it(cast: Cast) -> None:
    access = cast.access
    first = closed(access, job(access, cast.vehicle))
    second = closed(access, job(access, cast.vehicle, BOOT_JOB))
    assert OdometerReading.objects.within(cast.fleet).count() == 1
    undo_closing(access, first)
    assert OdometerReading.objects.within(cast.fleet).count() == 1
    undo_closing(access, second)
    # The second closing found the reading there: whoever takes it back does so by hand.
    assert OdometerReading.objects.within(cast.fleet).count() == 1


def test_a_reading_that_somebody_had_taken_before_is_never_dropped(cast: Cast) -> None:
    record_odometer(cast.access, cast.vehicle, read_on=day(cast.access), shown_km=Decimal(120_500))
    undo_closing(cast.access, closed(cast.access, job(cast.access, cast.vehicle)))
    assert OdometerReading.objects.within(cast.fleet).count() == 1


def test_a_reading_under_a_part_that_was_fitted_by_hand_stays(cast: Cast) -> None:
    access = cast.access
    done = closed(access, job(access, cast.vehicle))
    by_hand = {"part_key": "outer-driveshaft-boot", "position": "front-left"}
    fit_part(access, cast.vehicle, **by_hand, fitted_on=day(access), shown_km=Decimal(120_500))
    undo_closing(access, done)
    assert OdometerReading.objects.within(cast.fleet).count() == 1


def test_undoing_ends_with_the_day_in_the_fleets_own_zone(cast: Cast) -> None:
    type(cast.fleet).objects.filter(pk=cast.fleet.pk).update(time_zone="Pacific/Auckland")
    cast.fleet.refresh_from_db()
    # 10:30 UTC is 23:30 in that zone, in summer there.
    with time_machine.travel("2026-01-10T10:30:00+00:00", tick=False) as clock:
        done = closed(cast.access, job(cast.access, cast.vehicle))
        clock.move_to("2026-01-10T10:59:59+00:00")
        undo_closing(cast.access, done)
        closed(cast.access, done)
        clock.move_to("2026-01-10T11:00:00+00:00")
        with pytest.raises(Conflict) as caught:
            undo_closing(cast.access, done)
    assert caught.value.code == "too-late"
    assert Job.objects.within(cast.fleet).get().state == "done"


def test_nothing_is_undone_once_a_newer_part_or_look_rests_on_it(cast: Cast) -> None:
    access = cast.access
    seen(cast, *(result(PADS, side, grade="major") for side in SIDES))
    done = closed(access, job(access, cast.vehicle), ago=2, shown_km=Decimal(120_100))
    again = closed(access, job(access, cast.vehicle))
    with pytest.raises(Conflict) as caught:
        undo_closing(access, Job.objects.within(cast.fleet).get(pk=done.pk))
    assert caught.value.code == "part-changed"
    undo_closing(access, again)
    decline_job(access, again, reason="once was enough")
    seen(cast, result(PADS, "front-left", grade="minor"), ago=0, km=120_600)
    with pytest.raises(Conflict) as caught:
        undo_closing(access, Job.objects.within(cast.fleet).get(pk=done.pk))
    assert caught.value.code == "finding-opened-again"
    assert FittedPart.objects.within(cast.fleet).filter(removed_on=None).count() == 2


def test_of_two_closers_one_is_told_and_nothing_is_done_twice(cast: Cast) -> None:
    wanted = job(cast.access, cast.vehicle)
    mine, yours = (Job.objects.within(cast.fleet).select_related("vehicle").get(pk=wanted.pk) for _ in range(2))
    closed(cast.access, mine)
    with pytest.raises(Conflict) as caught:
        closed(cast.access, yours)
    assert (caught.value.status, caught.value.code) == (409, "job-closed")
    assert FittedPart.objects.within(cast.fleet).filter(removed_on=None).count() == 2
    assert OdometerReading.objects.within(cast.fleet).count() == 1


def test_what_was_refused_changed_nothing(cast: Cast) -> None:
    seen(cast, result(PADS, "front-left", grade="major"))
    wanted = job(cast.access, cast.vehicle)
    before = everything(cast)
    for values in (
        {"shown_km": Decimal(100)},
        {"done_on": day(cast.access, -1)},
        {"parts": (PartLine("x", position="rear-left"),)},
        {"parts": (PartLine("x", warranty_until=day(cast.access, 1)),)},
        {"parts": (PartLine("x", price_minor=5),), "parts_minor": 6},
    ):
        row = Job.objects.within(cast.fleet).select_related("vehicle").get(pk=wanted.pk)
        with pytest.raises(InvalidInput):
            close_job(cast.access, row, closing(cast.access, **values))
        assert everything(cast) == before


def test_closing_and_undoing_are_told(cast: Cast) -> None:
    done = closed(cast.access, job(cast.access, cast.vehicle), labour_minor=4_000, other_minor=500)
    undo_closing(cast.access, done)
    rows = Event.objects.within(cast.fleet).filter(subject_id=done.pk).order_by("happened_at", "id")
    assert [row.kind for row in rows] == ["job.closed", "job.reopened"]
    facts = rows[0].facts
    assert (facts["job"], facts["positions"]) == (PADS_JOB, SIDES)
    assert facts["cost"] == {"amount": "45.00", "currency": "EUR"}


@pytest.mark.parametrize("places", [["front-left"], ["front-left", "front-right", "rear-left", "rear-right"]])
def test_fitting_takes_the_same_number_of_queries_for_one_position_and_for_four(
    cast: Cast, places: list[str], django_assert_num_queries: Any
) -> None:
    access, part = cast.access, "brake-hose"
    seen(cast, *(result(f"{part}.condition", place, grade="major") for place in places))
    for place in places:
        on = {"fitted_on": day(access, 400), "shown_km": Decimal(100_000)}
        fit_part(access, cast.vehicle, part_key=part, position=place, **on)
    reading = record_odometer(access, cast.vehicle, read_on=day(access), shown_km=Decimal(120_500))
    # What is there, its end, the new ones within a savepoint, and the findings: found, closed, told.
    with django_assert_num_queries(8):
        fit_parts(access, cast.vehicle, part, [Renewal(place) for place in places], reading, Removal.WORN_OUT)


# A job that covers every position of its part also looks for rules of scheduled work about it: one query more.
@pytest.mark.parametrize(("key", "queries"), [(BOOT_JOB, 35), (PADS_JOB, 36)])
def test_closing_takes_the_same_number_of_queries_for_one_position_and_for_two(
    cast: Cast, key: str, queries: int, django_assert_num_queries: Any
) -> None:
    seen(cast, *(result(check, side, grade="major") for check in (PADS, BOOT) for side in SIDES))
    made = job(cast.access, cast.vehicle, key)
    wanted = Job.objects.within(cast.fleet).select_related("vehicle").get(pk=made.pk)
    lines = tuple(PartLine(f"line {number}") for number in range(len(wanted.positions)))
    given = closing(cast.access, parts=lines)
    with django_assert_num_queries(queries):
        close_job(cast.access, wanted, given)


@pytest.mark.django_db(transaction=True)
def test_two_who_close_at_the_same_moment_renew_the_parts_once(request: Any) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL: one SQLite file in memory takes no two writers")
    cast = request.getfixturevalue("cast")
    wanted = job(cast.access, cast.vehicle)
    rows = [Job.objects.within(cast.fleet).select_related("vehicle").get(pk=wanted.pk) for _ in range(4)]
    ready, outcomes = threading.Barrier(len(rows)), []

    def act(row: Job) -> None:
        try:
            ready.wait(10)
            closed(cast.access, row)
            outcomes.append("closed")
        except Conflict as error:
            outcomes.append(error.code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=act, args=(row,)) for row in rows]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(outcomes) == ["closed", *["job-closed"] * 3]
    assert FittedPart.objects.within(cast.fleet).filter(removed_on=None).count() == 2
    assert timezone.now() > rows[0].created_at
