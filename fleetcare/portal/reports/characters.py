"""Text that people wrote, made fit for paper: no control character, no line without a break, no missing glyph."""

import re
import struct
import unicodedata
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

LONGEST_RUN = 16.0
"""Small letters of one word that fit into the narrowest column; a capital counts for more."""
_CAPITAL = 1.6
_WORD = re.compile(r"\S+")
_BREAK_HERE = "\u200b"
NO_GLYPH = "▯"
# Marks that turn the direction of what follows: they could make a figure read as another one.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def fit_for_paper(text: str) -> str:
    """The text without control and direction marks, with places to break in words that are too long for a column."""
    kept = "".join(c if not _is_odd(c) else " " if c in "\t\n\r\v\f\x85\u2028\u2029" else "" for c in text)
    return _WORD.sub(lambda found: _breakable(found[0]), kept)


def _breakable(word: str) -> str:
    """A word with places to break where it grows too wide; a mark stays with the letter it stands on."""
    if len(word) * _CAPITAL <= LONGEST_RUN:
        return word
    pieces, width = [""], 0.0
    for character in word:
        letter = 0.0 if unicodedata.combining(character) else _CAPITAL if character.isupper() else 1.0
        if letter and width + letter > LONGEST_RUN:
            pieces.append("")
            width = 0.0
        pieces[-1] += character
        width += letter
    return _BREAK_HERE.join(pieces)


def _is_odd(character: str) -> bool:
    return character in _TURNING or unicodedata.category(character) in {"Cc", "Cs", "Co", "Cn", "Zl", "Zp"}


def with_known_glyphs(text: str, known: Collection[int]) -> str:
    """The text with a box for every character that the font cannot draw."""
    return "".join(c if ord(c) in known or c == _BREAK_HERE or c.isspace() else NO_GLYPH for c in text)


def mapped(value: Any, change: Callable[[str], str]) -> Any:
    """The same plain structure with every text in it changed; keys stay."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, Mapping):
        return {key: mapped(each, change) for key, each in value.items()}
    if isinstance(value, Sequence):
        return [mapped(each, change) for each in value]
    return value


@lru_cache(maxsize=8)
def glyphs_of(font: Path) -> frozenset[int]:
    """Code points that a TrueType font draws (OpenType specification, tables cmap formats 4 and 12).

    Raises ValueError for a file without such a table.
    """
    data = font.read_bytes()
    start = _table(data, b"cmap")
    count = struct.unpack_from(">H", data, start + 2)[0]
    offsets = [struct.unpack_from(">HHI", data, start + 4 + 8 * n)[2] for n in range(count)]
    found: set[int] = set()
    for offset in offsets:
        form = struct.unpack_from(">H", data, start + offset)[0]
        if form in _READERS:
            found |= _READERS[form](data, start + offset)
    if not found:
        raise ValueError(f"{font.name} has no table of characters that is understood")
    return frozenset(found)


def _table(data: bytes, wanted: bytes) -> int:
    for n in range(struct.unpack_from(">H", data, 4)[0]):
        tag, _sum, offset, _length = struct.unpack_from(">4sIII", data, 12 + 16 * n)
        if tag == wanted:
            return int(offset)
    raise ValueError(f"no table {wanted!r}")


def _segments(data: bytes, at: int) -> set[int]:
    """Format 4: segments of the first 65,536 code points."""
    double = struct.unpack_from(">H", data, at + 6)[0]
    ends = struct.unpack_from(f">{double // 2}H", data, at + 14)
    starts = struct.unpack_from(f">{double // 2}H", data, at + 16 + double)
    return {code for first, last in zip(starts, ends, strict=True) for code in range(first, last + 1) if code < 0xFFFF}


def _groups(data: bytes, at: int) -> set[int]:
    """Format 12: groups over all code points."""
    count = struct.unpack_from(">I", data, at + 12)[0]
    groups = (struct.unpack_from(">III", data, at + 16 + 12 * n) for n in range(count))
    return {code for first, last, _glyph in groups for code in range(first, last + 1)}


_READERS: dict[int, Callable[[bytes, int], set[int]]] = {4: _segments, 12: _groups}
