"""The catalogue in another language: the same keys with other words, for who shows it; nothing is reckoned with it.

`data/<language>/` holds a file a system and `vocabulary.toml`, `knowledge.toml` and `things.toml` (tools and materials,
by their English words, since they have no keys). Each file must tell everything its original does, and nothing else.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import Any, TypeVar

import msgspec

from inspections.catalogue.catalogue import Catalogue, PartCheck, PartJob
from inspections.catalogue.faults import CatalogueError, Fault
from inspections.catalogue.loader import DATA, default_catalogue
from inspections.catalogue.schema import Check, Job, Part, SystemFile, Trait
from inspections.catalogue.service_templates import service_templates
from inspections.catalogue.signs import default_signs
from inspections.catalogue.translated_files import Knowledge, PartWords, SystemWords, VocabularyWords, read_words

LANGUAGES = ("de",)
"""Languages beside English."""

S = TypeVar("S", bound=msgspec.Struct)


def catalogue_in(language: str) -> Catalogue:
    """The catalogue in a language ("de", "de-at"); in English where there is no other.

    Raises CatalogueError, naming file, part and field, where a translation is not complete.
    """
    key = language.partition("-")[0]
    return _translated(key).catalogue if key in LANGUAGES else default_catalogue()


def text_in(language: str, english: str) -> str | None:
    """A title, caution, tool or other text of the catalogue in a language; None where it is no such text."""
    key = language.partition("-")[0]
    return _translated(key).texts.get(english) if key in LANGUAGES else None


class _Translation(msgspec.Struct, frozen=True):
    catalogue: Catalogue
    texts: Mapping[str, str]


@cache
def _translated(language: str) -> _Translation:
    original = default_catalogue()
    faults: list[Fault] = []
    read = read_words(DATA / language, tuple(original.systems), faults)
    if not faults:
        faults += _Comparison(original, read.systems, read.vocabulary, read.knowledge, read.things).faults()
    if faults:
        raise CatalogueError([replace(fault, file=f"{language}/{fault.file}") for fault in faults])
    told = _Telling(read.systems, read.vocabulary, read.things).catalogue(original)
    return _Translation(told, MappingProxyType(_texts(original, told, read.knowledge, read.things)))


class _Comparison:
    """What a translation leaves out, and what it tells of things that are not there."""

    def __init__(
        self,
        original: Catalogue,
        systems: Mapping[str, SystemWords],
        vocabulary: VocabularyWords,
        knowledge: Knowledge,
        things: Mapping[str, str],
    ) -> None:
        self.original, self.systems = original, systems
        self.vocabulary, self.knowledge, self.things = vocabulary, knowledge, things

    def faults(self) -> list[Fault]:
        return [*self._systems(), *self._vocabulary(), *self._knowledge(), *self._things()]

    def _systems(self) -> Iterator[Fault]:
        for key, system in self.original.systems.items():
            file, words = f"{key}.toml", self.systems[key]
            parts = {part.key: part for part in system.parts}
            yield from _differences(file, "", parts, words.parts)
            for name in parts.keys() & words.parts.keys():
                yield from _part_faults(file, parts[name], words.parts[name])

    def _vocabulary(self) -> Iterator[Fault]:
        for table in ("stations", "cautions", "access", "follow_ups", "sheets", "traits"):
            told: Mapping[str, Any] = getattr(self.vocabulary, table)
            yield from _differences("vocabulary.toml", table, getattr(self.original, table), told)
        for key, trait in self.original.traits.items():
            values = {value.key for value in trait.values}
            said: Iterable[str] = self.vocabulary.traits[key].values if key in self.vocabulary.traits else values
            yield from _differences("vocabulary.toml", f"traits.{key}", values, said)

    def _knowledge(self) -> Iterator[Fault]:
        signs = default_signs()
        for table, keys in (
            ("service_rules", service_templates()),
            ("complaints", signs.complaints),
            ("codes", signs.meanings),
        ):
            yield from _differences("knowledge.toml", table, keys, getattr(self.knowledge, table))

    def _things(self) -> Iterator[Fault]:
        return _differences("things.toml", "", things_of(self.original), self.things)


def things_of(catalogue: Catalogue) -> set[str]:
    """Every tool and material that a check, a job or an access names."""
    jobs = [entry.job for entry in catalogue.jobs.values()]
    return {
        *(entry.check.tool for entry in catalogue.checks.values()),
        *(tool for job in jobs for tool in (*job.tools, *job.consumables)),
        *(tool for access in catalogue.access.values() for tool in access.tools),
    }


def _part_faults(file: str, part: Part, words: PartWords) -> Iterator[Fault]:
    checks = {check.key: check for check in part.checks}
    yield from _differences(file, part.key, (damage.part for damage in part.failure.damages), words.damages)
    yield from _differences(file, part.key, (job.key for job in part.jobs), words.jobs)
    yield from _differences(file, part.key, checks, words.checks)
    for key in checks.keys() & words.checks.keys():
        seen = (observation.key for observation in checks[key].observations)
        yield from _differences(file, f"{part.key}.{key}", seen, words.checks[key].observations)


def _differences(file: str, place: str, wanted: Any, told: Any) -> Iterator[Fault]:
    needed, there = set(wanted), set(told)
    yield from (Fault(file, place, key, "is not translated") for key in sorted(needed - there))
    yield from (Fault(file, place, key, "is not in the catalogue") for key in sorted(there - needed))


class _Telling:
    """The catalogue with other words."""

    def __init__(
        self, systems: Mapping[str, SystemWords], vocabulary: VocabularyWords, things: Mapping[str, str]
    ) -> None:
        self.systems, self.vocabulary, self.things = systems, vocabulary, things

    def catalogue(self, original: Catalogue) -> Catalogue:
        systems = {key: self._system(system) for key, system in original.systems.items()}
        parts = {part.key: part for system in systems.values() for part in system.parts}
        words = self.vocabulary
        checks = [PartCheck(f"{part.key}.{each.key}", part, each) for part in parts.values() for each in part.checks]
        jobs = [PartJob(f"{part.key}.{each.key}", part, each) for part in parts.values() for each in part.jobs]
        return replace(
            original,
            systems=MappingProxyType(systems),
            parts=MappingProxyType(parts),
            checks=MappingProxyType({entry.key: entry for entry in checks}),
            jobs=MappingProxyType({entry.key: entry for entry in jobs}),
            stations=_each(original.stations, lambda key: msgspec.structs.asdict(words.stations[key])),
            cautions=_each(original.cautions, lambda key: {"text": words.cautions[key]}),
            access=_each(original.access, lambda key: self._access(key, original.access[key].tools)),
            follow_ups=_each(original.follow_ups, lambda key: {"title": words.follow_ups[key]}),
            sheets=_each(original.sheets, lambda key: msgspec.structs.asdict(words.sheets[key])),
            traits=_each(original.traits, lambda key: self._trait(original.traits[key])),
        )

    def _system(self, system: SystemFile) -> SystemFile:
        words = self.systems[system.key]
        parts = tuple(self._part(part, words.parts[part.key]) for part in system.parts)
        return _with(system, title=words.title, parts=parts)

    def _part(self, part: Part, words: PartWords) -> Part:
        damages = tuple(_with(damage, why=words.damages[damage.part]) for damage in part.failure.damages)
        return _with(
            part,
            title=words.title,
            failure=_with(part.failure, what=words.failure, damages=damages),
            checks=tuple(self._check(check, words) for check in part.checks),
            jobs=tuple(self._job(job, words) for job in part.jobs),
        )

    def _check(self, check: Check, words: PartWords) -> Check:
        told = words.checks[check.key]
        seen = tuple(_with(each, title=told.observations[each.key]) for each in check.observations)
        tool = self.things[check.tool]
        return _with(check, title=told.title, method=told.method, tool=tool, observations=seen)

    def _job(self, job: Job, words: PartWords) -> Job:
        return _with(
            job,
            title=words.jobs[job.key],
            tools=tuple(self.things[tool] for tool in job.tools),
            consumables=tuple(self.things[each] for each in job.consumables),
        )

    def _access(self, key: str, tools: tuple[str, ...]) -> dict[str, Any]:
        return {"title": self.vocabulary.access[key], "tools": tuple(self.things[tool] for tool in tools)}

    def _trait(self, trait: Trait) -> dict[str, Any]:
        words = self.vocabulary.traits[trait.key]
        values = tuple(_with(value, title=words.values[value.key]) for value in trait.values)
        return {"title": words.title, "values": values}


def _with(entry: S, **changed: Any) -> S:
    return msgspec.structs.replace(entry, **changed)


def _each(entries: Mapping[str, S], words: Any) -> Mapping[str, S]:
    return MappingProxyType({key: _with(entry, **words(key)) for key, entry in entries.items()})


def _texts(original: Catalogue, told: Catalogue, knowledge: Knowledge, things: Mapping[str, str]) -> dict[str, str]:
    """Every text that is shown without its key beside it, by its English words."""
    signs = default_signs()
    pairs = dict(things)
    pairs |= {template.title: knowledge.service_rules[key] for key, template in service_templates().items()}
    pairs |= {title: knowledge.complaints[key] for key, title in signs.complaints.items()}
    pairs |= {meaning: knowledge.codes[code] for code, meaning in signs.meanings.items()}
    for table in ("systems", "stations", "sheets", "access", "follow_ups", "parts"):
        originals = getattr(original, table)
        pairs |= {entry.title: getattr(told, table)[key].title for key, entry in originals.items()}
    pairs |= {caution.text: told.cautions[key].text for key, caution in original.cautions.items()}
    pairs |= {part.failure.what: told.parts[key].failure.what for key, part in original.parts.items()}
    pairs |= {entry.check.title: told.checks[key].check.title for key, entry in original.checks.items()}
    pairs |= {entry.job.title: told.jobs[key].job.title for key, entry in original.jobs.items()}
    return pairs
