"""A vehicle as a line of the fleet's list and as the head of its own page."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext, ngettext

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.web.presenters.rule import Rule, rule

if TYPE_CHECKING:
    from fleetcare.fleet.models import Standing, Vehicle

SOON = timedelta(days=30)
"""A due day this near is told as such."""


@dataclass(frozen=True, slots=True)
class ScoreShown:
    """A score with its interval and what it rests on, as text and on the rule."""

    value: str
    low: str
    high: str
    coverage: str
    rule: Rule


@dataclass(frozen=True, slots=True)
class DueShown:
    """What is due next."""

    what: str
    on: Day
    state: str
    """ "overdue", "soon" or "later"."""
    state_word: str


@dataclass(frozen=True, slots=True)
class VehicleShown:
    """One vehicle and where it stands. `score` is None and `grade` "not examined" until somebody has looked."""

    id: uuid.UUID
    name: str
    plate: str
    vin: str
    model: str
    first_used: Day | None
    archived: bool
    note: str
    odometer: str
    odometer_on: Day | None
    do_not_drive: bool
    score: ScoreShown | None
    grade: words.GradeShown
    findings: str
    money: str
    jobs: str
    due: DueShown | None
    inspected: Day | None
    being_assessed: bool


def vehicle_shown(figures: Figures, vehicle: "Vehicle", today: date) -> VehicleShown:
    """The vehicle with its stored standing."""
    standing = vehicle.standing
    examined = standing.inspected_on is not None
    return VehicleShown(
        id=vehicle.pk,
        name=vehicle.name,
        plate=vehicle.plate,
        vin=vehicle.vin,
        model=" ".join(str(word) for word in (vehicle.make, vehicle.model, vehicle.model_year) if word),
        first_used=figures.day(vehicle.first_used_on),
        archived=vehicle.archived,
        note=vehicle.note,
        odometer="" if standing.odometer_km is None else figures.distance(standing.odometer_km),
        odometer_on=figures.day(standing.odometer_on),
        do_not_drive=standing.do_not_drive,
        score=_score(figures, standing) if examined else None,
        grade=words.grade(standing.worst_grade if examined else None),
        findings=_findings(standing.open_findings) if examined else "",
        money=figures.money(standing.backlog_cost_minor) if standing.backlog_jobs else "",
        jobs=_jobs(standing.backlog_jobs),
        due=_due(figures, standing, today),
        inspected=figures.day(standing.inspected_on),
        being_assessed=standing.revision != standing.assessed_revision,
    )


def _score(figures: Figures, standing: "Standing") -> ScoreShown | None:
    if standing.score is None or standing.score_low is None or standing.score_high is None:
        return None
    return score_shown(figures, standing.score, standing.score_low, standing.score_high, standing.coverage_fraction)


def score_shown(figures: Figures, score: float, low: float, high: float, coverage_fraction: float) -> ScoreShown:
    """A score in whole points; more digits would promise more than the interval allows."""
    return ScoreShown(
        value=figures.number(score),
        low=figures.number(low),
        high=figures.number(high),
        coverage=figures.percent(coverage_fraction),
        rule=rule(score, low, high),
    )


def _findings(count: int) -> str:
    if not count:
        return gettext("no open finding")
    return ngettext("%(count)d open finding", "%(count)d open findings", count) % {"count": count}


def _jobs(count: int) -> str:
    return ngettext("%(count)d job", "%(count)d jobs", count) % {"count": count} if count else ""


def _due(figures: Figures, standing: "Standing", today: date) -> DueShown | None:
    on = figures.day(standing.next_due_on)
    if on is None or standing.next_due_on is None:
        return None
    left = standing.next_due_on - today
    if left < timedelta(0):
        return DueShown(words.told(standing.next_due_what), on, "overdue", gettext("overdue"))
    if left <= SOON:
        return DueShown(words.told(standing.next_due_what), on, "soon", gettext("soon"))
    return DueShown(words.told(standing.next_due_what), on, "later", "")
