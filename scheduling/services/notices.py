"""Deciding who is to be told what: one row for each reader, due item and stage, made by sweeps that repeat for nothing.

Set-based: for each calendar day that it is somewhere right now (two or three) one INSERT … SELECT and one UPDATE,
whatever the number of fleets. What was told is left out by an anti-join, which makes a repeated sweep cheap; the
unique key is what makes it right when two sweeps run at once.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection, transaction
from django.utils import timezone

from fleetcare.fleet.models import ContactVehicle, Event, Fleet
from fleetcare.kernel.ids import new_id
from scheduling.models import Delivery, ReminderChoice
from scheduling.models.reminders import ENOUGH_BOUNCES
from scheduling.selectors import contacts_never_asked, members_never_asked
from scheduling.words import LetterKind, Rhythm, Stage

OVERDUE_AFTER_DAYS = 7
"""An item is told once more when it is past due for so long; common practice, no source."""

ALL_AGAIN_AFTER = timedelta(minutes=10)
"""How long a change that did not say so (a zone of the fleet, a new link of a contact) waits for its notice at most."""
_LATELY = ALL_AGAIN_AFTER + timedelta(minutes=2)

_MEMBER_ZONE = "COALESCE(NULLIF(c.time_zone, ''), NULLIF(u.time_zone, 'UTC'), f.time_zone)"
_CONTACT_ZONE = "COALESCE(NULLIF(c.time_zone, ''), f.time_zone)"
_FLEET = "JOIN fleet_fleet f ON f.id = c.fleet_id"
_MEMBERS = f"JOIN fleet_membership m ON m.id = c.membership_id JOIN fleet_user u ON u.id = m.user_id {_FLEET}"
_CONTACTS = f"JOIN fleet_contact p ON p.id = c.contact_id {_FLEET}"
_THEIRS = "JOIN fleet_contactvehicle k ON k.contact_id = c.contact_id AND k.vehicle_id = i.vehicle_id"
_READERS = (
    # whom, the zone they live in, and which vehicles they are told about
    (f"{_MEMBERS} AND u.is_active", _MEMBER_ZONE, ""),
    (_CONTACTS, _CONTACT_ZONE, _THEIRS),
)
_NEW_ID = {"postgresql": "gen_random_uuid()", "sqlite": "lower(hex(randomblob(16)))"}
_DAYS_LEFT = {
    "postgresql": "(i.due_on - %s)",
    "sqlite": "CAST(julianday(i.due_on) - julianday(%s) AS INTEGER)",
}
_STAGE = f"""
    CASE WHEN d.days_left <= -{OVERDUE_AFTER_DAYS} THEN {int(Stage.OVERDUE)}
         WHEN d.days_left <= 0 OR d.reached > 0 THEN {int(Stage.DUE)}
         WHEN d.days_left <= d.second_lead_days THEN {int(Stage.NEAR)}
         WHEN d.days_left <= d.first_lead_days THEN {int(Stage.AHEAD)}
         WHEN d.first_lead_days IS NULL AND d.soon THEN {int(Stage.AHEAD)}
         ELSE 0 END"""


def make_notices() -> int:
    """Makes the rows that are to be told by now and are not there yet, in every fleet; returns how many are new.

    Nothing is made before its day has begun where the reader is. Everything is gone through for a reader when a day
    begins and every ten minutes; in between what changed since. A constant number of statements.
    """
    welcome_readers()
    now = timezone.now()
    return sum(
        _sweep(Sweep(*readers, zones, day, now))
        for readers in _READERS
        for day, zones in _days(_zones(*readers[:2]), now).items()
    )


@transaction.atomic
def welcome_readers() -> None:
    """Gives each member and contact that has none a choice with the usual settings."""
    # The first gathered mail comes with the next slot, not at the moment somebody is added.
    today = timezone.now().date()
    for people, field in ((members_never_asked(), "membership_id"), (contacts_never_asked(), "contact_id")):
        rows = [
            ReminderChoice(fleet_id=fleet_id, last_slot_on=today, **{field: pk})
            for pk, fleet_id in people.order_by().values_list("pk", "fleet_id")
        ]
        ReminderChoice.objects.bulk_create(rows, batch_size=1_000, ignore_conflicts=True)


def _zones(people: str, zone: str) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT DISTINCT {zone} FROM scheduling_reminderchoice c {people}")  # noqa: S608
        return [name for (name,) in cursor.fetchall()]


def _days(zones: Iterable[str], now: datetime) -> dict[date, list[str]]:
    """The calendar days that it is now, each with the zones where it is that day."""
    days: dict[date, list[str]] = defaultdict(list)
    for name in zones:
        days[now.astimezone(zone_of(name)).date()].append(name)
    return days


def zone_of(name: str) -> ZoneInfo:
    """The zone; UTC for a name that is none any more."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError):
        return ZoneInfo("UTC")


@dataclass(frozen=True, slots=True)
class Sweep:
    """Readers of one sort for whom it is the same day: their joins, the zone they live in, their vehicles."""

    people: str
    zone: str
    vehicles: str
    zones: Sequence[str]
    day: date
    now: datetime

    @property
    def who(self) -> str:
        """The condition that leaves only readers in these zones; takes the zones as parameters."""
        return f"{self.zone} IN ({', '.join(['%s'] * len(self.zones))}) AND c.bounces < {ENOUGH_BOUNCES}"


