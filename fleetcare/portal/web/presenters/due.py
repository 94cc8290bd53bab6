"""What is due as a page tells it: the most pressing first, each with when and what it comes from."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from scheduling.core.due import State

if TYPE_CHECKING:
    from scheduling.models import DueItem

_STATES: Mapping[int, str | Promise] = {
    State.OVERDUE: gettext_lazy("Overdue"),
    State.DUE: gettext_lazy("Due now"),
    State.SOON: gettext_lazy("Soon"),
    State.LATER: gettext_lazy("Later"),
}
_KINDS: Mapping[str, str | Promise] = {
    "service": gettext_lazy("service"),
    "look-again": gettext_lazy("look again"),
    "wear-limit": gettext_lazy("forecast of wear"),
    "follow-up": gettext_lazy("follows a job"),
    "statutory": gettext_lazy("statutory inspection"),
    "insurance": gettext_lazy("insurance"),
    "tax": gettext_lazy("tax"),
    "warranty": gettext_lazy("warranty"),
    "document": gettext_lazy("document"),
    "deferred-job": gettext_lazy("job put off"),
}
FEW = 12
_SETTLED_BY_A_RECORD = ("look:", "wear:", "job:")


@dataclass(frozen=True, slots=True)
class DueShown:
    """One due item for a reader."""

    id: str
    vehicle_id: str
    vehicle: str
    what: str
    kind: str
    place: str
    safety: bool
    when: Day | None
    between: str
    at: str
    snoozed: Day | None
    may_be_done: bool
    """By saying so; the others are settled by a look or a fitted part."""
    asks_next_end: bool


@dataclass(frozen=True, slots=True)
class DueGroup:
    """Items in one state."""

    key: str
    title: str
    count: int
    parts: tuple[tuple[DueShown, ...], ...]
    """Those at hand, and those that are folded away."""


def due_groups(figures: Figures, rows: Sequence["DueItem"], on: date) -> tuple[DueGroup, ...]:
    """The items by state, the most pressing state first; states without items are left out."""
    groups = []
    for state, title in _STATES.items():
        items = tuple(due_shown(figures, row, on) for row in rows if row.state == state)
        if items:
            groups.append(DueGroup(State(state).word, str(title), len(items), _at_hand(items)))
    return tuple(groups)


def _at_hand(items: tuple[DueShown, ...]) -> tuple[tuple[DueShown, ...], ...]:
    # One or two more are shown sooner than folded away.
    return (items[:FEW], items[FEW:]) if len(items) > FEW + 2 else (items,)


def due_shown(figures: Figures, row: "DueItem", on: date) -> DueShown:
    """One item."""
    return DueShown(
        id=str(row.pk),
        vehicle_id=str(row.vehicle_id),
        vehicle=row.vehicle.name,
        what=words.told(row.what),
        kind=str(_KINDS[row.kind]),
        place=words.place(row.position),
        safety=row.safety,
        when=figures.day(row.due_on),
        between=_between(figures, row),
        at=figures.distance(row.due_shown_km) if row.due_shown_km is not None else "",
        snoozed=figures.day(row.snoozed_until) if row.snoozed_until and row.snoozed_until > on else None,
        may_be_done=not row.source.startswith(_SETTLED_BY_A_RECORD),
        asks_next_end=row.period.startswith("ends "),
    )


def _between(figures: Figures, row: "DueItem") -> str:
    """The range of a forecast; empty for a day that stands."""
    if row.earliest_on is None or row.latest_on is None or row.earliest_on == row.latest_on:
        return ""
    days = {"early": figures.day(row.earliest_on), "late": figures.day(row.latest_on)}
    return _("between %(early)s and %(late)s") % days


def next_due(figures: Figures, rows: Iterable["DueItem"], on: date) -> tuple[DueShown, ...]:
    """Items of one vehicle in the order handed in."""
    return tuple(due_shown(figures, row, on) for row in rows)
