"""One check of a walk as a form: how to examine, what was found last time, what to record, what is recorded."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils import timezone
from django.utils.translation import gettext, pgettext

from fleetcare.kernel.grades import GRADE_WORDS
from fleetcare.kernel.units import TO_BASE
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.web.presenters.inspections import Seen, seen_shown
from inspections.catalogue.walk import Reading, WalkCheck
from inspections.services.walking import can_be_repeated

if TYPE_CHECKING:
    from inspections.models import Photo, Result, ResultEntry

Place = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Context:
    """What the checks of a draft are shown with, by check and position."""

    figures: Figures
    scheme: str
    results: Mapping[Place, "Result"]
    last: Mapping[Place, "Result"]
    overruled: Mapping[Place, "list[ResultEntry]"]
    people: Mapping[str, str]
    """Names by actor."""
    photos: Mapping[Place, "list[Photo]"]
    know_how: Mapping[str, tuple[str, ...]]
    """What the fleet knows of this model, by check."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Something to tick."""

    key: str
    word: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Observed:
    """Something that may be seen, and the grade it means."""

    key: str
    title: str
    grade: words.GradeShown
    chosen: bool


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit one may measure in; base = value × factor + offset."""

    key: str
    factor: str
    offset: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Measure:
    """The figure to record, its limit, and the sentence for each grade; numbers without a locale's comma."""

    unit: str
    unit_word: str
    units: tuple[Unit, ...]
    limit: str
    value: str
    direction: str
    minor: str
    bound: str
    dangerous: str
    least: str
    most: str
    says: tuple[tuple[str, str], ...]
    absurd: str


@dataclass(frozen=True, slots=True)
class Told:
    """What somebody said of a check, and when."""

    grade: words.GradeShown
    seen: Seen
    on: Day | None
    who: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PhotoShown:
    """Where a photo and its small copy are read."""

    picture: str
    thumbnail: str


@dataclass(frozen=True, slots=True)
class Check:
    """One check at one position."""

    anchor: str
    following: str
    previous: str
    number: str
    key: str
    position: str
    title: str
    method: str
    tool: str
    cautions: tuple[str, ...]
    source: str
    grades: tuple[Choice, ...]
    observations: tuple[Observed, ...]
    measure: Measure | None
    note: str
    reason: str
    reasons: tuple[Choice, ...]
    other_reason: str
    last: Told | None
    repeatable: bool
    now: Told | None
    also: tuple[Told, ...]
    recorded_ms: str
    same_as_last: bool
    photos: tuple[PhotoShown, ...]
    know_how: tuple[str, ...]
    faults: tuple[str, ...]


def check_shown(context: Context, check: WalkCheck, number: int, wrong: Mapping[str, Any] | None = None) -> Check:
    """The form of a check, filled with what is recorded, or with what was sent and could not be stored (`wrong`)."""
    place = check.check, check.position
    row, last = context.results.get(place), context.last.get(place)
    mine = wrong if wrong is not None and (wrong["check"], wrong["position"]) == place else None
    said = {**_said(context, row), **(mine or {})}
    reasons = _reasons(said["not_examined"])
    return Check(
        anchor=f"check-{number}",
        following=f"check-{number + 1}",
        previous=f"check-{number - 1}" if number > 1 else "station",
        number=context.figures.number(number),
        key=check.check,
        position=check.position,
        title=words.at_place(words.check(check.check), words.place(check.position)),
        method=check.method,
        tool=check.tool,
        cautions=tuple(caution.text for caution in check.cautions),
        source=check.source,
        grades=tuple(Choice(word, words.grade(word).word, said["grade"] == word) for word in GRADE_WORDS),
        observations=tuple(
            Observed(seen.key, seen.title, words.grade(seen.grade), seen.key in said["observations"])
            for seen in check.observations
        ),
        measure=_measure(context, check.measurement, said) if check.measurement else None,
        note=said["note"],
        reason=said["not_examined"],
        reasons=reasons,
        other_reason="" if any(reason.chosen for reason in reasons) else said["not_examined"],
        last=_told(context, last) if last else None,
        repeatable=row is None and last is not None and can_be_repeated(last),
        now=_told(context, row) if row else None,
        also=tuple(_told_else(context, entry) for entry in context.overruled.get(place, ())),
        recorded_ms=str(int(row.recorded_at.timestamp() * 1000)) if row and row.recorded_at else "",
        same_as_last=bool(row and row.same_as_last),
        photos=tuple(_photo(photo) for photo in context.photos.get(place, ())),
        know_how=context.know_how.get(check.check, ()),
        faults=tuple(mine["faults"]) if mine else (),
    )


