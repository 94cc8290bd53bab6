"""Catalogue files from bytes to typed entries, with every fault placed by key instead of by index."""

import re
from typing import Any, TypeVar

import msgspec

from inspections.catalogue.faults import Fault
from inspections.catalogue.schema import (
    Access,
    Caution,
    Check,
    FollowUp,
    Job,
    Part,
    Sheet,
    Station,
    SystemFile,
    Trait,
)

VOCABULARY: dict[str, tuple[str, type[msgspec.Struct]]] = {
    "vocabulary/stations.toml": ("stations", Station),
    "vocabulary/cautions.toml": ("cautions", Caution),
    "vocabulary/access.toml": ("access", Access),
    "vocabulary/follow-ups.toml": ("follow_ups", FollowUp),
    "vocabulary/sheets.toml": ("sheets", Sheet),
    "vocabulary/traits.toml": ("traits", Trait),
}
"""Which table of entries each vocabulary file holds."""

Table = dict[str, Any]
T = TypeVar("T", bound=msgspec.Struct)

_PLACE = re.compile(r" - at `\$?(?P<path>[^`]*)`$")
_NAMED_FIELD = re.compile(r"(missing required|contains unknown) field `(?P<name>[^`]*)`")


def read_toml(file: str, content: bytes, faults: list[Fault]) -> Table:
    """The tables of a file; empty, with a fault added, when it is not TOML."""
    try:
        return dict(msgspec.toml.decode(content))
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        faults.append(Fault(file, "", "", f"not readable as TOML: {error}"))
        return {}


def read_system(file: str, content: bytes, faults: list[Fault]) -> SystemFile | None:
    """One system with its parts; None when anything in it has the wrong shape (each fault is added)."""
    before = len(faults)
    raw = read_toml(file, content, faults)
    if len(faults) > before:
        return None
    _convert({**raw, **_emptied(raw, "parts")}, SystemFile, Fault(file, "", "", ""), faults)
    for number, part in enumerate(_entries(raw, "parts"), start=1):
        _read_part(file, part, number, faults)
    return None if len(faults) > before else msgspec.convert(raw, SystemFile)


def read_vocabulary(file: str, content: bytes, faults: list[Fault]) -> list[msgspec.Struct]:
    """The well-formed entries of a vocabulary file; each malformed one adds a fault."""
    table, kind = VOCABULARY[file]
    raw = read_toml(file, content, faults)
    faults.extend(Fault(file, "", name, f'unknown table; only "{table}" belongs here') for name in raw if name != table)
    found = []
    for number, entry in enumerate(_entries(raw, table), start=1):
        value = _convert(entry, kind, Fault(file, _name(entry, number), "", ""), faults)
        found += [] if value is None else [value]
    return found


def _read_part(file: str, raw: object, number: int, faults: list[Fault]) -> None:
    name = _name(raw, number)
    if isinstance(raw, dict):
        for field, kind in (("checks", Check), ("jobs", Job)):
            for index, entry in enumerate(_entries(raw, field), start=1):
                place = Fault(file, name, f"{field}[{_name(entry, index)}]", "")
                _convert(entry, kind, place, faults)
        raw = {**raw, **_emptied(raw, "checks"), **_emptied(raw, "jobs")}
    _convert(raw, Part, Fault(file, name, "", ""), faults)


def _convert(raw: object, kind: type[T], place: Fault, faults: list[Fault]) -> T | None:
    try:
        return msgspec.convert(raw, kind)
    except msgspec.ValidationError as error:
        message = str(error)
        found = _PLACE.search(message)
        named = _NAMED_FIELD.search(message)
        path = _keyed_path(raw, found["path"] if found else "") + (f".{named['name']}" if named else "")
        field = f"{place.field}{path}" if place.field else path.lstrip(".")
        faults.append(Fault(place.file, place.part, field, _PLACE.sub("", message)))
        return None


def _keyed_path(raw: Any, path: str) -> str:
    """A path with the index of each entry replaced by its key, where it has one."""
    said = ""
    for step in re.findall(r"\.[^.\[]+|\[[^\]]*\]", path):
        raw, step = _follow(raw, step)
        said += step
    return said


def _follow(raw: Any, step: str) -> tuple[Any, str]:
    if step.startswith("."):
        return (raw.get(step[1:]) if isinstance(raw, dict) else None), step
    if not step[1:-1].isdigit() or not isinstance(raw, list):
        return None, step
    entry = raw[int(step[1:-1])]
    return entry, f"[{_name(entry, int(step[1:-1]) + 1)}]"


def _entries(raw: Table, field: str) -> list[Any]:
    entries = raw.get(field, [])
    return entries if isinstance(entries, list) else []


def _emptied(raw: Table, field: str) -> Table:
    """The field with no entries if it is a list: its entries are read one by one, so that each can complain."""
    return {field: []} if isinstance(raw.get(field), list) else {}


def _name(entry: object, number: int) -> str:
    key = entry.get("key") if isinstance(entry, dict) else None
    return key if isinstance(key, str) and key else f"#{number}"
