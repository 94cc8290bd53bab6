"""The words the system files are written in: stations, cautions, access, follow-ups, sheets and traits, by key."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from inspections.catalogue.conditions import parse_condition
from inspections.catalogue.faults import Fault
from inspections.catalogue.part_rules import key_complaints, text_complaints
from inspections.catalogue.schema import Access, Caution, FollowUp, Sheet, Station, Trait

FULL_SHEET = "full"
STANDS = "stands"
"""The caution without which nobody goes near a raised vehicle."""


@dataclass(frozen=True, slots=True)
class Vocabularies:
    """Every vocabulary, each keyed and in the order of its file."""

    stations: Mapping[str, Station]
    cautions: Mapping[str, Caution]
    access: Mapping[str, Access]
    follow_ups: Mapping[str, FollowUp]
    sheets: Mapping[str, Sheet]
    traits: Mapping[str, Trait]

    def condition_faults(self, text: str) -> Iterator[str]:
        """What is wrong with a condition: its form, an unknown trait, an unknown value."""
        try:
            condition = parse_condition(text)
        except ValueError as error:
            yield str(error)
            return
        trait = self.traits.get(condition.trait)
        if trait is None:
            yield f'"{text}": unknown trait "{condition.trait}"'
            return
        allowed = [value.key for value in trait.values]
        for value in condition.values:
            if value not in allowed:
                yield f'"{text}": unknown value "{value}" (one of {", ".join(allowed)})'


def vocabulary_faults(words: Vocabularies) -> Iterator[Fault]:
    """Every fault inside the vocabularies themselves."""
    for name in ("stations", "cautions", "access", "follow_ups", "sheets", "traits"):
        entries: Mapping[str, Any] = getattr(words, name)
        file = f"vocabulary/{name.replace('_', '-')}.toml"
        for entry in entries.values():
            for field, message in _entry_complaints(words, entry):
                yield Fault(file, entry.key, field, message)
    if FULL_SHEET not in words.sheets:
        yield Fault("vocabulary/sheets.toml", FULL_SHEET, "", "the sheet that holds every check is missing")


def _entry_complaints(words: Vocabularies, entry: Any) -> Iterator[tuple[str, str]]:
    yield from key_complaints("key", entry.key)
    for field in ("title", "stance", "text", "purpose"):
        if hasattr(entry, field):
            yield from text_complaints(field, getattr(entry, field))
    for caution in getattr(entry, "cautions", ()):
        if caution not in words.cautions:
            yield "cautions", f'unknown caution "{caution}"'
    for field in ("hours", "eur", "after_km", "setup_minutes"):
        if getattr(entry, field, 0) < 0:
            yield field, f"must not be negative, not {getattr(entry, field):g}"
    if isinstance(entry, Station):
        yield from _station_complaints(entry)
    if isinstance(entry, Trait):
        yield from _trait_complaints(words, entry)


def _station_complaints(station: Station) -> Iterator[tuple[str, str]]:
    if station.raises != "none" and STANDS not in station.cautions:
        yield "cautions", f'a station that raises the vehicle carries the caution "{STANDS}"'
    if (station.per == "corner") != (station.raises == "corner"):
        yield "raises", 'a station repeats per corner exactly when it raises the "corner"'


def _trait_complaints(words: Vocabularies, trait: Trait) -> Iterator[tuple[str, str]]:
    allowed = [value.key for value in trait.values]
    if trait.default not in allowed:
        yield "default", f'"{trait.default}" is none of its values ({", ".join(allowed)})'
    earlier = list(words.traits)[: list(words.traits).index(trait.key)]
    for implied in trait.implied:
        field = f"implied[{implied.when}]"
        if implied.value not in allowed:
            yield f"{field}.value", f'"{implied.value}" is none of its values ({", ".join(allowed)})'
        for message in words.condition_faults(implied.when):
            yield f"{field}.when", message
        if implied.when.partition("=")[0] not in earlier:
            yield f"{field}.when", "must name a trait listed before this one"
