"""Templates of scheduled work: one file, checked against the catalogue. A fleet copies and changes them."""

from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

import msgspec

from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.conditions import parse_condition
from inspections.catalogue.faults import CatalogueError, Fault
from inspections.catalogue.loader import DATA, default_catalogue

FILE = "knowledge/service-rules.toml"


class ServiceTemplate(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Work every so many km or months, whichever comes first.

    `part` is the part the work renews or looks after, empty where it belongs to none; `needs` are conditions on the
    vehicle's traits, all of which must hold.
    """

    key: str
    title: str
    part: str = ""
    every_km: int | None = None
    every_months: int | None = None
    needs: tuple[str, ...] = ()
    source: str


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    service_rules: tuple[ServiceTemplate, ...]


@cache
def service_templates() -> Mapping[str, ServiceTemplate]:
    """The templates by key, in the file's order; raises CatalogueError with every fault."""
    return read_templates((DATA / FILE).read_bytes(), default_catalogue())


def read_templates(content: bytes, catalogue: Catalogue) -> Mapping[str, ServiceTemplate]:
    """The templates of a file's bytes; raises CatalogueError naming file, template and field of every fault."""
    try:
        entries = msgspec.convert(msgspec.toml.decode(content), _File).service_rules
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise CatalogueError([Fault(FILE, "", "", str(error))]) from error
    faults = list(_faults(entries, catalogue))
    if faults:
        raise CatalogueError(faults)
    return MappingProxyType({entry.key: entry for entry in entries})


def _faults(entries: tuple[ServiceTemplate, ...], catalogue: Catalogue) -> Iterator[Fault]:
    seen: set[str] = set()
    for entry in entries:
        if entry.key in seen:
            yield Fault(FILE, entry.key, "key", "used twice")
        seen.add(entry.key)
        if entry.part and entry.part not in catalogue.parts:
            yield Fault(FILE, entry.key, "part", f"there is no part {entry.part}")
        if not any(each and each > 0 for each in (entry.every_km, entry.every_months)):
            yield Fault(FILE, entry.key, "every_km", "needs a distance or months above nothing")
        yield from (fault for text in entry.needs for fault in _need_faults(entry.key, text, catalogue))


def _need_faults(key: str, text: str, catalogue: Catalogue) -> Iterator[Fault]:
    try:
        condition = parse_condition(text)
    except ValueError as error:
        yield Fault(FILE, key, "needs", str(error))
        return
    known: Any = catalogue.traits.get(condition.trait)
    values = {value.key for value in known.values} if known else set()
    if not set(condition.values) <= values:
        yield Fault(FILE, key, "needs", f"{text}: unknown trait or value")
