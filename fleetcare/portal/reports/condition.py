"""Everything a condition report says about one vehicle, in the reader's words: the same for page and PDF."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Max
from django.utils.translation import gettext, ngettext

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.portal.reports.history import FittedShown, ScoreHistory, fitted_shown, score_history_shown
from fleetcare.portal.reports.judged import how_it_was_judged
from fleetcare.portal.reports.wear import WearShown, wear_shown
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.backlog import BacklogShown, JobShown, backlog_shown
from fleetcare.portal.web.presenters.condition import ConditionShown, condition_shown
from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.web.presenters.inspections import (
    FindingShown,
    InspectionShown,
    NotExamined,
    findings_shown,
    inspection_shown,
    results_shown,
)
from fleetcare.portal.web.presenters.vehicles import VehicleShown, vehicle_shown
from inspections import selectors
from inspections.services.assessment import current_condition
from inspections.services.forecast import part_forecasts
from inspections.words import InspectionState, PhotoOf
from scheduling.services.backlog import current_backlog

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle
    from inspections.models import Finding, Inspection, Photo

Json = dict[str, Any]

MOST_CHARTS = 8
"""Measured parts that are drawn; all of them stand in the table."""
MOST_CHANCES = 10
LEAST_CHANCE_FRACTION = 0.01
PHOTOS_A_FINDING = 3
PHOTOS_OF_THE_VEHICLE = 2
MOST_PHOTOS = 60
"""In one report, so that neither a page nor a file grows without bound."""
LAST_INSPECTIONS = 20
MOST_JOBS = 12
_PAPERS = "documents"
"""A system of things that run out rather than fail."""


@dataclass(frozen=True, slots=True)
class PhotoShown:
    """A photo and what it shows in words."""

    id: uuid.UUID
    file: str
    """The name under which its small copy is kept."""
    what: str
    note: str


@dataclass(frozen=True, slots=True)
class ReportFinding:
    """A finding with its photos."""

    finding: FindingShown
    photos: tuple[PhotoShown, ...]


@dataclass(frozen=True, slots=True)
class NeverSeen:
    """Parts of one system that nobody has examined; `safety` says that one of them is a safety part."""

    system: str
    parts: str
    count: str
    safety: str


@dataclass(frozen=True, slots=True)
class Chance:
    """A part that may fail within a year, as far as anybody can tell."""

    title: str
    grade: words.GradeShown
    chance: str
    expected: str


@dataclass(frozen=True, slots=True)
class Report:
    """The report. Lists are empty and texts are "" where there is nothing to tell."""

    fleet: str
    made_on: Day
    vehicle: VehicleShown
    pictures: tuple[PhotoShown, ...]
    condition: ConditionShown
    cautions: tuple[str, ...]
    findings: tuple[ReportFinding, ...]
    jobs: BacklogShown
    jobs_lead: str
    first_jobs: tuple[JobShown, ...]
    more_jobs: str
    examined: str
    """How much of the vehicle was examined ever."""
    never_seen: tuple[NeverSeen, ...]
    refused: tuple[NotExamined, ...]
    """What the last inspection left out, with the reasons."""
    usage: str
    wear: tuple[WearShown, ...]
    charts: tuple[WearShown, ...]
    chances: tuple[Chance, ...]
    score: ScoreHistory | None
    inspections: tuple[InspectionShown, ...]
    fitted: tuple[FittedShown, ...]
    judged: tuple[str, ...]
    disclaimer: str


def condition_report(access: Access, vehicle: "Vehicle") -> Report:
    """The report of a vehicle (with its standing), as of today where the fleet is; a fixed number of queries."""
    figures, on, fleet = Figures.of(access.fleet), today(access.fleet), access.fleet
    open_findings = list(selectors.open_findings(access, vehicle))
    looks = selectors.looks_at(vehicle, open_findings)
    findings = findings_shown(figures, fleet.limit_scheme, open_findings, looks, on)
    document, backlog = current_condition(access, vehicle), current_backlog(access, vehicle)
    condition = condition_shown(figures, document, findings, examined=vehicle.standing.inspected_on is not None)
    forecast = part_forecasts(access, vehicle)
    fitted = list(selectors.fitted_parts(vehicle))
    in_service = {(row.part_key, row.position): row.fitted_on for row in fitted if row.removed_on is None}
    wear = wear_shown(figures, forecast, selectors.measured_values(vehicle), in_service)
    jobs = backlog_shown(figures, backlog, on)
    inspections = _inspections(vehicle)
    photos = list(_photos(vehicle, open_findings))
    return Report(
        fleet=fleet.name,
        made_on=figures.day(on) or Day("", ""),
        vehicle=vehicle_shown(figures, vehicle, on),
        pictures=_pictures(photos),
        condition=condition,
        cautions=_cautions(jobs, vehicle),
        findings=_with_photos(open_findings, findings, photos),
        jobs=jobs,
        jobs_lead=_jobs_lead(jobs),
        first_jobs=jobs.items[:MOST_JOBS],
        more_jobs=_more(len(jobs.items) - MOST_JOBS),
        examined=_examined(forecast["items"]),
        never_seen=_never_seen(forecast["items"]),
        refused=_refused(figures, fleet.limit_scheme, inspections),
        usage=_usage(figures, forecast["usage"]),
        wear=tuple(wear),
        charts=tuple(wear[:MOST_CHARTS]),
        chances=_chances(figures, forecast["items"]),
        score=score_history_shown(figures, list(selectors.score_history(vehicle))),
        inspections=tuple(inspection_shown(figures, row, row.entered, row.worst_grade) for row in inspections),
        fitted=tuple(fitted_shown(figures, fitted)),
        judged=how_it_was_judged(figures, fleet.limit_scheme, document, inspections),
        disclaimer=words.told(document["disclaimer"]),
    )


def _inspections(vehicle: "Vehicle") -> list[Any]:
    """Completed inspections, the latest first, with how much was entered and the worst of it."""
    rows = selectors.inspections(vehicle).filter(state=InspectionState.COMPLETED)
    counted = rows.annotate(entered=Count("results"), worst_grade=Max("results__grade"))
    return list(counted.order_by("-inspected_on", "-id")[:LAST_INSPECTIONS])


def _photos(vehicle: "Vehicle", findings: "Iterable[Finding]") -> "Iterable[Photo]":
    """Photos of the vehicle as a whole and of what its open findings saw; one query."""
    seen_in = {finding.seen_in_id for finding in findings}
    rows = selectors.photos(vehicle)
    return (rows.filter(subject_kind=PhotoOf.VEHICLE) | rows.filter(inspection__in=seen_in)).order_by("-created_at")


def photo_in_report(access: Access, vehicle: "Vehicle", photo_id: uuid.UUID) -> "Photo":
    """A photo that the report of the vehicle may show; raises NotFound for any other."""
    photo = selectors.photos(vehicle).one(pk=photo_id)
    if photo.subject_kind == PhotoOf.VEHICLE:
        return photo
    findings = selectors.open_findings(access, vehicle).filter(seen_in=photo.inspection_id)
    findings.one(check_key=photo.check_key, position=photo.position)
    return photo


def _photo(photo: "Photo", what: str) -> PhotoShown:
    return PhotoShown(photo.pk, photo.thumbnail, what, photo.note)


def _pictures(photos: "Sequence[Photo]") -> tuple[PhotoShown, ...]:
    whole = [photo for photo in photos if photo.subject_kind == PhotoOf.VEHICLE]
    return tuple(_photo(photo, gettext("The vehicle")) for photo in whole[:PHOTOS_OF_THE_VEHICLE])


def _with_photos(
    rows: "Sequence[Finding]", shown: Sequence[FindingShown], photos: "Sequence[Photo]"
) -> tuple[ReportFinding, ...]:
    by_look: dict[Any, list[Photo]] = {}
    for photo in photos:
        by_look.setdefault((photo.inspection_id, photo.check_key, photo.position), []).append(photo)
    found, left = [], MOST_PHOTOS
    for row, finding in zip(rows, shown, strict=True):
        mine = by_look.get((row.seen_in_id, row.check_key, row.position), [])[: min(PHOTOS_A_FINDING, left)]
        left -= len(mine)
        found.append(ReportFinding(finding, tuple(_photo(photo, finding.title) for photo in mine)))
    return tuple(found)


def _cautions(jobs: BacklogShown, vehicle: "Vehicle") -> tuple[str, ...]:
    """What can hurt whoever works on what was found; high voltage always where there is any."""
    listed = [caution for job in jobs.items for caution in job.cautions]
    catalogue = words.catalogue()
    if vehicle.traits.get("fuel") in {"hybrid", "electric"}:
        listed.insert(0, catalogue.cautions["high-voltage"].text)
    return tuple(dict.fromkeys(listed))


def _jobs_lead(jobs: BacklogShown) -> str:
    return gettext(
        "All of it: %(cost)s and %(hours)s, with shared dismantling counted once. Ranked by what each job saves for "
        "what it costs; what must be done before driving comes first."
    ) % {"cost": jobs.total_cost, "hours": jobs.total_hours}


def _more(count: int) -> str:
    if count <= 0:
        return ""
    return ngettext("and %(count)d more", "and %(count)d more", count) % {"count": count}


def _examined(items: Sequence[Json]) -> str:
    seen = sum(item["grade"] is not None for item in items)
    return gettext(
        "%(seen)d of %(all)d parts of this vehicle have been examined at least once or are known to be new."
    ) % {
        "seen": seen,
        "all": len(items),
    }


def _never_seen(items: Iterable[Json]) -> tuple[NeverSeen, ...]:
    """By system in the catalogue's order, the places of one part told together."""
    catalogue = words.catalogue()
    by_system: dict[str, dict[str, list[str]]] = {key: {} for key in catalogue.systems}
    for item in items:
        if item["grade"] is None:
            parts = by_system[catalogue.system_of_part[item["part"]]]
            parts.setdefault(item["part"], []).append(item["position"] or "")
    return tuple(_never(key, parts) for key, parts in by_system.items() if parts)


