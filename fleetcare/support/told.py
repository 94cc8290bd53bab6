"""What services say, in the reader's language.

Services, stored documents and the API speak plain English: their answers depend on no reader. Where a page or a mail
shows such a sentence, `told` puts it into the language of the reader: by the patterns of `locale/<language>/told.mo`
("The warranty would end before {0}.") and by the words that features register (the catalogue's titles). What fills a
pattern is told in turn; numbers, days and sums are written as the reader writes them. What nobody knows, a name or a
note somebody typed, stays as it is.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache, lru_cache
from pathlib import Path

from babel import Locale
from babel.dates import format_date
from babel.messages.mofile import read_mo
from babel.numbers import format_currency, format_decimal
from django.utils.translation import get_language, to_locale

LOCALES = Path(__file__).parent / "locale"
_HOLE = re.compile(r"\{(\d)\}")
_NUMBER = re.compile(r"-?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?")
_SUM = re.compile(r"(-?\d+(?:\.\d+)?) ([A-Z]{3})")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_QUANTITY = re.compile(r"(?P<number>[\d.,]+) (?P<unit>km|mi|h|mm|bar|V|%|°C|g/s|MB)")

LEAST_LETTERS = 6
"""A pattern with fewer letters ("{0} of {1}") is known only within another one: by itself it would fit any words."""

Words = Callable[[str, str], str | None]
_registered: list[Words] = []


def register(words: Words) -> None:
    """Adds words of a feature: given a language and an English text, the text in it or None. Once, when it is ready."""
    _registered.append(words)


def told(text: str, language: str | None = None) -> str:
    """An English text as the reader reads it; in English, or where it is not known, as it is."""
    chosen = language or get_language() or "en"
    return text if chosen.partition("-")[0] == "en" else _told(chosen, text)


@dataclass(frozen=True, slots=True)
class _Pattern:
    """A sentence with holes."""

    matches: re.Pattern[str]
    put: str
    telling: int
    """How much of it is no hole: of several that fit, the most telling counts."""


@lru_cache(maxsize=8192)
def _told(language: str, text: str, least: int = LEAST_LETTERS) -> str:
    known = _known(language, text)
    if known is not None:
        return known
    for pattern in _sentences(language.partition("-")[0])[1]:
        found = pattern.matches.fullmatch(text) if pattern.telling >= least else None
        if found:
            return pattern.put.format(*(_filling(language, filling) for filling in found.groups()))
    return text


def _known(language: str, text: str) -> str | None:
    exact = _sentences(language.partition("-")[0])[0].get(text)
    if exact is not None:
        return exact
    return next((found for words in _registered if (found := words(language, text)) is not None), None)


def _filling(language: str, text: str) -> str:
    """What stands in a hole; several things in one are told one by one."""
    written = _written(language, text)
    if written is not None:
        return written
    whole = _told(language, text, 1)
    if whole != text:
        return whole
    for between in (": ", "; ", ", "):
        if between in text:
            return between.join(_filling(language, part) for part in text.split(between))
    return _filling(language, text[:-1]) + text[-1] if len(text) > 1 and text[-1] in ",." else text


def _written(language: str, text: str) -> str | None:
    """A number, a day, a sum or a quantity in the reader's form."""
    if _NUMBER.fullmatch(text):
        digits = len(text.partition(".")[2])
        pattern = f"#,##0.{'0' * digits}" if digits else ("#,##0" if "," in text else "0")
        return format_decimal(Decimal(text.replace(",", "")), pattern, _locale(language))
    if _DAY.fullmatch(text):
        try:
            return format_date(date.fromisoformat(text), "medium", _locale(language))
        except ValueError:
            return None
    money = _SUM.fullmatch(text)
    if money:
        return format_currency(Decimal(money[1]), money[2], locale=_locale(language))
    quantity = _QUANTITY.fullmatch(text)
    number = _written(language, quantity["number"]) if quantity else None
    return f"{number} {quantity['unit']}" if quantity and number else None


@lru_cache(maxsize=64)
def _locale(language: str) -> Locale:
    return Locale.parse(to_locale(language))


@cache
def _sentences(language: str) -> tuple[Mapping[str, str], tuple[_Pattern, ...]]:
    """The sentences of a language without holes, and those with holes, the most telling first."""
    path = LOCALES / language / "LC_MESSAGES" / "told.mo"
    if not path.exists():
        return {}, ()
    with path.open("rb") as file:
        pairs = {str(each.id): str(each.string) for each in read_mo(file) if each.id}
    patterns = [_pattern(english, put) for english, put in pairs.items() if _HOLE.search(english)]
    patterns.sort(key=lambda each: -each.telling)
    return {english: put for english, put in pairs.items() if not _HOLE.search(english)}, tuple(patterns)


def _pattern(english: str, put: str) -> _Pattern:
    pieces = _HOLE.split(english)
    matches = "".join(re.escape(piece) if index % 2 == 0 else "(.+?)" for index, piece in enumerate(pieces))
    letters = sum(each.isalpha() for each in "".join(pieces[::2]))
    return _Pattern(re.compile(matches, re.DOTALL), put, letters)
