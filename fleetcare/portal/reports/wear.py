"""What a measured part will come to: its readings, the band of its wear, its limit; as a chart and in words."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext

from fleetcare.kernel.units import convert
from fleetcare.portal.charts.drawing import Axis, Chart, Label, Line, Point, drawn
from fleetcare.portal.charts.ticks import round_ticks
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from inspections.catalogue.loader import default_catalogue

if TYPE_CHECKING:
    from inspections.models import Result

Json = dict[str, Any]

FARTHEST_AHEAD_KM = 100_000.0
"""Wear is drawn no further ahead than this."""
_LEAST_AHEAD_KM = 2_000.0
_ROOM_ABOVE = 1.12


@dataclass(frozen=True, slots=True)
class WearShown:
    """One measured part. `rows` is the chart's table, its first row the names of the columns."""

    key: str
    title: str
    now: str
    limit: str
    at: str
    """The distance at which the limit is expected."""
    on: str
    between: str
    """The days before and after which it is unlikely; these three are "" where nothing is expected."""
    passed: bool
    """The limit is reached already."""
    question: str
    """A renewal that nobody recorded, asked about; empty mostly."""
    svg: str
    told: str
    """The chart in words."""
    rows: tuple[tuple[str, ...], ...]


def wear_shown(
    figures: Figures, forecast: Json, values: Iterable["Result"], fitted: Mapping[Any, Any]
) -> list[WearShown]:
    """Every measured part of the forecast (API: `forecast/`), the nearest to its limit first.

    `values` are results with figures and their inspections; `fitted` is the day each part in service was fitted, by
    part and position: what was measured before that was another part.
    """
    by_place: dict[tuple[str, str], list[Result]] = {}
    for row in values:
        by_place.setdefault((row.check_key, row.position), []).append(row)
    now_km = forecast["usage"]["odometer_now_km"]["expected"]
    found = []
    for item in forecast["items"]:
        if item["measured"] is not None:
            since = fitted.get((item["part"], item["position"] or ""))
            rows = by_place.get((item["measured"]["check"], item["position"] or ""), [])
            mine = [row for row in rows if since is None or row.inspection.inspected_on >= since]
            found.append((_urgency(item["measured"]), _shown(figures, item, mine, now_km)))
    return [shown for _, shown in sorted(found, key=lambda pair: (pair[0], pair[1].title))]


def _urgency(measured: Json) -> float:
    expected = measured["limit_at_km"]["expected"]
    return float("inf") if expected is None else float(expected)


def _shown(figures: Figures, item: Json, rows: "Sequence[Result]", now_km: float) -> WearShown:
    measured, unit = item["measured"], item["measured"]["unit"]
    title = words.at_place(words.check(measured["check"]), words.place(item["position"]))
    limit = figures.measured(measured["limit"], unit)
    expected, ahead = _expected(figures, measured), _is_ahead(measured)
    day, at_km = measured["limit_on"], measured["limit_at_km"]["expected"]
    now = _between(figures, _possible(measured), unit)
    told = gettext("Now about %(now)s; the limit is %(limit)s. %(expected)s") % {
        "now": now,
        "limit": limit,
        "expected": expected,
    }
    chart = _chart(figures, item, rows, now_km, title, told)
    renewal = measured["renewal_suspected"]
    return WearShown(
        key=chart.key,
        title=title,
        now=now,
        limit=limit,
        at=figures.distance(at_km, step=100) if ahead else "",
        on=str(figures.day(day["expected"])) if ahead else "",
        between=_days(figures, day) if ahead else "",
        passed=measured["limit_passed_fraction"] >= 0.5,
        question=renewal["question"] if renewal else "",
        svg=drawn(chart),
        told=told,
        rows=chart.rows,
    )


def _possible(measured: Json) -> Json:
    """The band of what it measures now, without figures that no gauge can show."""
    entry = default_catalogue().checks[measured["check"]].check.measurement
    band = measured["value_now"]
    if entry is None:
        return dict(band)
    return {key: min(max(band[key], entry.least), entry.most) for key in ("low", "expected", "high")}


def _between(figures: Figures, band: Json, unit: str) -> str:
    middle, low, high = (figures.measured(round(band[key], 1), unit) for key in ("expected", "low", "high"))
    return middle if low == high else gettext("%(middle)s (%(low)s to %(high)s)") % {
        "middle": middle,
        "low": low,
        "high": high,
    }  # fmt: skip


def _expected(figures: Figures, measured: Json) -> str:
    """When the limit is reached, in days and distance, with the band."""
    if measured["limit_passed_fraction"] >= 0.5:
        return gettext("The limit is reached.")
    day, at = measured["limit_on"], measured["limit_at_km"]
    if not _is_ahead(measured):
        return gettext("The limit is not expected within any time worth planning for.")
    sentence = gettext("The limit is expected at about %(distance)s, around %(day)s") % {
        "distance": figures.distance(at["expected"], step=100),
        "day": figures.day(day["expected"]),
    }
    between = _days(figures, day)
    return f"{sentence} ({between})." if between else f"{sentence}."


