"""What jobs leave to come: one that was put off comes up on its day, a warranty is told before it ends."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine

from fleetcare.fleet.clock import today
from fleetcare.fleet.models import OdometerReading, Standing
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.kernel.errors import Conflict
from scheduling.core.due import State
from scheduling.models import DueItem
from scheduling.services.assess import assess_vehicles
from scheduling.services.due import close_item, sweep_due
from scheduling.services.jobs import PartLine, defer_job, open_job, plan_job, reopen_job, undo_closing
from tests.conftest import Cast
from tests.scheduling.reminders.given import daily, tell
from tests.scheduling.work_given import closed, job

pytestmark = pytest.mark.django_db

NOON = "2026-06-15T12:00:00+00:00"


def in_days(cast: Cast, days: int) -> date:
    return today(cast.fleet) + timedelta(days=days)


def assessed(cast: Cast) -> None:
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])


def items(cast: Cast, kind: str, **conditions: Any) -> list[DueItem]:
    return list(DueItem.objects.within(cast.fleet).filter(kind=kind, **conditions).order_by("id"))


def put_off(cast: Cast, days: int, title: str = "Clean the drain holes", **values: Any) -> Any:
    made = open_job(cast.access, cast.vehicle, title=title, **values)[0]
    return defer_job(cast.access, made, until=in_days(cast, days), reason="after the holidays")


class TestAJobPutOff:
    def test_it_comes_up_on_its_day_and_is_told(self, cast: Cast) -> None:
        with time_machine.travel(NOON, tick=False) as clock:
            daily(cast, unwanted_kinds=",look-again,")
            put_off(cast, 40)
            assessed(cast)
            (item,) = items(cast, "deferred-job")
            assert (item.due_on, item.state, item.soon_on) == (in_days(cast, 40), State.LATER, in_days(cast, 33))
            assert tell() == []
            clock.shift(timedelta(days=40))
            sweep_due()
            item.refresh_from_db()
            assert item.state == State.DUE
            (mail,) = tell()
        assert mail.subject == "Due now: Put off until now: Clean the drain holes, Home car"

    def test_the_due_list_shows_it_and_its_job_settles_it(self, cast: Cast, client_of: Any) -> None:
        deferred = put_off(cast, 10)
        assessed(cast)
        url = f"/api/v1/fleets/{cast.fleet.pk}/due/"
        listed = client_of().get(url, {"kind": "deferred-job"}).json()["items"]
        assert [(row["what"], row["source"]) for row in listed] == [
            ("Put off until now: Clean the drain holes", f"job:{deferred.pk}")
        ]
        with pytest.raises(Conflict):
            close_item(cast.access, items(cast, "deferred-job")[0], done_on=today(cast.fleet))

    @pytest.mark.parametrize("step", ["reopened", "planned", "closed"])
    def test_it_goes_when_the_job_moves_on(self, cast: Cast, step: str) -> None:
        deferred = put_off(cast, 10)
        assessed(cast)
        before = Standing.objects.within(cast.fleet).get().revision
        if step == "reopened":
            reopen_job(cast.access, deferred)
        elif step == "planned":
            plan_job(cast.access, deferred, planned_on=in_days(cast, 3))
        else:
            closed(cast.access, deferred)
        assert Standing.objects.within(cast.fleet).get().revision > before
        assessed(cast)
        assert items(cast, "deferred-job", closed_on=None) == []

    def test_put_off_again_it_is_another_occurrence(self, cast: Cast) -> None:
        deferred = put_off(cast, 10)
        assessed(cast)
        defer_job(cast.access, reopen_job(cast.access, deferred), until=in_days(cast, 20), reason="still no part")
        assessed(cast)
        found = items(cast, "deferred-job")
        assert [(item.due_on, item.closed_on is None) for item in found] == [
            (in_days(cast, 10), False),
            (in_days(cast, 20), True),
        ]


class TestAWarranty:
    def fitted(self, cast: Cast, **line: Any) -> Any:
        parts = (PartLine("pad set, front", "AX-1", price_minor=4_500, **line),)
        return closed(cast.access, job(cast.access, cast.vehicle), parts=parts)

    def test_its_end_is_due_by_itself_by_day_and_distance(self, cast: Cast) -> None:
        self.fitted(cast, warranty_until=in_days(cast, 400), warranty_km=30_000)
        assessed(cast)
        (item,) = items(cast, "warranty")
        assert item.what == "Warranty ends, a defect found before is the supplier's: pad set, front"
        assert (item.limit_on, item.due_total_km) == (in_days(cast, 400), Decimal(150_500))
        assert item.part_key == "front-brake-pads"

    def test_it_is_not_wanted_after_its_end_nor_once_somebody_has_looked(self, cast: Cast) -> None:
        self.fitted(cast, warranty_until=in_days(cast, 400))
        assessed(cast)
        (item,) = items(cast, "warranty")
        close_item(cast.access, item, done_on=today(cast.fleet))
        assessed(cast)
        assert [each.closed_because for each in items(cast, "warranty")] == ["done"]
        DueItem.objects.within(cast.fleet).filter(pk=item.pk).update(closed_on=None, closed_because="")
        with time_machine.travel(in_days(cast, 401)):
            assessed(cast)
            assert items(cast, "warranty", closed_on=None) == []

    def test_it_ends_with_the_part_and_with_the_job_taken_back(self, cast: Cast) -> None:
        first = self.fitted(cast, warranty_until=in_days(cast, 400))
        assessed(cast)
        undo_closing(cast.access, first)
        assessed(cast)
        assert items(cast, "warranty", closed_on=None) == []

    def test_a_line_without_a_warranty_wants_nothing(self, cast: Cast) -> None:
        self.fitted(cast)
        assessed(cast)
        assert items(cast, "warranty") == []


def test_what_jobs_leave_to_come_takes_the_same_queries_however_much_it_is(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for number in range(2):
        for index in range(1 + 3 * number):
            put_off(cast, 10, title=f"Job {number} {index}")
        assessed(cast)
        with CaptureQueriesContext(connection) as seen:
            assessed(cast)
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_a_reading_that_somebody_typed_as_well_stays_when_the_job_is_taken_back(cast: Cast) -> None:
    done = closed(cast.access, job(cast.access, cast.vehicle))
    record_odometer(cast.access, cast.vehicle, read_on=today(cast.fleet), shown_km=Decimal(120_500))
    undo_closing(cast.access, done)
    assert [row.source for row in OdometerReading.objects.within(cast.fleet)] == ["person"]
