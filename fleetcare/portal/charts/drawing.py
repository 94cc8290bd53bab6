"""One drawing from a description of a chart: axes, areas, lines, dots and words. Text in, text out.

Colours stand in attributes, so that the SVG is complete by itself (in a PDF), and every element has a class, so that
a page's style sheet can give it the colours of the page.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from html import escape
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

WIDTH, HEIGHT = 440.0, 210.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 14.0, 14.0, 40.0
_TICK = 4.0
_FONT = 'font-family="DejaVu Sans, sans-serif" font-size="12"'
_INK, _SOFT, _PRINT, _LINE, _LIMIT = "#16201d", "#46544f", "#155e57", "#b5c8c2", "#9c2f00"
_STROKES = {
    "measured": f'stroke="{_INK}" stroke-width="2"',
    "expected": f'stroke="{_PRINT}" stroke-width="2" stroke-dasharray="6 4"',
    "limit": f'stroke="{_LIMIT}" stroke-width="2"',
}

_FILLS = {
    "first": f'fill="{_PRINT}" stroke="{_PRINT}"',
    "second": f'fill="#ffffff" stroke="{_PRINT}"',
}


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale from `low` to `high` (low < high) with marks that carry labels, and what it measures."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    title: str

    def share(self, value: float) -> float:
        """Where a value lies between low (0) and high (1)."""
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True)
class Line:
    """Points joined in their order; `kind` chooses how it looks."""

    points: tuple[Point, ...]
    kind: Literal["measured", "expected", "limit"]


@dataclass(frozen=True, slots=True)
class Bar:
    """An upright bar from `left` to `right` and from `low` to `high`; the second kind is drawn hollow."""

    left: float
    right: float
    low: float
    high: float
    kind: Literal["first", "second"]


@dataclass(frozen=True, slots=True)
class Label:
    """A word at a place of the chart."""

    at: Point
    text: str
    anchor: Anchor = "start"


@dataclass(frozen=True, slots=True)
class Chart:
    """What is drawn, and what it says in words for whoever does not see it. `key` is unique on a page."""

    key: str
    title: str
    description: str
    x: Axis
    y: Axis
    areas: tuple[tuple[Point, ...], ...] = ()
    bars: tuple[Bar, ...] = ()
    lines: tuple[Line, ...] = ()
    dots: tuple[Point, ...] = ()
    labels: tuple[Label, ...] = ()
    rows: tuple[tuple[str, ...], ...] = field(default=())
    """The same figures as a table; the first row names the columns."""


def drawn(chart: Chart) -> str:
    """The chart as one `<svg>` element. Raises ValueError for an axis without extent."""
    for axis in (chart.x, chart.y):
        if not axis.low < axis.high:
            raise ValueError(f"an axis from {axis.low} to {axis.high} has no extent")
    key = escape(chart.key)
    return "".join(
        (
            f'<svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img"'
            f' aria-labelledby="{key}-title {key}-desc" {_FONT}>',
            f'<title id="{key}-title">{escape(chart.title)}</title>',
            f'<desc id="{key}-desc">{escape(chart.description)}</desc>',
            f'<clipPath id="{key}-clip"><rect x="{_LEFT:g}" y="{_TOP - 4:g}" width="{WIDTH - _LEFT - _RIGHT:g}"'
            f' height="{HEIGHT - _TOP - _BOTTOM + 4:g}"/></clipPath>',
            *_grid(chart),
            f'<g clip-path="url(#{key}-clip)">',
            *_figures(chart),
            "</g>",
            *_words(chart),
            "</svg>",
        )
    )


def _place(chart: Chart, point: Point) -> Point:
    x = _LEFT + chart.x.share(point[0]) * (WIDTH - _LEFT - _RIGHT)
    y = HEIGHT - _BOTTOM - chart.y.share(point[1]) * (HEIGHT - _TOP - _BOTTOM)
    return x, y


def _path(chart: Chart, points: Iterable[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in (_place(chart, point) for point in points))


def _grid(chart: Chart) -> Iterator[str]:
    right, ground = WIDTH - _RIGHT, HEIGHT - _BOTTOM
    for value, label in chart.y.ticks:
        _, y = _place(chart, (chart.x.low, value))
        yield f'<path class="chart-grid" d="M{_LEFT:g} {y:.1f}H{right:g}" stroke="{_LINE}" fill="none"/>'
        yield _text(_LEFT - 6, y + 4, label, "end", "chart-tick", _SOFT)
    yield f'<path class="chart-axis" d="M{_LEFT:g} {_TOP:g}V{ground:g}H{right:g}" stroke="{_PRINT}" fill="none"/>'
    for value, label in chart.x.ticks:
        x, _ = _place(chart, (value, chart.y.low))
        yield f'<path class="chart-axis" d="M{x:.1f} {ground:g}v{_TICK:g}" stroke="{_PRINT}" fill="none"/>'
        yield _text(x, ground + 16, label, _inside(x, label), "chart-tick", _SOFT)


def _inside(x: float, label: str) -> Anchor:
    """A label near an end of the axis must not run out of the drawing."""
    half = len(label) * 3.5
    if x + half > WIDTH:
        return "end"
    return "start" if x - half < 0 else "middle"


def _figures(chart: Chart) -> Iterator[str]:
    for area in chart.areas:
        yield f'<polygon class="chart-area" points="{_path(chart, area)}" fill="{_PRINT}" fill-opacity="0.22"/>'
    for bar in chart.bars:
        (left, top), (right, ground) = _place(chart, (bar.left, bar.high)), _place(chart, (bar.right, bar.low))
        yield (
            f'<rect class="chart-bar-{bar.kind}" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}"'
            f' height="{ground - top:.1f}" {_FILLS[bar.kind]}/>'
        )
    for line in chart.lines:
        points = _path(chart, line.points)
        yield f'<polyline class="chart-{line.kind}" points="{points}" fill="none" {_STROKES[line.kind]}/>'
    for x, y in (_place(chart, dot) for dot in chart.dots):
        yield f'<circle class="chart-dot" cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{_INK}"/>'


def _words(chart: Chart) -> Iterator[str]:
    yield _text(WIDTH - _RIGHT, HEIGHT - 6, chart.x.title, "end", "chart-title", _PRINT)
    yield _text(2, 10, chart.y.title, "start", "chart-title", _PRINT)
    for label in chart.labels:
        x, y = _place(chart, label.at)
        yield _text(x, max(y - 5, 10), label.text, label.anchor, "chart-label", _INK)


def _text(x: float, y: float, text: str, anchor: Anchor, kind: str, colour: str) -> str:
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}">{escape(text)}</text>'
