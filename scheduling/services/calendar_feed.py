"""What is due as a calendar to subscribe to (RFC 5545, RFC 7986), under a secret address of one reader."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db.models import Q, QuerySet
from django.utils import timezone, translation
from django.utils.translation import pgettext
from icalendar import Calendar, Event, vDuration, vText

from fleetcare.fleet.models import ContactVehicle
from fleetcare.kernel.dates import add_months
from fleetcare.support.secret_links import digest_of
from scheduling.models import CalendarLink, DueItem
from scheduling.selectors import calendar_link
from scheduling.services.letters.naming import told_what
from scheduling.services.letters.readers import Reader, absolute
from scheduling.services.letters.wording import plain, when_due

CANCELLED_STAYS = timedelta(days=30)
"""How long what is done or withdrawn is still told as cancelled, so that every subscriber takes it off."""
REFRESH = timedelta(hours=6)
MOST_EVENTS = 2_000
_AHEAD_MONTHS = 18
_USE_NOTED_EVERY = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Feed:
    """A calendar as bytes and its validator: the same calendar has the same."""

    body: bytes
    etag: str


def calendar_feed(token: str) -> Feed | None:
    """The calendar under a secret address, or None where there is none or it was revoked. Three queries.

    Everything due in the next year and a half of the vehicles the reader is told about; what was closed in the last
    30 days is there as cancelled.
    """
    link = calendar_link(digest_of(token))
    if link is None:
        return None
    _note_use(link)
    reader, now = Reader.of(link.reader), timezone.now()
    with translation.override(reader.language):
        calendar = _calendar(link)
        for item in _items(link, now)[:MOST_EVENTS]:
            calendar.add_component(_event(item, link, reader))
    body = calendar.to_ical()
    return Feed(body, f'"{hashlib.sha256(body).hexdigest()[:32]}"')


def _note_use(link: CalendarLink) -> None:
    now = timezone.now()
    if link.last_read_at is None or now - link.last_read_at > _USE_NOTED_EVERY:
        CalendarLink.objects.within(link.fleet_id).filter(pk=link.pk).update(last_read_at=now)


def _items(link: CalendarLink, now: datetime) -> QuerySet[DueItem]:
    today = now.date()
    rows: QuerySet[DueItem] = DueItem.objects.within(link.fleet_id).filter(
        Q(closed_on=None) | Q(closed_on__gte=today - CANCELLED_STAYS),
        due_on__isnull=False,
        due_on__lte=add_months(today, _AHEAD_MONTHS),
        vehicle__archived=False,
    )
    if link.reader.contact_id is not None:
        theirs = ContactVehicle.objects.within(link.fleet_id).filter(contact=link.reader.contact_id)
        rows = rows.filter(vehicle__in=theirs.values("vehicle"))
    return rows.select_related("vehicle").order_by("due_on", "id")


def _calendar(link: CalendarLink) -> Calendar:
    name = pgettext("mail", "Due: %(fleet)s") % {"fleet": plain(link.fleet.name)}
    calendar = Calendar()
    calendar.add("prodid", "-//fleetcare//due items//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    # RFC 7986, and the older property that many programs still read.
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    refresh = vDuration(REFRESH)
    refresh.params["VALUE"] = "DURATION"
    calendar.add("refresh-interval", refresh)
    calendar.add("x-published-ttl", vText("PT6H"))
    return calendar


def _event(item: DueItem, link: CalendarLink, reader: Reader) -> Event:
    assert item.due_on is not None  # noqa: S101 - the query leaves the others out
    changed_at = item.changed_at.astimezone(UTC).replace(microsecond=0)
    event = Event()
    event.add("uid", f"due-{item.pk}@fleetcare")
    event.add("dtstamp", changed_at)
    event.add("last-modified", changed_at)
    event.add("sequence", item.sequence)
    event.add("dtstart", item.due_on)
    # The end of a whole day is the day after it.
    event.add("dtend", item.due_on + timedelta(days=1))
    event.add("summary", f"{plain(item.vehicle.name)}: {plain(told_what(item))}")
    event.add("description", "\n\n".join(_description(item, link, reader)))
    event.add("transp", "TRANSPARENT")
    event.add("status", "CANCELLED" if item.closed_on else "CONFIRMED")
    if link.reader.membership_id is not None:
        event.add("url", absolute("vehicle", link.fleet_id, item.vehicle_id))
    return event


def _description(item: DueItem, link: CalendarLink, reader: Reader) -> Iterable[str]:
    yield when_due(item, link.fleet, reader)
    yield pgettext(
        "mail", "An aid, no certificate: local inspection rules, the maker’s data and a licensed technician come first."
    )
