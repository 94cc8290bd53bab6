"""Figures as people type them: with a point or a comma, with thousands grouped or not.

Nothing is guessed at the cost of a wrong figure: a distance or an amount of money with one mark and three digits after
it is a grouped one ("120,000"), for no odometer and no price tag tells thousandths; hours and measures keep the mark
as the decimal one.
"""

import re
from typing import Any

_BETWEEN = re.compile(r"(?<=\d)[\s'’](?=\d{3}(?!\d))")
"""What only ever groups: spaces and apostrophes."""
_MARKS = re.compile(r"[.,]")
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(?:[.,]\d{3})+")


def plain(text: str) -> str:
    """A figure with a point, as it was typed with a point or a comma; what is no figure stays as it is."""
    figure = _BETWEEN.sub("", text.strip())
    marks = _MARKS.findall(figure)
    if len(set(marks)) == 2 and marks.count(marks[-1]) == 1:
        # Both stand there: the last one is the decimal one.
        return figure.replace(marks[0], "").replace(marks[-1], ".")
    if len(marks) == 1 and re.fullmatch(r"[+-]?\d*[.,]\d+", figure):
        return figure.replace(marks[0], ".")
    if len(marks) > 1 and _GROUPED.fullmatch(figure):
        return _MARKS.sub("", figure)
    return figure


def ungrouped(text: str) -> str:
    """As `plain`, for money and distances: one mark with three digits after it groups thousands."""
    figure = _BETWEEN.sub("", text.strip())
    return (
        _MARKS.sub("", figure) if _GROUPED.fullmatch(figure) and len(set(_MARKS.findall(figure))) == 1 else plain(text)
    )


def number(text: str) -> Any:
    """A number; what is none stays as it is, to be refused with its place."""
    return _as_number(plain(text))


def distance(text: str) -> Any:
    """A distance or another figure of thousands; what is no number stays as it is, to be refused with its place."""
    return _as_number(ungrouped(text))


def whole(text: str) -> Any:
    """A whole number, however its thousands were grouped; what is none stays as it is, to be refused."""
    figure = ungrouped(text)
    return int(figure) if figure.isdecimal() else text


def _as_number(figure: str) -> Any:
    try:
        return float(figure) if "." in figure else int(figure)
    except ValueError:
        return figure
