"""What was done and seen over the years: the score, the looks, the parts that were fitted."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.utils.translation import gettext, pgettext

from fleetcare.portal.charts.drawing import Axis, Chart, Line, drawn
from fleetcare.portal.charts.ticks import day_ticks
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from inspections.words import Removal

if TYPE_CHECKING:
    from inspections.models import FittedPart, ScorePoint

MOST_PARTS = 40
MOST_POINTS_LISTED = 24


@dataclass(frozen=True, slots=True)
class ScoreHistory:
    """The score over time as a chart and as its table."""

    svg: str
    told: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class FittedShown:
    """A part from when it was fitted until it came off."""

    title: str
    what: str
    fitted: str
    removed: str


def score_history_shown(figures: Figures, points: "Sequence[ScorePoint]") -> ScoreHistory | None:
    """The score's history; None where there are no two days to compare."""
    if len(points) < 2:
        return None
    first, last = points[0], points[-1]
    told = gettext(
        "From %(first)s on %(first_day)s to %(last)s on %(last_day)s; the band holds with 80% confidence."
    ) % {
        "first": figures.number(first.score),
        "first_day": figures.day(first.as_of),
        "last": figures.number(last.score),
        "last_day": figures.day(last.as_of),
    }
    chart = _score_chart(figures, points, told)
    return ScoreHistory(drawn(chart), told, chart.rows)


def _score_chart(figures: Figures, points: "Sequence[ScorePoint]", told: str) -> Chart:
    first, last = points[0].as_of, points[-1].as_of
    ticks = tuple((float(day.toordinal()), figures.month(day)) for day in day_ticks(first, last, 5))
    upper = tuple((float(point.as_of.toordinal()), point.score_high) for point in points)
    lower = tuple((float(point.as_of.toordinal()), point.score_low) for point in points)
    line = tuple((float(point.as_of.toordinal()), point.score) for point in points)
    return Chart(
        key="score-history",
        title=gettext("Condition score over time"),
        description=told,
        x=Axis(float(first.toordinal()), float(last.toordinal()), ticks, ""),
        y=Axis(
            0.0, 100.0, tuple((float(value), figures.number(value)) for value in range(0, 101, 25)), gettext("score")
        ),
        areas=((*upper, *reversed(lower)),),
        lines=(Line(line, "measured"),),
        rows=_score_rows(figures, points),
    )


def _score_rows(figures: Figures, points: "Sequence[ScorePoint]") -> tuple[tuple[str, ...], ...]:
    """Evenly thinned where there are very many days."""
    every = -(-len(points) // MOST_POINTS_LISTED)
    chosen = [*points[:-1:every], points[-1]]
    head = (gettext("Day"), gettext("Score"), gettext("Between"), gettext("Rests on"))
    return (
        head,
        *(
            (
                str(figures.day(point.as_of)),
                figures.number(point.score),
                gettext("%(low)s and %(high)s")
                % {"low": figures.number(point.score_low), "high": figures.number(point.score_high)},
                figures.percent(point.coverage_fraction),
            )
            for point in chosen
        ),
    )


def fitted_shown(figures: Figures, rows: "Iterable[FittedPart]") -> list[FittedShown]:
    """Recorded parts, the latest fitted first, those that came off too."""
    dated = sorted(rows, key=lambda row: (row.fitted_on or date.min, row.part_key, row.position), reverse=True)
    return [_fitted(figures, row) for row in dated[:MOST_PARTS]]


def _fitted(figures: Figures, row: "FittedPart") -> FittedShown:
    entry = words.catalogue().parts.get(row.part_key)
    return FittedShown(
        title=words.at_place(entry.title if entry else row.part_key, words.place(row.position)),
        what=figures.listed(text for text in (row.description, row.part_number) if text),
        fitted=_event(figures, row.fitted_on, row.fitted_total_km) or gettext("as bought"),
        removed=_removed(figures, row),
    )


def _removed(figures: Figures, row: "FittedPart") -> str:
    if row.removed_on is None:
        return gettext("in service")
    when = _event(figures, row.removed_on, row.removed_total_km)
    why = {
        Removal.FAILED: gettext("failed"),
        Removal.WORN_OUT: gettext("worn out"),
        Removal.RENEWED_EARLY: gettext("renewed early"),
    }.get(Removal(row.removal or Removal.UNKNOWN), gettext("reason not recorded"))
    return pgettext("when a part came off, and why", "%(when)s, %(why)s") % {"when": when, "why": why}


def _event(figures: Figures, on: date | None, km: object) -> str:
    day: Day | None = figures.day(on)
    if day is None:
        return ""
    return f"{day}, {figures.distance(float(str(km)))}" if km is not None else str(day)
