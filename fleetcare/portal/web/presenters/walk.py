"""The walk as its pages show it: where to stand, what to beware of, what to record, what is done and what is left."""

import json
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from babel.units import format_unit
from django.utils.translation import gettext, ngettext, to_locale

from fleetcare.kernel.grades import Grade
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.checks import Check, Context, check_shown
from fleetcare.portal.web.presenters.figures import Day, Figures
from inspections.catalogue.walk import Walk, WalkStation

if TYPE_CHECKING:
    from inspections.models import Inspection, Result

MINUTES_PER_HOUR = 60
ROUND_FROM_MINUTES = 20
"""From here on minutes are told in steps of five: nobody knows them better."""
SHEET_ORDER = ("five-minute", "before-trip", "wheels-off", "before-buying", "full")


@dataclass(frozen=True, slots=True)
class SheetChoice:
    """A sheet to choose from: what for, how long, how much."""

    key: str
    title: str
    purpose: str
    minutes: str
    checks: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class OpenWalk:
    """A walk that somebody began."""

    id: uuid.UUID
    sheet: str
    progress: str
    began: Day | None
    who: str
    idle: bool
    """So long untouched that it should be finished or thrown away."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a walk or a station is."""

    done: int
    all: int
    text: str
    left: str
    complete: bool


@dataclass(frozen=True, slots=True)
class StationLine:
    """A station in the overview."""

    key: str
    title: str
    progress: Progress
    anchor: str
    """Where to go on: the first check that has no result."""
    current: bool


@dataclass(frozen=True, slots=True)
class WalkShown:
    """A walk from above."""

    id: uuid.UUID
    sheet: str
    on: Day | None
    odometer: str
    inspector: str
    progress: Progress
    stations: tuple[StationLine, ...]
    next_station: str
    """Key of the first station with something left; empty where nothing is."""
    next_anchor: str


@dataclass(frozen=True, slots=True)
class StationShown:
    """One station with its checks."""

    key: str
    title: str
    number: str
    stance: str
    cautions: tuple[str, ...]
    progress: Progress
    checks: tuple[Check, ...]
    first_open: str
    previous: StationLine | None
    following: StationLine | None
    repeatable: int
    repeat_text: str


def minutes_text(figures: Figures, minutes: float) -> str:
    """A duration, no more precise than it is known."""
    whole = max(1, round(minutes))
    if minutes <= 0:
        whole = 0
    elif whole >= ROUND_FROM_MINUTES:
        whole = 5 * round(whole / 5)
    hours, rest = divmod(whole, MINUTES_PER_HOUR)
    locale = to_locale(figures.language)
    parts = [format_unit(hours, "duration-hour", "short", locale=locale)] if hours else []
    if rest or not hours:
        parts.append(format_unit(rest, "duration-minute", "short", locale=locale))
    return " ".join(parts)


def sheets_shown(figures: Figures, walks: Iterable[Walk], chosen: str) -> tuple[SheetChoice, ...]:
    """The sheets, the shortest errand first."""
    rank = {key: index for index, key in enumerate(SHEET_ORDER)}
    found = []
    for walk in sorted(walks, key=lambda each: rank.get(each.sheet, len(rank))):
        sheet = words.catalogue().sheets[walk.sheet]
        count = sum(len(station.checks) for station in walk.stations)
        checks = ngettext("%(count)d check", "%(count)d checks", count) % {"count": count}
        minutes = minutes_text(figures, walk.minutes)
        found.append(SheetChoice(sheet.key, sheet.title, sheet.purpose, minutes, checks, sheet.key == chosen))
    return tuple(found)


def open_walk_shown(figures: Figures, row: Any, walk: Walk, idle_before: date) -> OpenWalk:
    """A draft with `done` and `touched_at`."""
    total = sum(len(station.checks) for station in walk.stations)
    return OpenWalk(
        id=row.pk,
        sheet=words.sheet(row.sheet),
        progress=_done_of(row.done, total),
        began=figures.day(row.inspected_on),
        who=row.inspector,
        idle=row.touched_at.date() < idle_before,
    )


def walk_shown(
    figures: Figures, walk: Walk, inspection: "Inspection", results: Mapping[Any, "Result"], current: str = ""
) -> WalkShown:
    """The overview; `results` by check and position, `current` the station one stands at."""
    lines = tuple(_line(figures, station, results, current) for station in walk.stations)
    left = next((line for line in lines if not line.progress.complete), None)
    return WalkShown(
        id=inspection.pk,
        sheet=words.sheet(inspection.sheet),
        on=figures.day(inspection.inspected_on),
        odometer=figures.distance(inspection.reading.shown_km),
        inspector=inspection.inspector,
        progress=_progress(figures, walk.stations, results),
        stations=lines,
        next_station=left.key if left else "",
        next_anchor=left.anchor if left else "",
    )


