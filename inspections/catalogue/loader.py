"""From a folder of TOML files to a checked catalogue."""

import hashlib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from inspections.catalogue.catalogue import Catalogue, PartCheck, PartJob, Slot
from inspections.catalogue.faults import CatalogueError, Fault
from inspections.catalogue.part_rules import key_complaints, part_complaints, text_complaints
from inspections.catalogue.reading import VOCABULARY, read_system, read_vocabulary
from inspections.catalogue.reference_rules import reference_complaints
from inspections.catalogue.schema import Part, SystemFile
from inspections.catalogue.vocabularies import Vocabularies, vocabulary_faults

DATA = Path(__file__).parent / "data"

SYSTEM_ORDER = (
    "brakes",
    "steering",
    "suspension",
    "wheels-tyres",
    "driveline",
    "engine",
    "ignition",
    "intake-fuel",
    "cooling",
    "exhaust-emissions",
    "gearbox",
    "electrics-lamps",
    "body-restraint",
    "climate",
    "hybrid-high-voltage",
    "documents",
)
"""The order in which systems are told and slots are numbered; systems added by a fleet follow, by file name."""

K = TypeVar("K")
V = TypeVar("V")


@cache
def default_catalogue() -> Catalogue:
    """The catalogue that comes with the product, read once. Raises CatalogueError if its files are broken."""
    return load_catalogue()


def load_catalogue(folder: Path = DATA) -> Catalogue:
    """The catalogue of a folder: its *.toml are systems, those under vocabulary/ the words.

    Raises CatalogueError with every fault that was found.
    """
    paths = sorted([*folder.glob("*.toml"), *folder.glob("vocabulary/*.toml")])
    return build_catalogue({path.relative_to(folder).as_posix(): path.read_bytes() for path in paths})


def build_catalogue(files: Mapping[str, bytes]) -> Catalogue:
    """The catalogue of files given by name ("brakes.toml", "vocabulary/stations.toml", ...) and content.

    Raises CatalogueError with every fault that was found; faults of shape hide those that can only be seen once
    every file has its shape.
    """
    faults = [Fault(name, "", "", "the file is missing") for name in VOCABULARY if name not in files]
    unknown = [name for name in files if name.startswith("vocabulary/") and name not in VOCABULARY]
    faults += [Fault(name, "", "", f"unknown vocabulary (one of {', '.join(VOCABULARY)})") for name in unknown]
    words = _read_vocabularies(files, faults)
    systems = _read_systems(files, faults)
    _raise_if_any(faults)
    faults += [*vocabulary_faults(words), *_system_faults(systems, words)]
    _raise_if_any(faults)
    return _assemble(systems, words, _digest(files))


def _raise_if_any(faults: list[Fault]) -> None:
    if faults:
        raise CatalogueError(faults)


def _read_vocabularies(files: Mapping[str, bytes], faults: list[Fault]) -> Vocabularies:
    tables: dict[str, Mapping[str, Any]] = {}
    for file, (table, _) in VOCABULARY.items():
        entries: list[Any] = read_vocabulary(file, files[file], faults) if file in files else []
        by_key = {entry.key: entry for entry in reversed(entries)}
        repeats = [entry.key for entry in entries if by_key[entry.key] is not entry]
        faults += [Fault(file, key, "key", "is there twice") for key in repeats]
        tables[table] = MappingProxyType({entry.key: by_key[entry.key] for entry in entries})
    return Vocabularies(**tables)


def _read_systems(files: Mapping[str, bytes], faults: list[Fault]) -> dict[str, SystemFile]:
    """The systems by file name, in the order they are told."""
    read = {name: read_system(name, files[name], faults) for name in files if not name.startswith("vocabulary/")}
    found = {name: system for name, system in read.items() if system is not None}
    if not read:
        faults.append(Fault("", "", "", "there is no system file"))
    return dict(sorted(found.items(), key=lambda item: (_rank(item[1].key), item[0])))


def _rank(system_key: str) -> int:
    return SYSTEM_ORDER.index(system_key) if system_key in SYSTEM_ORDER else len(SYSTEM_ORDER)


def _system_faults(systems: Mapping[str, SystemFile], words: Vocabularies) -> Iterator[Fault]:
    part_keys = {part.key for system in systems.values() for part in system.parts}
    for file, system in systems.items():
        for field, message in [*key_complaints("key", system.key), *text_complaints("title", system.title)]:
            yield Fault(file, "", field, message)
        for part in system.parts:
            for field, message in [*part_complaints(part), *reference_complaints(part, words, part_keys)]:
                yield Fault(file, part.key, field, message)
    yield from _repeated_keys(systems)


def _repeated_keys(systems: Mapping[str, SystemFile]) -> Iterator[Fault]:
    system_files: dict[str, str] = {}
    part_files: dict[str, str] = {}
    for file, system in systems.items():
        if system_files.setdefault(system.key, file) != file:
            yield Fault(file, "", "key", f'system "{system.key}" is already in {system_files[system.key]}')
        for part in system.parts:
            if part.key in part_files:
                yield Fault(file, part.key, "key", f"the part is already in {part_files[part.key]}")
            part_files.setdefault(part.key, file)


def _assemble(systems: Mapping[str, SystemFile], words: Vocabularies, digest: str) -> Catalogue:
    parts = [part for system in systems.values() for part in system.parts]
    slots = tuple(Slot(part.key, position) for part in parts for position in part.positions or ("",))
    return Catalogue(
        systems=_frozen({system.key: system for system in systems.values()}),
        parts=_frozen({part.key: part for part in parts}),
        system_of_part=_frozen({part.key: system.key for system in systems.values() for part in system.parts}),
        checks=_frozen({entry.key: entry for part in parts for entry in _checks(part)}),
        jobs=_frozen({entry.key: entry for part in parts for entry in _jobs(part)}),
        stations=words.stations,
        cautions=words.cautions,
        access=words.access,
        follow_ups=words.follow_ups,
        sheets=words.sheets,
        traits=words.traits,
        slots=slots,
        slot_index=_frozen({(slot.part_key, slot.position): row for row, slot in enumerate(slots)}),
        digest=digest,
    )


def _checks(part: Part) -> list[PartCheck]:
    return [PartCheck(f"{part.key}.{check.key}", part, check) for check in part.checks]


def _jobs(part: Part) -> list[PartJob]:
    return [PartJob(f"{part.key}.{job.key}", part, job) for job in part.jobs]


def _frozen(mapping: dict[K, V]) -> Mapping[K, V]:
    return MappingProxyType(mapping)


def _digest(files: Mapping[str, bytes]) -> str:
    """sha256 over names and contents, each with its length, so that no two sets of files run together alike."""
    total = hashlib.sha256()
    for name in sorted(files):
        for piece in (name.encode(), files[name]):
            total.update(len(piece).to_bytes(8, "big"))
            total.update(piece)
    return total.hexdigest()
