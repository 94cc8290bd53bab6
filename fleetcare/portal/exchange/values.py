"""Cells as values: what a comma and an order of days mean is told by the file or asked, and never guessed."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Literal

from fleetcare.portal.exchange.tables import EXACT

DECIMALS = ("point", "comma")
DAY_ORDERS = ("dmy", "mdy")
_SPACES = re.compile(r"[\s\u00a0\u202f']")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)*")
_EXACT_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?")
_ISO = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[ T]00:00(?::00)?)?")
_DAY = re.compile(r"([0-9]{1,2})[./-]([0-9]{1,2})[./-]([0-9]{4})")
_SHORT_YEAR = re.compile(r"[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2}")
_YES = frozenset({"yes", "y", "true", "1", "x", "ja", "oui", "si", "sí", "full", "voll"})
_NO = frozenset({"no", "n", "false", "0", "", "nein", "non", "partial", "teilweise"})

Told = Literal["told by the file", "asked", "not needed", "given"]


class CellFault(Exception):
    """A cell cannot be read. Remedy: correct it in the file; the sentence says how."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code, self.sentence = code, sentence


@dataclass(frozen=True, slots=True)
class Answer:
    """How an open question about the whole file is answered: a value, or none while it has to be asked."""

    value: str | None
    how: Told
    evidence: str
    """The cell that told it."""

    @property
    def is_open(self) -> bool:
        """Whether somebody has to be asked."""
        return self.how == "asked"


def decimal_sign(cells: Iterable[str], given: str | None) -> Answer:
    """What parts the digits after the point in these cells: "point" or "comma".

    A cell with both signs tells by the last one, a sign that occurs twice in one number parts thousands, and a sign
    not followed by exactly three digits parts decimals. "1.234" tells nothing.
    """
    if given:
        return Answer(given, "given", "")
    votes: dict[str, str] = {}
    doubtful = ""
    for cell in cells:
        text = _SPACES.sub("", cell)
        if not _NUMBER.fullmatch(text):
            continue
        vote = _vote(text)
        if vote:
            votes.setdefault(vote, cell)
        elif "." in text or "," in text:
            doubtful = doubtful or cell
    return _decided(votes, doubtful)


def _vote(text: str) -> str:
    points, commas = text.count("."), text.count(",")
    if points and commas:
        return "comma" if text.rindex(",") > text.rindex(".") else "point"
    if points + commas == 0:
        return ""
    sign, other = ("point", "comma") if points else ("comma", "point")
    if points + commas > 1:
        return other
    digits = re.split("[.,]", text)[-1]
    return sign if len(digits) != 3 or text.lstrip("+-").startswith(("0.", "0,")) else ""


def day_order(cells: Iterable[str], given: str | None) -> Answer:
    """Whether the day or the month comes first in these cells ("dmy" or "mdy"); ISO days need no answer."""
    if given:
        return Answer(given, "given", "")
    votes: dict[str, str] = {}
    doubtful = ""
    for cell in cells:
        found = _DAY.fullmatch(cell.strip())
        if not found:
            continue
        first, second = int(found[1]), int(found[2])
        if first > 12 >= second:
            votes.setdefault("dmy", cell)
        elif second > 12 >= first:
            votes.setdefault("mdy", cell)
        else:
            doubtful = doubtful or cell
    return _decided(votes, doubtful)


def _decided(votes: dict[str, str], doubtful: str) -> Answer:
    if len(votes) == 1:
        ((value, evidence),) = votes.items()
        return Answer(value, "told by the file", evidence)
    if len(votes) > 1:
        return Answer(None, "asked", " / ".join(votes.values()))
    return Answer(None, "asked", doubtful) if doubtful else Answer(None, "not needed", "")


def number(cell: str, decimal: str | None) -> Decimal:
    """The number in a cell. Raises CellFault where there is none, or where its sign would have to be guessed."""
    text = cell.strip(" ")
    if text.startswith(EXACT):
        return _exact(text.removeprefix(EXACT))
    text = _SPACES.sub("", cell)
    if not _NUMBER.fullmatch(text):
        raise CellFault("not-a-number", "A number is needed here.")
    if "." in text or "," in text:
        if decimal is None:
            raise CellFault("decimal-sign", "Say whether a comma or a point parts the decimals.")
        sign, thousands = (",", ".") if decimal == "comma" else (".", ",")
        whole, _, digits = text.partition(sign)
        if sign in digits or thousands in digits or not _grouped(whole, thousands):
            wanted = "1.234,5" if decimal == "comma" else "1,234.5"
            raise CellFault("not-a-number", f"Not written like {wanted}, as the rest of the file is.")
        text = whole.replace(thousands, "") + ("." + digits if digits else "")
    try:
        return Decimal(text)
    except InvalidOperation as error:
        raise CellFault("not-a-number", "A number is needed here.") from error


def _exact(text: str) -> Decimal:
    try:
        found = Decimal(text)
    except InvalidOperation:
        found = Decimal("nan")
    if not found.is_finite():
        raise CellFault("not-a-number", "A number is needed here.")
    return found


def _grouped(whole: str, sign: str) -> bool:
    """Whether thousands, if they are parted, are parted by threes."""
    groups = whole.lstrip("+-").split(sign)
    return len(groups) == 1 or (1 <= len(groups[0]) <= 3 and all(len(group) == 3 for group in groups[1:]))


def day(cell: str, order: str | None) -> date:
    """The day in a cell. Raises CellFault where there is none, or where its order would have to be guessed."""
    text = cell.strip()
    iso = _ISO.fullmatch(text)
    if iso:
        return _date(int(iso[1]), int(iso[2]), int(iso[3]))
    found = _DAY.fullmatch(text)
    if not found:
        if _SHORT_YEAR.fullmatch(text):
            raise CellFault("short-year", "Write the year with four digits.")
        raise CellFault("not-a-day", "A day is needed here, best as 2026-10-03.")
    if order is None:
        raise CellFault("day-order", "Say whether the day or the month comes first.")
    first, second = int(found[1]), int(found[2])
    month, number_of_day = (second, first) if order == "dmy" else (first, second)
    return _date(int(found[3]), month, number_of_day)


def _date(year: int, month: int, day_of_month: int) -> date:
    try:
        return date(year, month, day_of_month)
    except ValueError as error:
        raise CellFault("not-a-day", "There is no such day.") from error


def yes_or_no(cell: str) -> bool:
    """Yes or no in a cell; an empty one is no. Raises CellFault for any other word."""
    word = cell.strip().removeprefix(EXACT).casefold()
    if word in _YES or word in _NO:
        return word in _YES
    raise CellFault("not-yes-or-no", "Yes or no is needed here.")


def text(cell: str, longest: int) -> str:
    """The words in a cell. Raises CellFault for control characters and for too many of them."""
    plain = cell.strip()
    if plain.startswith(EXACT) and _EXACT_NUMBER.fullmatch(plain.removeprefix(EXACT)):
        plain = plain.removeprefix(EXACT)
    if any(ord(character) < 32 and character not in "\n\t" for character in plain):
        raise CellFault("control-characters", "There are characters in this cell that are no text.")
    if len(plain) > longest:
        raise CellFault("too-long", f"At most {longest} characters are kept; these are {len(plain)}.")
    return plain