def station_shown(context: Context, walk: Walk, key: str, wrong: Mapping[str, Any] | None = None) -> StationShown:
    """One station; `wrong` holds what was sent of one check and could not be stored. Raises KeyError."""
    at = next((index for index, station in enumerate(walk.stations) if station.station == key), None)
    if at is None:
        raise KeyError(key)
    station, lines = walk.stations[at], [_line(context.figures, each, context.results, key) for each in walk.stations]
    checks = tuple(check_shown(context, check, number, wrong) for number, check in enumerate(station.checks, 1))
    again = sum(check.repeatable for check in checks)
    return StationShown(
        key=key,
        title=station.title,
        number=gettext("Station %(number)d of %(all)d") % {"number": at + 1, "all": len(lines)},
        stance=station.stance,
        cautions=tuple(caution.text for caution in station.cautions),
        progress=_progress(context.figures, [station], context.results),
        checks=checks,
        first_open=lines[at].anchor or "check-1",
        previous=lines[at - 1] if at else None,
        following=lines[at + 1] if at + 1 < len(lines) else None,
        repeatable=again,
        repeat_text=ngettext("%(count)d check", "%(count)d checks", again) % {"count": again},
    )


def _line(figures: Figures, station: WalkStation, results: Mapping[Any, Any], current: str) -> StationLine:
    places = [(check.check, check.position) for check in station.checks]
    first = next((index for index, place in enumerate(places, 1) if place not in results), 0)
    return StationLine(
        key=station.station,
        title=station.title,
        progress=_progress(figures, [station], results),
        anchor=f"check-{first}" if first else "",
        current=station.station == current,
    )


def _progress(figures: Figures, stations: Sequence[WalkStation], results: Mapping[Any, Any]) -> Progress:
    checks = [check for station in stations for check in station.checks]
    done = sum((check.check, check.position) in results for check in checks)
    left = sum(_minutes_left(station, results) for station in stations)
    told = gettext("about %(minutes)s left") % {"minutes": minutes_text(figures, left)}
    complete = done == len(checks)
    return Progress(done, len(checks), _done_of(done, len(checks)), "" if complete else told, complete)


def _minutes_left(station: WalkStation, results: Mapping[Any, Any]) -> float:
    """Minutes of the checks without a result, and of setting up where none has one yet."""
    left = [check for check in station.checks if (check.check, check.position) not in results]
    setup = station.minutes - sum(check.minutes for check in station.checks)
    return sum(check.minutes for check in left) + (setup if len(left) == len(station.checks) else 0.0)


def _done_of(done: int, total: int) -> str:
    return gettext("%(done)d of %(all)d done") % {"done": done, "all": total}


@dataclass(frozen=True, slots=True)
class Left:
    """A station where checks have no result."""

    station: str
    anchor: str
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Summary:
    """What completing would say: the dangers first, then the other defects, what was not examined, what is open."""

    defects: tuple[Check, ...]
    not_examined: tuple[Check, ...]
    disputed: tuple[Check, ...]
    left: tuple[Left, ...]
    left_text: str
    sound: str
    empty: bool
    dangerous: bool


def summary_shown(context: Context, walk: Walk) -> Summary:
    """The results of the walk before it is completed."""
    done = [
        check_shown(context, check, number)
        for station in walk.stations
        for number, check in enumerate(station.checks, 1)
        if (check.check, check.position) in context.results
    ]
    grades = [context.results[check.key, check.position].grade for check in done]
    told = list(zip(done, grades, strict=True))
    defects = sorted(((check, grade) for check, grade in told if grade), key=lambda pair: -pair[1])
    sound = sum(grade == Grade.SOUND for grade in grades)
    open_count = sum(len(station.checks) for station in walk.stations) - len(done)
    return Summary(
        defects=tuple(check for check, _ in defects),
        not_examined=tuple(check for check, grade in told if grade is None),
        disputed=tuple(check for check in done if check.also),
        left=tuple(_left(context, station) for station in walk.stations if _is_left(context, station)),
        left_text=ngettext("%(count)d check has no result", "%(count)d checks have no result", open_count)
        % {"count": open_count}
        if open_count
        else "",
        sound=ngettext("%(count)d check sound", "%(count)d checks sound", sound) % {"count": sound} if sound else "",
        empty=not done,
        dangerous=any(grade == Grade.DANGEROUS for grade in grades),
    )


def _is_left(context: Context, station: WalkStation) -> bool:
    return any((check.check, check.position) not in context.results for check in station.checks)


def _left(context: Context, station: WalkStation) -> Left:
    line = _line(context.figures, station, context.results, "")
    count = line.progress.all - line.progress.done
    return Left(
        line.key, line.anchor, line.title, ngettext("%(count)d check", "%(count)d checks", count) % {"count": count}
    )


def script_words() -> str:
    """The sentences that the page's script says, as JSON."""
    return json.dumps(
        {
            "waiting": gettext("Waits on this phone to be sent."),
            "stored": gettext("Stored."),
            "overtaken": gettext("A later word from another phone stands. Load the page again to see it."),
            "refused": gettext("Not stored: {detail}"),
            "photos": gettext("{count} photos wait on this phone to be sent."),
            "photo_stored": gettext("Photo stored."),
            "late": gettext("Came after the inspection was completed. Start a walk and add it there."),
            "wait": gettext("{count} not sent yet. Completing takes a connection: what waits here would be left out."),
            "done": gettext("{done} of {all} done"),
            "add": gettext("Add {count} that came too late for an earlier walk"),
        }
    )