def _is_ahead(measured: Json) -> bool:
    """Whether the limit is not reached yet and will be, within a time worth planning for."""
    known = measured["limit_on"]["expected"] is not None and measured["limit_at_km"]["expected"] is not None
    return known and measured["limit_passed_fraction"] < 0.5


def _days(figures: Figures, day: Json) -> str:
    if day["low"] is None or day["high"] is None:
        return ""
    told = {"low": figures.day(day["low"]), "high": figures.day(day["high"])}
    return gettext("between %(low)s and %(high)s") % told


def _chart(figures: Figures, item: Json, rows: "Sequence[Result]", now_km: float, title: str, told: str) -> Chart:
    measured = item["measured"]
    seen = [(float(row.inspection.reading.total_km), float(row.value or 0.0)) for row in rows]
    end_km = _end_km(measured, now_km)
    start_km = min([km for km, _ in seen] or [now_km])
    ahead = measured["limit_passed_fraction"] < 0.5
    band, line = (_band(measured, now_km, end_km), _line(measured, now_km, end_km)) if ahead else ((), ())
    limit, unit = measured["limit"], measured["unit"]
    top = max([value for _, value in (*seen, *band)] + [limit]) * _ROOM_ABOVE or 1.0
    ticks = round_ticks(0.0, top, 5)
    return Chart(
        key=f"wear-{item['part']}-{item['position'] or 'only'}",
        title=title,
        description=told,
        x=_road(figures, start_km, max(end_km, start_km + 1.0)),
        y=Axis(0.0, top, tuple((value, figures.measured(value, "")) for value in ticks), unit),
        areas=(band,) if band else (),
        lines=(
            Line(((start_km, limit), (end_km, limit)), "limit"),
            Line(tuple(seen), "measured"),
            Line(line, "expected"),
        ),
        dots=tuple(seen),
        labels=(Label((start_km, limit), " " + gettext("limit %(value)s") % {"value": figures.measured(limit, unit)}),),
        rows=_rows(figures, rows, measured),
    )


def _road(figures: Figures, start_km: float, end_km: float) -> Axis:
    """The distance in the reader's unit, marked at round figures of it."""
    unit = figures.distance_unit
    per_unit = convert(1.0, unit, "km") or 1.0
    ticks = round_ticks(start_km / per_unit, end_km / per_unit, 5)
    return Axis(start_km, end_km, tuple((value * per_unit, figures.number(value)) for value in ticks), unit)


def _end_km(measured: Json, now_km: float) -> float:
    """How far the drawing goes: past the late end of the band, within reason."""
    known = [km for km in measured["limit_at_km"].values() if km is not None]
    farthest = max([*known, now_km + _LEAST_AHEAD_KM])
    return float(min(farthest, now_km + FARTHEST_AHEAD_KM))


def _line(measured: Json, now_km: float, end_km: float) -> tuple[Point, ...]:
    value, limit = measured["value_now"]["expected"], measured["limit"]
    return (now_km, value), _towards(now_km, value, measured["limit_at_km"]["expected"], limit, end_km)


def _band(measured: Json, now_km: float, end_km: float) -> tuple[Point, ...]:
    """From what the part may measure now to where it may reach its limit: the early side, then the late one back."""
    now, at, limit = measured["value_now"], measured["limit_at_km"], measured["limit"]
    near, far = (now["low"], now["high"]) if _falls(measured["check"], limit) else (now["high"], now["low"])
    return (
        (now_km, near),
        _towards(now_km, near, at["low"], limit, end_km),
        _towards(now_km, far, at["high"], limit, end_km),
        (now_km, far),
    )


def _towards(now_km: float, value: float, limit_at_km: float | None, limit: float, end_km: float) -> Point:
    """Where a straight way from now to the limit ends: at the limit, or at the edge of the drawing."""
    if limit_at_km is None:
        return end_km, value
    if limit_at_km <= end_km:
        return max(limit_at_km, now_km), limit
    return end_km, value + (limit - value) * (end_km - now_km) / (limit_at_km - now_km)


def _rows(figures: Figures, rows: "Sequence[Result]", measured: Json) -> tuple[tuple[str, ...], ...]:
    unit = measured["unit"]
    said = [
        (
            str(figures.day(row.inspection.inspected_on)),
            figures.distance(row.inspection.reading.total_km),
            figures.measured(row.value or 0.0, unit),
        )
        for row in rows
    ]
    return ((gettext("Day"), gettext("Distance"), gettext("Measured")), *said)


def _falls(check_key: str, limit: float) -> bool:
    """Whether the figure gets smaller with wear."""
    entry = default_catalogue().checks[check_key].check.measurement
    return entry is not None and entry.new > limit