def _photo(photo: "Photo") -> PhotoShown:
    address = f"/api/v1/fleets/{photo.fleet_id}/vehicles/{photo.vehicle_id}/photos/{photo.pk}/"
    return PhotoShown(f"{address}image/", f"{address}thumbnail/")


def _said(context: Context, row: "Result | None") -> dict[str, Any]:
    if row is None:
        return {"grade": "", "value": "", "unit": "", "observations": (), "note": "", "not_examined": ""}
    return {
        "grade": words.grade(row.grade).key,
        "value": "" if row.value is None else context.figures.measured(row.value, ""),
        "unit": "",
        "observations": row.observations,
        "note": row.note,
        "not_examined": row.not_examined,
    }


def _reasons(said: str) -> tuple[Choice, ...]:
    """The usual reasons for leaving a check out."""
    usual = (
        gettext("no access"),
        gettext("not fitted here"),
        gettext("seized"),
        gettext("no tool at hand"),
        gettext("no time"),
    )
    return tuple(Choice(reason, reason, reason == said) for reason in usual)


def _told(context: Context, row: "Result") -> Told:
    seen = seen_shown(
        context.figures,
        context.scheme,
        row.check_key,
        value=row.value,
        observations=row.observations,
        note=row.note,
    )
    return Told(words.grade(row.grade), seen, context.figures.day(row.inspection.inspected_on), "", row.not_examined)


def _told_else(context: Context, entry: "ResultEntry") -> Told:
    said = entry.said
    seen = seen_shown(
        context.figures,
        context.scheme,
        entry.check_key,
        value=said["value"],
        observations=said["observations"],
        note=said["note"],
    )
    day = context.figures.day(timezone.localdate(entry.recorded_at))
    who = context.people.get(entry.actor, gettext("another phone"))
    return Told(words.grade(said["grade"]), seen, day, who, said["not_examined"])


def _measure(context: Context, reading: Reading, said: Mapping[str, Any]) -> Measure:
    figures, unit = context.figures, reading.unit
    limit = figures.measured(reading.limit, unit)
    chosen = said["unit"] or unit
    bounds = {"least": figures.measured(reading.least, ""), "most": figures.measured(reading.most, unit)}
    return Measure(
        unit=unit,
        unit_word=words.told(unit),
        units=tuple(_unit(key, unit, chosen) for key in _units(unit, context.scheme)),
        limit=_limit_text(reading, limit),
        value=said["value"],
        direction=reading.direction,
        minor=repr(reading.minor),
        bound=repr(reading.limit),
        dangerous="" if reading.dangerous is None else repr(reading.dangerous),
        least=repr(reading.least),
        most=repr(reading.most),
        says=_says(limit),
        absurd=gettext("Cannot be true: it lies between %(least)s and %(most)s.") % bounds,
    )


def _limit_text(reading: Reading, limit: str) -> str:
    if reading.direction == "falls":
        return pgettext("a limit that a figure must not fall below", "at least %(limit)s") % {"limit": limit}
    return pgettext("a limit that a figure must not rise above", "at most %(limit)s") % {"limit": limit}


def _says(limit: str) -> tuple[tuple[str, str], ...]:
    known = {"limit": limit}
    return (
        ("sound", gettext("Sound, within the limit of %(limit)s.") % known),
        ("minor", gettext("Minor: within the limit of %(limit)s, but time to plan.") % known),
        ("major", gettext("Major: beyond the limit of %(limit)s.") % known),
        ("dangerous", gettext("Dangerous: far beyond the limit of %(limit)s. Do not drive.") % known),
    )


def _units(unit: str, scheme: str) -> tuple[str, ...]:
    """What gauges show: pressure in any unit everywhere, inches and degrees Fahrenheit where they are at home."""
    if unit == "bar":
        return tuple(TO_BASE[unit])
    if scheme == "us":
        return ("°C", "°F") if unit == "°C" else tuple(TO_BASE.get(unit, {}))
    return ()


def _unit(key: str, unit: str, chosen: str) -> Unit:
    if key == "°F":
        return Unit(key, repr(1 / 1.8), repr(-32 / 1.8), key == chosen)
    factor = 1.0 if key == unit else float(TO_BASE[unit][key])
    return Unit(key, repr(factor), "0", key == chosen)