@transaction.atomic
def _sweep(sweep: Sweep) -> int:
    """Everything for the readers whose turn it is, and what changed lately for all."""
    ops = connection.ops
    today, since = ops.adapt_datefield_value(sweep.day), ops.adapt_datetimefield_value(sweep.now - _LATELY)
    now, again = ops.adapt_datetimefield_value(sweep.now), ops.adapt_datetimefield_value(sweep.now - ALL_AGAIN_AFTER)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # A planner that believes the table of what was told to be empty would look through it once for each item,
            # while this very statement fills it: minutes instead of seconds at the first sweep of 200,000 items.
            cursor.execute("SET LOCAL enable_nestloop = off")
        turn = "(c.swept_on IS NULL OR c.swept_on <> %s OR c.swept_at <= %s)"
        made = _insert(cursor, sweep, f"({turn} OR i.changed_at >= %s)", [today, again, since])
        mine = f"SELECT c.id FROM scheduling_reminderchoice c {sweep.people} WHERE {sweep.who} AND {turn}"  # noqa: S608
        mark = f"UPDATE scheduling_reminderchoice SET swept_on = %s, swept_at = %s WHERE id IN ({mine})"  # noqa: S608
        cursor.execute(mark, [today, now, *sweep.zones, today, again])
    return made


def _insert(cursor: Any, sweep: Sweep, which: str, which_values: Sequence[object]) -> int:
    vendor = connection.vendor
    days_left, today = _DAYS_LEFT[vendor], connection.ops.adapt_datefield_value(sweep.day)
    # The kinds a reader does not want stand between commas in a text: both databases can look for that.
    sql = f"""
        INSERT INTO scheduling_delivery (id, fleet_id, reader_id, item_id, channel, stage, kind, made_at)
        SELECT {_NEW_ID[vendor]}, s.fleet_id, s.reader_id, s.item_id, 'mail', s.stage, s.kind, %s
        FROM (
          SELECT d.fleet_id, d.reader_id, d.item_id, d.kind, {_STAGE} AS stage
          FROM (
            SELECT i.fleet_id, c.id AS reader_id, i.id AS item_id, i.reached, {days_left} AS days_left,
                   c.second_lead_days, c.first_lead_days, i.soon_on <= %s AS soon,
                   CASE WHEN i.safety AND c.safety_at_once THEN '{LetterKind.SAFETY}'
                        ELSE '{LetterKind.DIGEST}' END AS kind
            FROM scheduling_reminderchoice c {sweep.people}
            JOIN scheduling_dueitem i ON i.fleet_id = c.fleet_id {sweep.vehicles}
            JOIN fleet_vehicle v ON v.id = i.vehicle_id
            WHERE {sweep.who} AND {which}
              AND i.closed_on IS NULL AND (i.snoozed_until IS NULL OR i.snoozed_until <= %s) AND NOT v.archived
              AND (c.rhythm <> '{Rhythm.NEVER}' OR (i.safety AND c.safety_at_once))
              AND c.unwanted_kinds NOT LIKE '%%,' || i.kind || ',%%'
              AND NOT EXISTS (SELECT 1 FROM scheduling_unwantedvehicle w
                              WHERE w.reader_id = c.id AND w.vehicle_id = i.vehicle_id)
          ) d
        ) s
        WHERE s.stage > 0 AND NOT EXISTS (
          SELECT 1 FROM scheduling_delivery t
          WHERE t.item_id = s.item_id AND t.reader_id = s.reader_id AND t.stage >= s.stage)
        ON CONFLICT DO NOTHING"""  # noqa: S608 - names and numbers of this module; everything else is a parameter
    moment = connection.ops.adapt_datetimefield_value(sweep.now)
    cursor.execute(sql, [moment, today, today, *sweep.zones, *which_values, today])
    return max(int(cursor.rowcount), 0)


def tell_of_bans(fleet: Fleet, events: Sequence[Event]) -> None:
    """Makes the rows that tell who is concerned that a vehicle must not be driven; call inside the relay's transaction.

    Members are told about every vehicle, contacts about theirs. Five statements, none without events.
    """
    if not events:
        return
    welcome_readers()
    readers = ReminderChoice.objects.within(fleet).filter(safety_at_once=True, bounces__lt=ENOUGH_BOUNCES)
    links = ContactVehicle.objects.within(fleet).filter(vehicle__in=[event.vehicle_id for event in events])
    theirs: set[tuple[uuid.UUID, uuid.UUID | None]] = set(links.values_list("contact_id", "vehicle_id"))
    Delivery.objects.bulk_create(
        [
            Delivery(
                id=new_id(),
                fleet=fleet,
                reader=reader,
                event=event,
                stage=Stage.DO_NOT_DRIVE,
                kind=LetterKind.SAFETY,
                made_at=timezone.now(),
            )
            for event in events
            for reader in readers
            if reader.membership_id or (reader.contact_id, event.vehicle_id) in theirs
        ],
        ignore_conflicts=True,
    )
