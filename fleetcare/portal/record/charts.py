"""What is drawn of a vehicle's record: score, fuel and spend over time; each also in words and as a table."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from django.utils.translation import gettext

from fleetcare.portal.charts.drawing import Axis, Chart, Label, Line, drawn
from fleetcare.portal.charts.ticks import day_ticks, round_ticks
from fleetcare.portal.record.spend import spend_chart
from inspections.core.fuel import FuelFills
from inspections.services.fuel import FuelUse, use_of

if TYPE_CHECKING:
    from fleetcare.portal.record.series import Fill, ScoreThen, Series
    from fleetcare.portal.web.presenters.figures import Figures

MOST_ROWS = 24
MOST_DOTS = 60
"""So many figures stand in a table, the latest; the drawing has all."""
MOST_DAY_TICKS = 4
_LEAST_SPAN_DAYS = 30
_FUEL_FLOOR, _FUEL_ROOM = 0.8, 1.15
"""How far below the least and above the most burnt the drawing goes: a rise of a tenth must be seen."""


@dataclass(frozen=True, slots=True)
class ChartShown:
    """A chart with its words and its table, whose first row names the columns."""

    key: str
    title: str
    told: str
    svg: str
    rows: tuple[tuple[str, ...], ...]


def charts_of(figures: "Figures", series: "Series", today: date) -> list[ChartShown]:
    """The charts there is something to draw for."""
    found = [
        score_chart(figures, series.scores),
        fuel_chart(figures, series.fills),
        spend_chart(figures, series, today),
    ]
    return [ChartShown(each.key, each.title, each.description, drawn(each), each.rows) for each in found if each]


def score_chart(figures: "Figures", scores: "Sequence[ScoreThen]") -> Chart | None:
    """The score with its band; nothing before it has been reckoned on two days."""
    if len(scores) < 2:
        return None
    points = [(float(each.on.toordinal()), each) for each in scores]
    first, last = scores[0], scores[-1]
    told = gettext(
        "From %(first)s on %(start)s to %(last)s on %(end)s, of 100. The band is where it may truly lie."
    ) % {
        "first": figures.number(first.score),
        "start": figures.day(first.on),
        "last": figures.number(last.score),
        "end": figures.day(last.on),
    }
    upper = [(x, each.high) for x, each in points]
    lower = [(x, each.low) for x, each in reversed(points)]
    line = tuple((x, each.score) for x, each in points)
    rows = [
        (str(figures.day(each.on)), figures.number(each.score), _between(figures, each.low, each.high))
        for each in reversed(scores[-MOST_ROWS:])
    ]
    return Chart(
        key="score-history",
        title=gettext("Score"),
        description=told,
        x=days_axis(figures, first.on, last.on),
        y=Axis(
            0.0, 110.0, tuple((float(mark), figures.number(mark)) for mark in (0, 25, 50, 75, 100)), gettext("of 100")
        ),
        areas=(tuple(upper + lower),),
        lines=(Line(line, "measured"),),
        dots=line if len(line) <= MOST_DOTS else (),
        rows=((gettext("Day"), gettext("Score"), gettext("Between")), *rows),
    )


def _between(figures: "Figures", low: float, high: float) -> str:
    return gettext("%(low)s to %(high)s") % {"low": figures.number(low), "high": figures.number(high)}


def days_axis(figures: "Figures", first: date, last: date) -> Axis:
    """Days from the first to the last, marked by months; a short span is drawn wider than it is."""
    low, high = first.toordinal(), max(last.toordinal(), first.toordinal() + _LEAST_SPAN_DAYS)
    marks = day_ticks(first, date.fromordinal(high), MOST_DAY_TICKS)
    return Axis(float(low), float(high), tuple((float(day.toordinal()), figures.month(day)) for day in marks), "")


def fuel_chart(figures: "Figures", fills: "tuple[Fill, ...]") -> Chart | None:
    """What it burns from one full tank to the next, and a lasting rise; nothing before there are two such spans."""
    use = _use(fills)
    if len(use.intervals.vehicle) < 2:
        return None
    points = tuple(zip(use.intervals.to_day.tolist(), use.intervals.litres_per_100_km.tolist(), strict=True))
    told, lines, labels = _levels(figures, use, points)
    axis = days_axis(figures, date.fromordinal(int(points[0][0])), date.fromordinal(int(points[-1][0])))
    burnt = [value for _day, value in points]
    low, top = float(math.floor(min(burnt) * _FUEL_FLOOR)), max(burnt) * _FUEL_ROOM
    marks = tuple((mark, figures.number(mark, 1)) for mark in round_ticks(low, top, 6))
    return Chart(
        key="fuel",
        title=gettext("Fuel"),
        description=told,
        x=axis,
        y=Axis(low, top, marks, gettext("L/100 km")),
        lines=(Line(points, "measured"), *lines),
        dots=points if len(points) <= MOST_DOTS else (),
        labels=labels,
        rows=_fuel_rows(figures, use),
    )


@lru_cache(maxsize=512)
def _use(fills: "tuple[Fill, ...]") -> FuelUse:
    """What these fills say; kept, since they change once in a fortnight and are looked at more often."""
    return use_of(
        FuelFills(
            vehicle=np.zeros(len(fills), dtype=np.int64),
            day=np.array([fill.on.toordinal() for fill in fills], dtype=np.float64),
            odometer_km=np.array([np.nan if fill.total_km is None else fill.total_km for fill in fills], dtype=float),
            litres=np.array([fill.litres for fill in fills], dtype=np.float64),
            # Where nobody read the odometer the fill ends no interval, full or not.
            full=np.array([fill.full and fill.total_km is not None for fill in fills], dtype=np.bool_),
            missed_before=np.array([fill.missed_before for fill in fills], dtype=np.bool_),
        ),
        1,
    )


def _levels(figures: "Figures", use: FuelUse, points: tuple[tuple[float, float], ...]) -> tuple[str, Any, Any]:
    """In words what it usually burns and whether that has risen, and the lines of both levels."""
    trend, start, end = use.trend, points[0][0], points[-1][0]
    usual, recent = (float(each[0]) for each in (trend.expected_litres_per_100_km, trend.recent_litres_per_100_km))
    if np.isnan(usual):
        return gettext("Too few full tanks to say what it usually burns."), (), ()
    told = gettext("Usually %(usual)s L/100 km.") % {"usual": figures.number(usual, 1)}
    if not trend.rise_standing[0]:
        return told, (Line(((start, usual), (end, usual)), "expected"),), ()
    since, size = float(trend.rise_since_day[0]), trend.rise_fraction
    facts = {
        "share": figures.percent(float(size.median[0])),
        "low": figures.percent(float(size.low[0])),
        "high": figures.percent(float(size.high[0])),
        "day": figures.day(date.fromordinal(int(since))),
    }
    rise = gettext("It has risen by %(share)s since %(day)s (8 in 10: %(low)s to %(high)s).") % facts
    lines = (
        Line(((start, usual), (since, usual)), "expected"),
        Line(((since, recent), (end, recent)), "limit"),
    )
    return f"{told} {rise}", lines, (Label((since, recent), gettext("+%(share)s") % facts, "end"),)


def _fuel_rows(figures: "Figures", use: FuelUse) -> tuple[tuple[str, ...], ...]:
    intervals = use.intervals
    spans = range(len(intervals.vehicle) - 1, max(len(intervals.vehicle) - 1 - MOST_ROWS, -1), -1)
    rows = [
        (
            str(figures.day(date.fromordinal(int(intervals.to_day[row])))),
            figures.distance(float(intervals.distance_km[row])),
            figures.measured(round(float(intervals.litres[row]), 1), "L"),
            figures.number(float(intervals.litres_per_100_km[row]), 1),
        )
        for row in spans
    ]
    return ((gettext("Full on"), gettext("Distance"), gettext("Filled"), gettext("L/100 km")), *rows)
