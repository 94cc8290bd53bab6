"""A chart is one SVG that is complete by itself, says in words what it shows, and cannot be broken out of."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from fleetcare.portal.charts.drawing import HEIGHT, WIDTH, Axis, Chart, Label, Line, drawn

SVG = "{http://www.w3.org/2000/svg}"
CHART = Chart(
    key="pads",
    title="Front pads",
    description="Now about 6 mm.",
    x=Axis(100_000.0, 200_000.0, ((100_000.0, "100,000"), (150_000.0, "150,000"), (200_000.0, "200,000")), "km"),
    y=Axis(0.0, 12.0, ((0.0, "0"), (6.0, "6"), (12.0, "12")), "mm"),
    areas=(((100_000.0, 6.0), (150_000.0, 3.0), (200_000.0, 3.0), (100_000.0, 7.0)),),
    lines=(
        Line(((100_000.0, 3.0), (200_000.0, 3.0)), "limit"),
        Line(((100_000.0, 12.0), (150_000.0, 6.0)), "measured"),
    ),
    dots=((100_000.0, 12.0), (200_000.0, 0.0)),
    labels=(Label((100_000.0, 3.0), "limit 3 mm"),),
)


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - our own drawing


def test_a_chart_is_named_and_told_for_a_reader_who_does_not_see_it() -> None:
    root = parsed(drawn(CHART))
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    named = {element.get("id"): element.text for element in root.iter() if element.get("id")}
    assert [named[key] for key in str(root.get("aria-labelledby")).split()] == ["Front pads", "Now about 6 mm."]


def test_the_corners_of_the_axes_are_the_corners_of_the_drawing() -> None:
    first, last = parsed(drawn(CHART)).iter(f"{SVG}circle")
    # The highest value on the left stands above left, nothing on the right below right.
    assert (float(first.get("cx", 0)), float(first.get("cy", 0))) == (58.0, 14.0)
    assert (float(last.get("cx", 0)), float(last.get("cy", 0))) == (WIDTH - 14.0, HEIGHT - 40.0)


def test_the_middle_of_an_axis_is_drawn_in_the_middle() -> None:
    measured = next(e for e in parsed(drawn(CHART)).iter(f"{SVG}polyline") if e.get("class") == "chart-measured")
    points = [tuple(map(float, pair.split(","))) for pair in str(measured.get("points")).split()]
    assert points == [(58.0, 14.0), (242.0, 92.0)]


def test_no_text_breaks_out_of_the_drawing() -> None:
    nasty = "</title><script>alert(1)</script>\"'&"
    chart = replace(
        CHART,
        key='k" onload="x',
        title=nasty,
        description=nasty,
        labels=(Label((100_000.0, 3.0), nasty),),
        x=Axis(0.0, 200_000.0, ((0.0, nasty),), nasty),
    )
    root = parsed(drawn(chart))
    assert not [element for element in root.iter() if element.tag.endswith("script")]
    assert not [name for element in root.iter() for name in element.attrib if name.startswith("on")]
    assert root.find(f"{SVG}title").text == nasty  # type: ignore[union-attr]


def test_a_chart_has_no_inline_style_and_leads_nowhere() -> None:
    svg = drawn(CHART)
    assert not re.search(r"style=|href|<style|url\((?!#)", svg)


def test_what_runs_out_of_the_axes_is_cut_off_at_them() -> None:
    root = parsed(drawn(replace(CHART, dots=((900_000.0, 99.0),))))
    clip = next(root.iter(f"{SVG}clipPath"))
    group = next(element for element in root.iter(f"{SVG}g"))
    assert group.get("clip-path") == f"url(#{clip.get('id')})"
    assert next(root.iter(f"{SVG}circle")) in list(group)


def test_an_axis_without_extent_is_refused() -> None:
    with pytest.raises(ValueError, match="no extent"):
        drawn(replace(CHART, y=Axis(3.0, 3.0, (), "mm")))