def _never(system: str, parts: Mapping[str, list[str]]) -> NeverSeen:
    catalogue = words.catalogue()
    told = [words.at_place(catalogue.parts[key].title, words.places(at)) for key, at in parts.items()]
    safety = [catalogue.parts[key].title for key in parts if catalogue.parts[key].safety]
    count = sum(len(at) for at in parts.values())
    return NeverSeen(
        system=words.system(system),
        parts="; ".join(told),
        count=ngettext("%(count)d part", "%(count)d parts", count) % {"count": count},
        safety=gettext("safety parts among them") if safety else "",
    )


def _refused(figures: Figures, scheme: str, inspections: "Sequence[Inspection]") -> tuple[NotExamined, ...]:
    if not inspections:
        return ()
    return results_shown(figures, scheme, selectors.results_not_examined(inspections[0])).not_examined


def _usage(figures: Figures, usage: Json) -> str:
    if usage["readings"] < 2:
        return gettext("Its use is not known yet: there are fewer than two odometer readings. Typical use is assumed.")
    band = usage["km_per_year"]
    return gettext("It is driven about %(distance)s a year (between %(low)s and %(high)s).") % {
        "distance": figures.distance(band["expected"], step=100),
        "low": figures.distance(band["low"], step=100),
        "high": figures.distance(band["high"], step=100),
    }


def _chances(figures: Figures, items: Iterable[Json]) -> tuple[Chance, ...]:
    """Parts judged by eye or not seen at all, the likeliest to fail within a year first."""
    catalogue = words.catalogue()
    moving = [item for item in items if catalogue.system_of_part[item["part"]] != _PAPERS]
    ranked = sorted(moving, key=lambda item: (-item["failure_chance_next_year_fraction"], item["part"]))
    named = [item for item in ranked if item["failure_chance_next_year_fraction"] >= LEAST_CHANCE_FRACTION]
    return tuple(_chance(figures, item) for item in named[:MOST_CHANCES])


def _chance(figures: Figures, item: Json) -> Chance:
    expected = figures.day(item["fails"]["expected"])
    return Chance(
        title=words.at_place(words.told(item["title"]), words.place(item["position"])),
        grade=words.grade(item["grade"]),
        chance=figures.percent(item["failure_chance_next_year_fraction"]),
        expected=str(expected) if expected else "",
    )
