"""What the next gathered mail to a reader will say, if nothing changes until then. Reading only: four queries."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Max
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import ContactVehicle
from scheduling.core.slots import last_slot
from scheduling.models import Delivery, DueItem, ReminderChoice, UnwantedVehicle
from scheduling.selectors import due_items
from scheduling.services.letters.readers import Reader
from scheduling.services.letters.wording import Section, told_in_advance
from scheduling.services.notices import OVERDUE_AFTER_DAYS
from scheduling.words import Rhythm, Stage

FARTHEST_SLOT_DAYS = 62
"""Two months hold a slot of every rhythm."""


@dataclass(frozen=True, slots=True)
class Preview:
    """The next gathered mail: the reader's day on which it goes (None: never), its subject and its lines.

    Without lines there will be no mail on that day.
    """

    on: date | None
    subject: str
    sections: Sequence[Section]


def next_digest(access: Access, choice: ReminderChoice) -> Preview:
    """The next gathered mail to a reader; `choice` has its member or contact loaded."""
    reader = Reader.of(choice)
    on = _next_slot(choice, reader.wall(timezone.now()))
    if on is None:
        return Preview(None, "", ())
    told = _told_stages(access, choice)
    items = [item for item in _items(access, choice) if _stage(item, choice, on) > told.get(item.pk, 0)]
    subject, sections = told_in_advance(items, access.fleet, reader, on)
    return Preview(on, subject, sections)


def _next_slot(choice: ReminderChoice, wall: datetime) -> date | None:
    """The day of the next mail; today where this slot has come and its mail has not gone yet."""

    def slot(at: datetime) -> date | None:
        wish = {"hour": choice.hour, "weekday": choice.weekday, "month_day": choice.month_day}
        return last_slot(at, choice.rhythm, **wish)

    last = slot(wall)
    if last is None:
        return None
    if choice.last_slot_on is not None and last > choice.last_slot_on:
        return wall.date()
    later = (slot(wall + timedelta(days=days)) for days in range(1, FARTHEST_SLOT_DAYS))
    return next((day for day in later if day is not None and day > last), None)


def _items(access: Access, choice: ReminderChoice) -> list[DueItem]:
    """Open items that a gathered mail may tell this reader of, with their vehicles."""
    rows = due_items(access).select_related("vehicle")
    if choice.contact_id is not None:
        linked = ContactVehicle.objects.within(access.fleet).filter(contact=choice.contact_id)
        rows = rows.filter(vehicle__in=linked.values("vehicle"))
    unwanted = UnwantedVehicle.objects.within(access.fleet).filter(reader_id=choice.pk)
    rows = rows.exclude(vehicle__in=unwanted.values("vehicle"))
    rows = rows.exclude(kind__in=[kind for kind in choice.unwanted_kinds.split(",") if kind])
    return list(rows.exclude(safety=True) if choice.safety_at_once else rows)


def _told_stages(access: Access, choice: ReminderChoice) -> dict[object, int]:
    """The last stage of each item that a mail took already; what still waits for one is yet to be told."""
    rows = Delivery.objects.within(access.fleet).filter(reader_id=choice.pk, item__isnull=False, letter__isnull=False)
    return dict(rows.order_by().values_list("item").annotate(stage=Max("stage")))


def _stage(item: DueItem, choice: ReminderChoice, on: date) -> int:
    """Which stage is to be told of an item by a day, 0 for none: the same as `notices` decides in the database."""
    if choice.rhythm == Rhythm.NEVER:
        return 0
    left = None if item.due_on is None else (item.due_on - on).days
    if left is not None and left <= -OVERDUE_AFTER_DAYS:
        return Stage.OVERDUE
    if item.reached or (left is not None and left <= 0):
        return Stage.DUE
    first, second = choice.first_lead_days, choice.second_lead_days
    if left is not None and second is not None and left <= second:
        return Stage.NEAR
    if first is None:
        return Stage.AHEAD if item.soon_on is not None and item.soon_on <= on else 0
    return Stage.AHEAD if left is not None and left <= first else 0
