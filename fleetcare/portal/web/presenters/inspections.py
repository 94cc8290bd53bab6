"""Inspections, their results as recorded, and the findings that stay open."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext, ngettext

from fleetcare.kernel.grades import Grade
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from inspections.catalogue.grading import governing_limit
from inspections.catalogue.loader import default_catalogue
from inspections.words import InspectionState

if TYPE_CHECKING:
    from inspections.models import Finding, Inspection, Result

Look = tuple[uuid.UUID, str, str]
"""An inspection, a check and a position."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a result says beside its grade."""

    measured: str
    limit: str
    observations: tuple[str, ...]
    note: str


NOTHING_SEEN = Seen("", "", (), "")


@dataclass(frozen=True, slots=True)
class FindingShown:
    """An open defect."""

    title: str
    grade: words.GradeShown
    seen: Seen
    seen_on: Day | None
    seen_in: uuid.UUID
    opened_on: Day | None
    deferred_until: Day | None
    deferred_because: str


@dataclass(frozen=True, slots=True)
class ResultShown:
    """One result as it was recorded."""

    title: str
    grade: words.GradeShown
    seen: Seen


@dataclass(frozen=True, slots=True)
class NotExamined:
    """What was left out for one reason."""

    reason: str
    results: tuple[ResultShown, ...]


@dataclass(frozen=True, slots=True)
class SystemResults:
    """The results on one system."""

    title: str
    results: tuple[ResultShown, ...]


@dataclass(frozen=True, slots=True)
class InspectionShown:
    """One look at the vehicle; the counts are empty where there is nothing to count."""

    id: uuid.UUID
    on: Day | None
    sheet: str
    odometer: str
    inspector: str
    note: str
    trouble_codes: tuple[str, ...]
    draft: bool
    checks: str
    grade: words.GradeShown


def inspection_shown(figures: Figures, row: "Inspection", results: int, worst_grade: int | None) -> InspectionShown:
    """An inspection with how many checks were entered and the worst grade among them."""
    return InspectionShown(
        id=row.pk,
        on=figures.day(row.inspected_on),
        sheet=words.sheet(row.sheet),
        odometer=figures.distance(row.reading.shown_km),
        inspector=row.inspector,
        note=row.note,
        trouble_codes=tuple(row.trouble_codes),
        draft=row.state == InspectionState.DRAFT,
        checks=ngettext("%(count)d check", "%(count)d checks", results) % {"count": results},
        grade=words.grade(worst_grade),
    )


def findings_shown(
    figures: Figures, scheme: str, findings: Iterable["Finding"], looks: Mapping[Look, Mapping[str, Any]], today: date
) -> list[FindingShown]:
    """Open findings with what the last look at each of them saw (`looks`: value, observations, note)."""
    return [_finding(figures, scheme, row, looks, today) for row in findings]


def _finding(
    figures: Figures, scheme: str, row: "Finding", looks: Mapping[Look, Mapping[str, Any]], today: date
) -> FindingShown:
    look = looks.get((row.seen_in_id, row.check_key, row.position))
    put_off = row.deferred_until is not None and row.deferred_until > today
    return FindingShown(
        title=_title([row]),
        grade=words.grade(row.grade),
        seen=seen_shown(figures, scheme, row.check_key, **look) if look else NOTHING_SEEN,
        seen_on=figures.day(row.seen_on),
        seen_in=row.seen_in_id,
        opened_on=figures.day(row.opened_on) if row.opened_on != row.seen_on else None,
        deferred_until=figures.day(row.deferred_until) if put_off else None,
        deferred_because=row.deferred_because if put_off else "",
    )


def seen_shown(
    figures: Figures, scheme: str, check_key: str, *, value: float | None, observations: Iterable[str], note: str
) -> Seen:
    entry = default_catalogue().checks.get(check_key)
    measured = entry.check.measurement if entry else None
    texts = tuple(words.observations(check_key, observations))
    if value is None or measured is None:
        return Seen("" if value is None else figures.measured(value, ""), "", texts, note)
    limit = governing_limit(measured, scheme)
    return Seen(
        measured=figures.measured(value, measured.unit),
        limit=gettext("limit %(value)s") % {"value": figures.measured(limit.value, measured.unit)},
        observations=texts,
        note=note,
    )


@dataclass(frozen=True, slots=True)
class ResultsShown:
    """The results of an inspection: defects worst first, what was not examined, and what was sound by system."""

    summary: str
    defects: tuple[ResultShown, ...]
    not_examined: tuple[NotExamined, ...]
    unexamined: words.GradeShown
    """The mark of what was not examined."""
    sound: tuple[SystemResults, ...]
    sound_count: str


def results_shown(figures: Figures, scheme: str, rows: Iterable["Result"]) -> ResultsShown:
    """Results in the order of the catalogue's systems."""
    order = {key: index for index, key in enumerate(default_catalogue().systems)}
    ranked = sorted(rows, key=lambda row: (order.get(words.system_of_check(row.check_key), len(order)), row.check_key))
    defects = sorted((row for row in ranked if row.grade), key=lambda row: -(row.grade or 0))
    missing = [row for row in ranked if row.grade is None]
    sound = [row for row in ranked if row.grade == Grade.SOUND]
    return ResultsShown(
        summary=_summary(figures, len(defects), len(sound), len(missing)),
        defects=tuple(_result(figures, scheme, row) for row in defects),
        not_examined=_by_reason(figures, scheme, missing),
        unexamined=words.grade(None),
        sound=_by_system(figures, scheme, sound),
        sound_count=figures.number(len(sound)),
    )


def _summary(figures: Figures, defects: int, sound: int, missing: int) -> str:
    parts = [
        ngettext("%(count)d defect", "%(count)d defects", defects) % {"count": defects},
        ngettext("%(count)d sound", "%(count)d sound", sound) % {"count": sound},
        ngettext("%(count)d not examined", "%(count)d not examined", missing) % {"count": missing},
    ]
    return figures.listed(parts)


def _result(figures: Figures, scheme: str, row: "Result") -> ResultShown:
    return ResultShown(
        title=_title([row]),
        grade=words.grade(row.grade),
        seen=seen_shown(figures, scheme, row.check_key, value=row.value, observations=row.observations, note=row.note),
    )


def _by_reason(figures: Figures, scheme: str, rows: Iterable["Result"]) -> tuple[NotExamined, ...]:
    groups: dict[str, list[ResultShown]] = {}
    for row in rows:
        groups.setdefault(row.not_examined, []).append(_result(figures, scheme, row))
    return tuple(NotExamined(reason, tuple(found)) for reason, found in groups.items())


def _by_system(figures: Figures, scheme: str, rows: Iterable["Result"]) -> tuple[SystemResults, ...]:
    groups: dict[str, list[ResultShown]] = {}
    for same in _told_alike(rows):
        shown = replace(_result(figures, scheme, same[0]), title=_title(same))
        groups.setdefault(words.system_of_check(same[0].check_key), []).append(shown)
    return tuple(SystemResults(words.system(key) or gettext("Other"), tuple(found)) for key, found in groups.items())


def _told_alike(rows: Iterable["Result"]) -> list[list["Result"]]:
    """Results that say the same of several places of one check, and nothing beside, together."""
    groups: dict[tuple[str, str], list[Result]] = {}
    for row in rows:
        says_more = row.value is not None or row.observations or row.note
        groups.setdefault((row.check_key, row.position if says_more else ""), []).append(row)
    return list(groups.values())


def _title(rows: "Sequence[Finding | Result]") -> str:
    return words.at_place(words.check(rows[0].check_key), words.places(row.position for row in rows))
