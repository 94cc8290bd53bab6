"""What complaints, trouble codes, findings and fuel use tell of parts: one file, checked against the catalogue."""

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, TypeVar

import msgspec
import numpy as np

from inspections.catalogue.catalogue import Catalogue, Slot
from inspections.catalogue.faults import CatalogueError, Fault
from inspections.catalogue.loader import DATA, default_catalogue
from inspections.catalogue.schema import COMMON_PRACTICE
from inspections.core.suspects import SignTable
from inspections.core.trouble_codes import MalformedTroubleCode, TroubleCode, parse_code

FILE = "knowledge/signs.toml"
FINDING = "finding:"
"""A sign is a complaint by its key, a code, or the finding of a part: this and the part's key."""

H = TypeVar("H", bound=Hashable)

Words = Annotated[str, msgspec.Meta(min_length=1)]
Fraction = Annotated[float, msgspec.Meta(gt=0.0, le=1.0)]


class _Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    pass


class Complaint(_Entry, frozen=True):
    """Something a driver notices."""

    key: Words
    title: Words


class CodeMeaning(_Entry, frozen=True):
    """What a generic trouble code means, in our own words."""

    code: Words
    meaning: Words


class Sign(_Entry, frozen=True):
    """The chance that a bad part shows a sign; `positions` narrows it to some places of the part."""

    part: Words
    sign: Words
    present_fraction: Fraction
    positions: tuple[Words, ...] = ()
    source: str = COMMON_PRACTICE


class Background(_Entry, frozen=True):
    """The chance that a sign is there although every part that could cause it is good."""

    sign: Words
    fraction: Fraction


class SignsFile(_Entry, frozen=True):
    """The file as it is written."""

    complaints: tuple[Complaint, ...]
    codes: tuple[CodeMeaning, ...]
    signs: tuple[Sign, ...]
    backgrounds: tuple[Background, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Signs:
    """What may be noticed, and what it tells of parts."""

    complaints: Mapping[str, str]
    """Title of each complaint by its key."""
    meanings: Mapping[str, str]
    """Meaning of each known code."""
    links: tuple[Sign, ...]
    backgrounds: Mapping[str, float]
    rows: Mapping[str, int]
    """Row of each sign in a table, by its key."""

    def meaning(self, code: TroubleCode) -> str | None:
        """What a code means, or None where only the maker's papers tell."""
        return self.meanings.get(code.text)

    def table(self, slots: Sequence[Slot]) -> SignTable:
        """What the signs (in the order of `rows`) tell of the given slots."""
        columns: dict[str, list[int]] = {}
        for number, slot in enumerate(slots):
            columns.setdefault(slot.part_key, []).append(number)
        shows = np.zeros((len(self.rows), len(slots)))
        for link in self.links:
            for column in columns.get(link.part, ()):
                if not link.positions or slots[column].position in link.positions:
                    shows[self.rows[link.sign], column] = link.present_fraction
        return SignTable(shows, np.array(list(self.backgrounds.values())))


@cache
def default_signs() -> Signs:
    """The signs that come with the product, read once."""
    return load_signs(default_catalogue())


def load_signs(catalogue: Catalogue, folder: Path = DATA) -> Signs:
    """The signs of a catalogue's folder. Raises CatalogueError with every fault that was found."""
    path = folder / FILE
    if not path.exists():
        raise CatalogueError([Fault(FILE, "", "", "the file is missing")])
    return build_signs(path.read_bytes(), catalogue)


def build_signs(content: bytes, catalogue: Catalogue) -> Signs:
    """The signs of a file's content. Raises CatalogueError with every fault that was found."""
    try:
        read = msgspec.toml.decode(content, type=SignsFile)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise CatalogueError([Fault(FILE, "", "", str(error))]) from error
    faults = [*_code_faults(read), *_key_faults(read, catalogue), *_part_faults(read, catalogue), *_repeats(read)]
    if faults:
        raise CatalogueError(faults)
    return Signs(
        MappingProxyType({entry.key: entry.title for entry in read.complaints}),
        MappingProxyType({entry.code: entry.meaning for entry in read.codes}),
        read.signs,
        MappingProxyType({entry.sign: entry.fraction for entry in read.backgrounds}),
        MappingProxyType({entry.sign: row for row, entry in enumerate(read.backgrounds)}),
    )


def _code_faults(read: SignsFile) -> Iterator[Fault]:
    for entry in read.codes:
        try:
            if parse_code(entry.code).text != entry.code:
                yield Fault(FILE, entry.code, "code", "write it in capitals without spaces")
        except MalformedTroubleCode as error:
            yield Fault(FILE, entry.code, "code", str(error))


def _key_faults(read: SignsFile, catalogue: Catalogue) -> Iterator[Fault]:
    """Signs that nobody can notice, and signs whose background is missing."""
    known = {entry.key for entry in read.complaints} | {entry.code for entry in read.codes}
    known |= {FINDING + key for key in catalogue.parts}
    told = {entry.sign for entry in read.backgrounds}
    for sign in dict.fromkeys([*(link.sign for link in read.signs), *(entry.sign for entry in read.backgrounds)]):
        if sign not in known:
            yield Fault(FILE, sign, "sign", "is no complaint or code of this file, nor a finding of a part")
        if sign not in told:
            yield Fault(FILE, sign, "backgrounds", "has no background fraction")


def _part_faults(read: SignsFile, catalogue: Catalogue) -> Iterator[Fault]:
    for link in read.signs:
        part = catalogue.parts.get(link.part)
        if part is None:
            yield Fault(FILE, link.part, "part", f"is no part of the catalogue (under “{link.sign}”)")
            continue
        for position in link.positions:
            if position not in part.positions:
                yield Fault(FILE, link.part, "positions", f"“{position}” is no place of it (under “{link.sign}”)")


def _repeats(read: SignsFile) -> Iterator[Fault]:
    named = {
        "complaints": (entry.key for entry in read.complaints),
        "codes": (entry.code for entry in read.codes),
        "backgrounds": (entry.sign for entry in read.backgrounds),
    }
    for field, keys in named.items():
        yield from (Fault(FILE, key, field, "is there twice") for key in _repeated(keys))
    places = ((link.part, link.sign, place) for link in read.signs for place in link.positions or ("",))
    yield from (Fault(FILE, part, "sign", f"“{sign}” is there twice") for part, sign, _ in _repeated(places))


def _repeated(values: Iterable[H]) -> list[H]:
    return [value for value, times in Counter(values).items() if times > 1]
