"""A letter in words: in the reader's language, by the reader's clock, about what still stands when it is sent."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from babel.dates import format_date
from babel.units import format_unit
from django.conf import settings
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import npgettext, pgettext

from fleetcare.fleet.models import Event, Fleet, Standing, Vehicle
from fleetcare.kernel.units import from_km
from scheduling.models import Delivery, DueItem, Letter
from scheduling.services.letters.naming import told_danger, told_kind, told_what
from scheduling.services.letters.readers import Reader, absolute, stop_token
from scheduling.words import Stage

MOST_LINES = 60
"""So many are listed; how many more there are is said."""
_UNITS = {"km": "length-kilometer", "mi": "length-mile"}


@dataclass(frozen=True, slots=True)
class Line:
    """One due item or ban: how pressing (a word and its rank for the look), what, of what kind, and when."""

    rank: int
    mark: str
    what: str
    kind: str
    when: str


@dataclass(frozen=True, slots=True)
class Section:
    """The lines about one vehicle; `address` of its page for readers who can sign in."""

    vehicle: str
    plate: str
    address: str
    lines: Sequence[Line]


@dataclass(frozen=True, slots=True)
class Wording:
    """Subject, both bodies, and the address at which mails of this kind are stopped."""

    subject: str
    text: str
    html: str
    stop: str


@dataclass(frozen=True, slots=True)
class _Told:
    vehicle: Vehicle
    line: Line
    due_on: date | None
    headline: str


def worded(letter: Letter, reader: Reader, now: datetime) -> Wording | None:
    """The letter in words, or None where nothing of it stands any more. Three queries, whatever it tells."""
    with translation.override(reader.language):
        told = _told(letter, reader, now)
        return _put(letter, reader, told) if told else None


def told_in_advance(items: Iterable[DueItem], fleet: Fleet, reader: Reader, on: date) -> tuple[str, list[Section]]:
    """What a letter about these items, with their vehicles, would say on a day of the reader's: subject and lines."""
    with translation.override(reader.language):
        told = [_due(item, fleet, reader, on) for item in items if _stands(item, on)]
        told.sort(key=lambda each: (-each.line.rank, each.due_on or on))
        sections = _sections(told[:MOST_LINES], fleet, signs_in=reader.choice.membership_id is not None)
        return (_subject(told) if told else "", sections)


def _told(letter: Letter, reader: Reader, now: datetime) -> list[_Told]:
    rows = Delivery.objects.within(letter.fleet_id).filter(letter=letter).select_related("item__vehicle", "event")
    rows = rows.order_by("item__due_on", "pk")
    # An item whose second reminder came before the mail with its first is told once, as it stands now.
    today, events, told, items = reader.wall(now).date(), [], [], set()
    for row in rows:
        if row.event is not None:
            events.append(row.event)
        elif row.item is not None and row.item_id not in items and _stands(row.item, today):
            items.add(row.item_id)
            told.append(_due(row.item, letter.fleet, reader, today))
    bans = _bans(letter.fleet, events)
    return [*bans, *sorted(told, key=lambda each: (-each.line.rank, each.due_on or today))]


def _stands(item: DueItem, today: date) -> bool:
    snoozed = item.snoozed_until is not None and item.snoozed_until > today
    return item.closed_on is None and not snoozed and not item.vehicle.archived


def _bans(fleet: Fleet, events: Sequence[Event]) -> list[_Told]:
    """The vehicles that were banned and still are, each once with the latest reason."""
    latest = {event.vehicle_id: event for event in sorted(events, key=lambda event: event.happened_at)}
    if not latest:
        return []
    rows = Standing.objects.within(fleet).filter(vehicle__in=list(latest), do_not_drive=True, vehicle__archived=False)
    return [_ban(standing.vehicle, latest[standing.vehicle_id]) for standing in rows.select_related("vehicle")]


def _ban(vehicle: Vehicle, event: Event) -> _Told:
    reasons = " ".join(plain(told_danger(danger)) for danger in event.facts.get("dangers", []))
    rest = pgettext("mail", "Leave it where it stands until it is remedied by somebody qualified to do so.")
    line = Line(int(Stage.DO_NOT_DRIVE), pgettext("mail", "Do not drive"), reasons, "", rest)
    headline = pgettext("mail", "Do not drive: %(vehicle)s") % {"vehicle": vehicle.name}
    return _Told(vehicle, line, None, headline)


def _due(item: DueItem, fleet: Fleet, reader: Reader, today: date) -> _Told:
    rank, mark = _pressing(item, today)
    what, day = plain(told_what(item)), _day(item.due_on, reader)
    facts = {"what": what, "vehicle": item.vehicle.name, "day": day}
    headlines = {
        Stage.OVERDUE: pgettext("mail", "Overdue: %(what)s, %(vehicle)s"),
        Stage.DUE: pgettext("mail", "Due now: %(what)s, %(vehicle)s"),
        Stage.AHEAD: pgettext("mail", "Due on %(day)s: %(what)s, %(vehicle)s"),
    }
    line = Line(int(rank), mark, what, told_kind(item), _when(item, fleet, reader, today))
    return _Told(item.vehicle, line, item.due_on, headlines[rank] % facts)


