"""The shape of a translation's files, and reading them."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import msgspec

from inspections.catalogue.faults import Fault

Text = Annotated[str, msgspec.Meta(min_length=1)]
Texts = dict[str, Text]


class _Words(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A table of a translation's file."""


class CheckWords(_Words, frozen=True, kw_only=True):
    """A check; observations by key."""

    title: Text
    method: Text
    observations: Texts = {}


class PartWords(_Words, frozen=True, kw_only=True):
    """A part; damages by the part that suffers, jobs by key."""

    title: Text
    failure: Text
    damages: Texts = {}
    checks: dict[str, CheckWords]
    jobs: Texts


class SystemWords(_Words, frozen=True, kw_only=True):
    """One file a system."""

    title: Text
    parts: dict[str, PartWords]


class StationWords(_Words, frozen=True, kw_only=True):
    title: Text
    stance: Text


class SheetWords(_Words, frozen=True, kw_only=True):
    title: Text
    purpose: Text


class TraitWords(_Words, frozen=True, kw_only=True):
    title: Text
    values: Texts


class VocabularyWords(_Words, frozen=True, kw_only=True):
    """vocabulary.toml"""

    stations: dict[str, StationWords]
    cautions: Texts
    access: Texts
    follow_ups: Texts
    sheets: dict[str, SheetWords]
    traits: dict[str, TraitWords]


class Knowledge(_Words, frozen=True, kw_only=True):
    """knowledge.toml"""

    service_rules: Texts
    complaints: Texts
    codes: Texts


class _Things(_Words, frozen=True, kw_only=True):
    """things.toml: tools and materials by their English words."""

    things: Texts


@dataclass(frozen=True, slots=True)
class Read:
    """Every file of a translation."""

    systems: Mapping[str, SystemWords]
    vocabulary: VocabularyWords
    knowledge: Knowledge
    things: Mapping[str, str]


def read_words(folder: Path, systems: tuple[str, ...], faults: list[Fault]) -> Read:
    """The files of a folder; of one that is not as it should be a fault is added, and it counts as empty."""
    found = {key: _read(folder, f"{key}.toml", SystemWords, faults) for key in systems}
    vocabulary = _read(folder, "vocabulary.toml", VocabularyWords, faults)
    knowledge = _read(folder, "knowledge.toml", Knowledge, faults)
    things = _read(folder, "things.toml", _Things, faults)
    known = {f"{key}.toml" for key in systems} | {"vocabulary.toml", "knowledge.toml", "things.toml"}
    strange = sorted({path.name for path in folder.glob("*.toml")} - known)
    faults += [Fault(name, "", "", "is no file of a translation") for name in strange]
    return Read(found, vocabulary, knowledge, things.things if things else {})


def _read(folder: Path, file: str, kind: Any, faults: list[Fault]) -> Any:
    try:
        return msgspec.toml.decode((folder / file).read_bytes(), type=kind)
    except FileNotFoundError:
        faults.append(Fault(file, "", "", "the file is missing"))
    except (msgspec.DecodeError, msgspec.ValidationError, UnicodeDecodeError) as error:
        faults.append(Fault(file, "", "", str(error)))
    return None
