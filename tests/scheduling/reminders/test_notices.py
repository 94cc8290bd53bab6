"""Who is told what, and that each is told once: on whatever day, in whatever zone, however often it is swept."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleetcare.fleet.words import Role
from scheduling.models import Delivery, ReminderChoice
from scheduling.services.due.items import snooze_item
from scheduling.services.notices import make_notices, welcome_readers
from scheduling.words import Stage
from tests.conftest import Cast
from tests.scheduling.reminders.given import choice_of, contact, daily, due_item

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
TODAY = NOON.date()


def stages(cast: Cast) -> list[int]:
    return sorted(Delivery.objects.within(cast.fleet).values_list("stage", flat=True))


@time_machine.travel(NOON, tick=False)
def test_every_member_is_told_of_what_comes_near_and_nobody_of_what_is_far(cast: Cast) -> None:
    near = due_item(cast.vehicle, TODAY + timedelta(days=20))
    due_item(cast.vehicle, TODAY + timedelta(days=200), what="Far")
    assert make_notices() == 4
    rows = Delivery.objects.within(cast.fleet)
    assert {row.item_id for row in rows} == {near.pk}
    assert {row.reader.membership.user for row in rows} == set(cast.members.values())


@time_machine.travel(NOON, tick=False)
def test_a_sweep_repeated_makes_nothing_new(cast: Cast) -> None:
    due_item(cast.vehicle, TODAY + timedelta(days=20))
    assert make_notices() > 0
    assert make_notices() == 0


@pytest.mark.parametrize(
    ("days_before", "told"),
    [(31, []), (30, [Stage.AHEAD]), (8, [Stage.AHEAD]), (7, [Stage.NEAR]), (1, [Stage.NEAR]), (0, [Stage.DUE]),
     (-6, [Stage.DUE]), (-7, [Stage.OVERDUE]), (-400, [Stage.OVERDUE])],
)  # fmt: skip
@time_machine.travel(NOON, tick=False)
def test_who_hears_of_it_late_hears_only_how_it_stands_now(cast: Cast, days_before: int, told: list[int]) -> None:
    daily(cast)
    due_item(cast.vehicle, TODAY + timedelta(days=days_before))
    make_notices()
    assert stages(cast) == told


def test_over_seven_weeks_of_sweeps_each_stage_is_told_once_and_none_before_its_day(cast: Cast) -> None:
    daily(cast, time_zone="America/St_Johns")
    due_on = date(2026, 3, 8)  # a day on which clocks there are put forward
    due_item(cast.vehicle, due_on)
    first_told: dict[int, date] = {}
    moment = datetime(2026, 2, 1, tzinfo=UTC)
    while moment < datetime(2026, 3, 20, tzinfo=UTC):
        with time_machine.travel(moment, tick=False):
            make_notices()
        for row in Delivery.objects.within(cast.fleet).exclude(stage__in=list(first_told)):
            # Newfoundland is 3.5 hours behind, 2.5 in summer.
            first_told[row.stage] = (
                moment - timedelta(hours=3.5 if moment < datetime(2026, 3, 8, 5, 30, tzinfo=UTC) else 2.5)
            ).date()
        moment += timedelta(hours=3)
    assert Delivery.objects.within(cast.fleet).count() == 4
    assert first_told == {
        Stage.AHEAD: date(2026, 2, 6), Stage.NEAR: date(2026, 3, 1), Stage.DUE: due_on,
        Stage.OVERDUE: date(2026, 3, 15),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "begins_utc"),
    [
        ("Pacific/Kiritimati", datetime(2026, 6, 14, 10, tzinfo=UTC)),  # 14 hours ahead
        ("Europe/Berlin", datetime(2026, 6, 14, 22, tzinfo=UTC)),
        ("Pacific/Pago_Pago", datetime(2026, 6, 15, 11, tzinfo=UTC)),  # 11 hours behind
    ],
)
def test_the_day_is_the_readers_own(cast: Cast, zone: str, begins_utc: datetime) -> None:
    daily(cast, time_zone=zone)
    due_item(cast.vehicle, date(2026, 6, 15), lead_days=0)
    ReminderChoice.objects.within(cast.fleet).update(second_lead_days=None)
    with time_machine.travel(begins_utc - timedelta(seconds=1), tick=False):
        assert make_notices() == 0
    with time_machine.travel(begins_utc, tick=False):
        assert make_notices() == 1


def test_a_day_that_a_country_left_out_is_told_on_the_next_one(cast: Cast) -> None:
    """Samoa went from 29 to 31 December 2011 (IANA time zone database, Pacific/Apia)."""
    daily(cast, time_zone="Pacific/Apia", second_lead_days=None)
    due_item(cast.vehicle, date(2011, 12, 30), lead_days=0)
    with time_machine.travel(datetime(2011, 12, 30, 9, 59, tzinfo=UTC), tick=False):  # 23:59 on the 29th
        assert make_notices() == 0
    with time_machine.travel(datetime(2011, 12, 30, 10, 1, tzinfo=UTC), tick=False):  # 00:01 on the 31st
        assert make_notices() == 1


def test_who_moves_to_another_zone_is_not_told_again(cast: Cast) -> None:
    choice = daily(cast, time_zone="Pacific/Kiritimati", second_lead_days=None)
    due_item(cast.vehicle, date(2026, 6, 15), lead_days=0)
    with time_machine.travel(datetime(2026, 6, 14, 11, tzinfo=UTC), tick=False):
        assert make_notices() == 1
        ReminderChoice.objects.within(cast.fleet).filter(pk=choice.pk).update(time_zone="Pacific/Pago_Pago")
        assert make_notices() == 0
    with time_machine.travel(datetime(2026, 6, 15, 12, tzinfo=UTC), tick=False):
        assert make_notices() == 0


@time_machine.travel(NOON, tick=False)
def test_a_zone_never_chosen_is_the_fleets(cast: Cast) -> None:
    type(cast.fleet).objects.filter(pk=cast.fleet.pk).update(time_zone="Pacific/Kiritimati")
    daily(cast, second_lead_days=None)
    due_item(cast.vehicle, TODAY + timedelta(days=1), lead_days=0)
    assert make_notices() == 1  # there it is tomorrow already


@time_machine.travel(NOON, tick=False)
def test_a_contact_is_told_only_of_the_vehicles_linked_to_them(cast: Cast, strangers: Cast) -> None:
    choice_of(cast, rhythm="never", safety_at_once=False)
    choice_of(strangers, rhythm="never", safety_at_once=False)
    mine = due_item(cast.vehicle, TODAY)
    due_item(strangers.vehicle, TODAY)
    contact(cast, cast.vehicle)
    contact(cast, email="another@else.example")
    assert make_notices() == 1
    row = Delivery.objects.within(cast.fleet).get()
    assert (row.item_id, row.reader.contact.email) == (mine.pk, "driver@else.example")


@time_machine.travel(NOON, tick=False)
@pytest.mark.parametrize("case", ["closed", "snoozed", "archived", "unwanted", "never", "bounced", "inactive"])
def test_what_nobody_wants_to_hear_is_not_made(cast: Cast, case: str) -> None:
    choice = daily(cast)
    item = due_item(cast.vehicle, TODAY)
    mine = ReminderChoice.objects.within(cast.fleet).filter(pk=choice.pk)
    if case == "closed":
        type(item).objects.within(cast.fleet).update(closed_on=TODAY)
    elif case == "snoozed":
        snooze_item(cast.access, item, until=TODAY + timedelta(days=3))
    elif case == "archived":
        type(cast.vehicle).objects.within(cast.fleet).update(archived=True)
    elif case == "unwanted":
        mine.update(unwanted_kinds=",tax,insurance,")
    elif case == "never":
        mine.update(rhythm="never")
    elif case == "bounced":
        mine.update(bounces=3)
    else:
        type(cast.members[Role.OWNER]).objects.update(is_active=False)
    assert make_notices() == 0


@time_machine.travel(NOON, tick=False)
def test_what_is_snoozed_is_told_when_the_snooze_is_over(cast: Cast) -> None:
    daily(cast)
    snooze_item(cast.access, due_item(cast.vehicle, TODAY), until=TODAY + timedelta(days=3))
    assert make_notices() == 0
    with time_machine.travel(NOON + timedelta(days=3), tick=False):
        assert make_notices() == 1


@time_machine.travel(NOON, tick=False)
def test_a_distance_reached_is_due_whatever_day_was_forecast(cast: Cast) -> None:
    daily(cast)
    due_item(cast.vehicle, TODAY + timedelta(days=90), limit_on=None, reached=1, due_total_km=90_000)
    make_notices()
    assert stages(cast) == [Stage.DUE]


@time_machine.travel(NOON, tick=False)
def test_a_forecast_that_moves_away_again_is_not_told_as_something_new(cast: Cast) -> None:
    daily(cast)
    item = due_item(cast.vehicle, TODAY)
    make_notices()
    type(item).objects.within(cast.fleet).update(due_on=TODAY + timedelta(days=20))
    assert make_notices() == 0


def test_the_settings_in_use_say_the_usual_things(cast: Cast) -> None:
    contact(cast)
    welcome_readers()
    welcome_readers()
    assert ReminderChoice.objects.within(cast.fleet).count() == 5


@pytest.mark.parametrize("count", [1, 12])
@time_machine.travel(NOON, tick=False)
def test_a_sweep_takes_the_same_statements_however_much_is_due(cast: Cast, strangers: Cast, count: int) -> None:
    welcome_readers()
    for number in range(count):
        for each in (cast, strangers):
            due_item(each.vehicle, TODAY, what=f"Thing {number}")
    with CaptureQueriesContext(
        connection,
    ) as seen:
        made = make_notices()
    assert made == 8 * count
    statements = [each["sql"] for each in seen if not each["sql"].startswith(("SAVEPOINT", "RELEASE", "SET"))]
    # New members, new contacts, the zones of both; for the members' one day (UTC) an insert and a mark.
    assert len(statements) == 6, statements


def test_a_change_that_does_not_say_so_waits_ten_minutes_at_most(cast: Cast) -> None:
    daily(cast)
    item = due_item(cast.vehicle, TODAY + timedelta(days=90))
    with time_machine.travel(NOON + timedelta(hours=1), tick=False):
        assert make_notices() == 0
    type(item).objects.within(cast.fleet).update(due_on=TODAY, changed_at=NOON - timedelta(days=9))
    with time_machine.travel(NOON + timedelta(hours=1, minutes=9), tick=False):
        assert make_notices() == 0
    with time_machine.travel(NOON + timedelta(hours=1, minutes=10), tick=False):
        assert make_notices() == 1


@time_machine.travel(NOON, tick=False)
def test_nothing_due_is_no_reason_to_fail(cast: Cast, django_assert_num_queries: Any) -> None:
    assert make_notices() == 0
