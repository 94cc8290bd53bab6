"""Reminders in words: how they are chosen, what was sent to whom and why, and the calendars that are read."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

from babel.dates import format_datetime
from django.utils.translation import gettext, to_locale
from django.utils.translation import gettext_lazy as _

from fleetcare.portal.web.presenters.figures import Figures
from scheduling.words import DueKind, LetterKind, QueueState, Rhythm, Stage

if TYPE_CHECKING:
    from scheduling.models import CalendarLink, Delivery, Letter, ReminderChoice

RHYTHMS = [
    (Rhythm.DAILY.value, _("every day")),
    (Rhythm.WEEKLY.value, _("once a week")),
    (Rhythm.MONTHLY.value, _("once a month")),
    (Rhythm.NEVER.value, _("never")),
]
WEEKDAYS = [
    ("0", _("Monday")), ("1", _("Tuesday")), ("2", _("Wednesday")), ("3", _("Thursday")),
    ("4", _("Friday")), ("5", _("Saturday")), ("6", _("Sunday")),
]  # fmt: skip
DUE_KINDS = [
    (DueKind.SERVICE.value, _("service")),
    (DueKind.LOOK_AGAIN.value, _("look again")),
    (DueKind.WEAR_LIMIT.value, _("forecast of wear")),
    (DueKind.FOLLOW_UP.value, _("follows a job")),
    (DueKind.STATUTORY.value, _("statutory inspection")),
    (DueKind.INSURANCE.value, _("insurance")),
    (DueKind.TAX.value, _("tax")),
    (DueKind.WARRANTY.value, _("warranty")),
    (DueKind.DOCUMENT.value, _("document")),
    (DueKind.DEFERRED_JOB.value, _("job put off")),
]
_STATES: Mapping[str, Any] = {
    QueueState.WAITING: _("waits to be sent"),
    QueueState.SENT: _("sent"),
    QueueState.BOUNCED: _("refused for good"),
    QueueState.GIVEN_UP: _("not taken for days, given up"),
    QueueState.PARKED: _("stuck: somebody should look"),
    QueueState.WITHDRAWN: _("withdrawn: nothing was left to say"),
}
_TROUBLE = {QueueState.BOUNCED, QueueState.GIVEN_UP, QueueState.PARKED}
_LETTERS: Mapping[str, Any] = {LetterKind.DIGEST: _("gathered"), LetterKind.SAFETY: _("safety, at once")}
_STAGES: Mapping[int, Any] = {
    Stage.AHEAD: _("comes up"),
    Stage.NEAR: _("comes nearer"),
    Stage.DUE: _("is due"),
    Stage.OVERDUE: _("is overdue"),
    Stage.DO_NOT_DRIVE: _("do not drive"),
}


def moment(figures: Figures, zone: tzinfo, at: datetime | None) -> str:
    """An instant as a clock in a zone shows it; empty where there is none."""
    if at is None:
        return ""
    return str(format_datetime(at.astimezone(zone), "short", locale=to_locale(figures.language)))


@dataclass(frozen=True, slots=True)
class LetterShown:
    """One mail: to whom, when, what became of it and what it told."""

    at: str
    to: str
    subject: str
    kind: str
    state: str
    trouble: bool
    answer: str
    told: tuple[str, ...]


def letters_shown(
    figures: Figures, zone: tzinfo, rows: "Iterable[Letter]", vehicles: Mapping[uuid.UUID, str], *, with_address: bool
) -> list[LetterShown]:
    """Mails with what they told; addresses and servers' words only for who may see them."""
    return [_letter(figures, zone, row, vehicles, with_address=with_address) for row in rows]


def _letter(
    figures: Figures, zone: tzinfo, row: "Letter", vehicles: Mapping[uuid.UUID, str], *, with_address: bool
) -> LetterShown:
    name, address = person_of(row.reader)
    return LetterShown(
        at=moment(figures, zone, row.ended_at or row.made_at),
        to=f"{name} <{address}>"
        if with_address and name
        else (address if with_address else name or gettext("a person")),
        subject=row.subject,
        kind=str(_LETTERS[row.kind]),
        state=str(_STATES[row.state]),
        trouble=row.state in _TROUBLE,
        # A mail server may repeat the address in its words.
        answer=row.answer if with_address else "",
        told=tuple(_told(figures, each, vehicles) for each in row.deliveries.all()),
    )


def person_of(reader: "ReminderChoice") -> tuple[str, str]:
    """Name and address of a reader loaded with the person."""
    person: Any = reader.membership.user if reader.membership else reader.contact
    return person.name, person.email


def _told(figures: Figures, row: "Delivery", vehicles: Mapping[uuid.UUID, str]) -> str:
    """What of which vehicle, and why it was told."""
    vehicle_id = row.item.vehicle_id if row.item else row.event.vehicle_id if row.event else None
    told = {"vehicle": vehicles.get(vehicle_id, "") if vehicle_id else "", "why": _STAGES[row.stage]}
    if row.item is None:
        return gettext("%(vehicle)s: %(why)s") % told
    return gettext("%(vehicle)s: %(what)s %(why)s") % {**told, "what": row.item.what}


@dataclass(frozen=True, slots=True)
class CalendarShown:
    """One address of a calendar."""

    id: uuid.UUID
    name: str
    whose: str
    made: str
    read: str


def calendars_shown(figures: Figures, zone: tzinfo, rows: "Iterable[CalendarLink]") -> list[CalendarShown]:
    """Addresses that open."""
    return [
        CalendarShown(
            row.pk,
            row.name or gettext("Calendar"),
            " ".join(filter(None, person_of(row.reader)[:1])),
            moment(figures, zone, row.created_at),
            moment(figures, zone, row.last_read_at),
        )
        for row in rows
    ]