def _pressing(item: DueItem, today: date) -> tuple[Stage, str]:
    days = None if item.due_on is None else (item.due_on - today).days
    if item.reached == 2 or (days is not None and days < 0):
        return Stage.OVERDUE, pgettext("mail", "Overdue")
    if item.reached or days == 0:
        return Stage.DUE, pgettext("mail", "Due now")
    return Stage.AHEAD, pgettext("mail", "Coming up")


def _when(item: DueItem, fleet: Fleet, reader: Reader, today: date) -> str:
    parts = []
    if item.due_shown_km is not None:
        parts.append(pgettext("mail", "at %(distance)s") % {"distance": _distance(item.due_shown_km, fleet, reader)})
    if item.due_on is not None:
        parts.append(_by_day(item.due_on, reader, today, forecast=item.limit_on != item.due_on))
    return ", ".join(parts)


def when_due(item: DueItem, fleet: Fleet, reader: Reader) -> str:
    """When something is due in words that are true whatever day they are read on."""
    parts = []
    if item.due_shown_km is not None:
        parts.append(pgettext("mail", "at %(distance)s") % {"distance": _distance(item.due_shown_km, fleet, reader)})
    if item.due_on is not None:
        text = (
            pgettext("mail", "expected about %(day)s")
            if item.limit_on != item.due_on
            else pgettext("mail", "on %(day)s")
        )
        parts.append(text % {"day": _day(item.due_on, reader)})
    return ", ".join(parts)


def _by_day(due_on: date, reader: Reader, today: date, *, forecast: bool) -> str:
    days, facts = (due_on - today).days, {"day": _day(due_on, reader)}
    if days < 0:
        return pgettext("mail", "since %(day)s") % facts
    if days == 0:
        return pgettext("mail", "today, %(day)s") % facts
    left = npgettext("mail", "in %(count)d day", "in %(count)d days", days) % {"count": days}
    text = pgettext("mail", "expected about %(day)s") if forecast else pgettext("mail", "on %(day)s")
    return f"{text % facts} ({left})"


def _distance(km: Decimal, fleet: Fleet, reader: Reader) -> str:
    whole = round(from_km(km, fleet.distance_unit))
    return str(format_unit(whole, _UNITS[fleet.distance_unit], "short", locale=reader.locale))


def _day(day: date | None, reader: Reader) -> str:
    return "" if day is None else str(format_date(day, "medium", reader.locale))


def plain(text: str) -> str:
    """One line without control characters: safe as a header, and nothing hides in it."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _put(letter: Letter, reader: Reader, told: Sequence[_Told]) -> Wording:
    stop = absolute("reminders-stop", stop_token(reader.choice, letter.kind))
    listed = told[:MOST_LINES]
    context = {
        "language": reader.language,
        "name": plain(reader.name),
        "sections": _sections(listed, letter.fleet, signs_in=reader.choice.membership_id is not None),
        "more": len(told) - len(listed),
        "why": _why(letter.fleet, reader),
        "stop": stop,
        "site": settings.SITE_URL,
    }
    subject = _subject(told)
    text = render_to_string("mail/reminder.txt", context)
    html = render_to_string("mail/reminder.html", {**context, "subject": subject})
    return Wording(subject, text, html, stop)


def _subject(told: Sequence[_Told]) -> str:
    first, rest = plain(told[0].headline), len(told) - 1
    if not rest:
        return first[:180]
    facts = {"first": first[:150], "count": rest}
    return npgettext("mail", "%(first)s, and %(count)d more", "%(first)s, and %(count)d more", rest) % facts


def _sections(told: Iterable[_Told], fleet: Fleet, *, signs_in: bool) -> list[Section]:
    vehicles: dict[uuid.UUID, list[_Told]] = {}
    for each in told:
        vehicles.setdefault(each.vehicle.pk, []).append(each)
    return [
        Section(
            plain(lines[0].vehicle.name),
            plain(lines[0].vehicle.plate),
            absolute("vehicle", fleet.pk, pk) if signs_in else "",
            [each.line for each in lines],
        )
        for pk, lines in vehicles.items()
    ]


def _why(fleet: Fleet, reader: Reader) -> str:
    if reader.choice.membership_id is not None:
        return pgettext("mail", "You get this because you belong to “%(fleet)s”.") % {"fleet": plain(fleet.name)}
    return pgettext("mail", "You get this because “%(fleet)s” looks after the vehicle and noted your address.") % {
        "fleet": plain(fleet.name)
    }
