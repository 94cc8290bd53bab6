"""A plan of several days as a week at a glance: who and which bay is taken for how long on which day."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleetcare.portal.web.presenters.figures import Day, Figures

Json = dict[str, Any]
_MINUTES = 60


@dataclass(frozen=True, slots=True)
class WeekRow:
    """A person or a bay, day by day."""

    name: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeekShown:
    """The days across, people and bays down."""

    days: tuple[Day | None, ...]
    rows: tuple[WeekRow, ...]


def week_shown(figures: Figures, document: Json, asked: Json) -> WeekShown | None:
    """None where nobody said who works or how long bays are free. `asked` is the question as it is stored."""
    visits = list(zip(document["visits"], asked["visits"], strict=False))
    names = dict.fromkeys(person["name"] for _visit, question in visits for person in question.get("people") or ())
    rows = [
        WeekRow(name, tuple(_cell(figures, _hours(visit, _by(name)), _there(ask, name)) for visit, ask in visits))
        for name in names
    ]
    if any(ask.get("lift_minutes") is not None for _visit, ask in visits):
        cells = (_cell(figures, _hours(visit, _on_lift), _bay(ask, "lift")) for visit, ask in visits)
        rows.append(WeekRow(_("On the lift"), tuple(cells)))
    if any(_bay(ask, "lift", "stands") is not None for _visit, ask in visits):
        cells = (_cell(figures, _hours(visit, _raised), _bay(ask, "lift", "stands")) for visit, ask in visits)
        rows.append(WeekRow(_("On stands or the lift"), tuple(cells)))
    days = tuple(figures.day(visit["date"]) for visit, _ask in visits)
    return WeekShown(days, tuple(rows)) if rows else None


def _cell(figures: Figures, used: float, there: int | None) -> str:
    if there is None:
        return "–"
    return _("%(used)s of %(there)s") % {"used": figures.number(used, 1), "there": figures.hours(there / _MINUTES)}


def _hours(visit: Json, counts: Callable[[Json], bool]) -> float:
    return float(sum(job["hours"] for job in visit["jobs"] if counts(job)))


def _by(name: str) -> Callable[[Json], bool]:
    return lambda job: job["person"] == name


def _on_lift(job: Json) -> bool:
    return bool(job["bay"] == "lift")


def _raised(job: Json) -> bool:
    return job["bay"] is not None


def _there(ask: Json, name: str) -> int | None:
    """Minutes that a person has; None where they are not there."""
    return next((person["minutes"] for person in ask.get("people") or () if person["name"] == name), None)


def _bay(ask: Json, *kinds: str) -> int | None:
    said: Iterable[int | None] = [ask.get(f"{kind}_minutes") for kind in kinds]
    known = [minutes for minutes in said if minutes is not None]
    return sum(known) if known else None
