"""The catalogue in memory: everything by its key, and which of it applies to a vehicle of certain traits."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from inspections.catalogue.access import place_access
from inspections.catalogue.conditions import Condition, all_hold, parse_all
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
from inspections.catalogue.traits import complete_traits, validate_traits
from inspections.catalogue.vocabularies import FULL_SHEET

_SIGNATURES_KEPT = 4096

K = TypeVar("K")
V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Slot:
    """A part at a position; the position is empty when the part has one place."""

    part_key: str
    position: str


@dataclass(frozen=True, slots=True)
class PartCheck:
    """A check with the part it examines; `key` is "part.check"."""

    key: str
    part: Part
    check: Check


@dataclass(frozen=True, slots=True)
class PartJob:
    """A job with the part it remedies; `key` is "part.job"."""

    key: str
    part: Part
    job: Job


@dataclass(frozen=True, slots=True)
class ApplicableCheck:
    """A check to be done at one position of a certain vehicle, and the slot it tells about."""

    key: str
    position: str
    slot: int


@dataclass(frozen=True, slots=True, eq=False)
class Catalogue:
    """Parts, checks and jobs with the words they are told in; never changed after loading.

    Mappings keep the order of the files: systems in the order of the vehicle, stations in that of the walk. `slots`
    is the order of every array of the core; `digest` (sha256, hexadecimal) changes whenever any file's content does.
    """

    systems: Mapping[str, SystemFile]
    parts: Mapping[str, Part]
    system_of_part: Mapping[str, str]
    checks: Mapping[str, PartCheck]
    jobs: Mapping[str, PartJob]
    stations: Mapping[str, Station]
    cautions: Mapping[str, Caution]
    access: Mapping[str, Access]
    follow_ups: Mapping[str, FollowUp]
    sheets: Mapping[str, Sheet]
    traits: Mapping[str, Trait]
    slots: tuple[Slot, ...]
    slot_index: Mapping[tuple[str, str], int]
    digest: str
    _slot_conditions: tuple[tuple[Condition, ...], ...] = field(init=False, repr=False)
    _check_conditions: Mapping[str, tuple[Condition, ...]] = field(init=False, repr=False)
    _complete_by_given: dict[frozenset[tuple[str, str]], dict[str, str]] = field(
        init=False, repr=False, default_factory=dict
    )
    _slots_by_signature: dict[tuple[str, ...], tuple[int, ...]] = field(init=False, repr=False, default_factory=dict)
    _checks_by_signature: dict[tuple[str, ...], tuple[ApplicableCheck, ...]] = field(
        init=False, repr=False, default_factory=dict
    )

    def __post_init__(self) -> None:
        object.__setattr__(self, "_slot_conditions", tuple(self._conditions_of(slot) for slot in self.slots))
        conditions = {key: parse_all(entry.check.needs) for key, entry in self.checks.items()}
        object.__setattr__(self, "_check_conditions", conditions)

    @property
    def hidden_parts(self) -> frozenset[str]:
        """Keys of the parts on which no sign of coming failure can be seen."""
        return frozenset(key for key, part in self.parts.items() if part.life.pf_km == 0)

    def with_defaults(self, traits: Mapping[str, str]) -> dict[str, str]:
        """The value of every trait: as given, else as implied by the others, else the default.

        Raises TraitError, naming trait and allowed values, when one that is given does not exist.
        """
        return dict(self._complete(traits))

    def validate_traits(self, traits: Mapping[str, str]) -> None:
        """Raises TraitError, naming each wrong trait and its allowed values, unless all of them exist."""
        validate_traits(self.traits, traits)

    def applicable_slots(self, traits: Mapping[str, str]) -> tuple[int, ...]:
        """Rows of the slots that a vehicle of these traits has, in slot order. Raises TraitError."""
        complete = self._complete(traits)
        signature = tuple(complete.values())
        found = self._slots_by_signature.get(signature)
        if found is None:
            _make_room(self._slots_by_signature)
            found = tuple(row for row, needs in enumerate(self._slot_conditions) if all_hold(needs, complete))
            self._slots_by_signature[signature] = found
        return found

    def applicable_checks(self, traits: Mapping[str, str], sheet: str = FULL_SHEET) -> tuple[ApplicableCheck, ...]:
        """The checks of a sheet at the positions a vehicle of these traits has, in catalogue order.

        Raises TraitError for the traits and KeyError for an unknown sheet.
        """
        complete = self._complete(traits)
        signature = (self.sheets[sheet].key, *complete.values())
        found = self._checks_by_signature.get(signature)
        if found is None:
            _make_room(self._checks_by_signature)
            found = tuple(self._checks_at(complete, sheet))
            self._checks_by_signature[signature] = found
        return found

    def access_units(self, job_key: str, position: str) -> tuple[str, ...]:
        """What has to be taken apart for a job ("part.job") at a position, each unit once, in the job's order."""
        entry = self.jobs[job_key]
        units = (
            unit
            for reference in entry.job.access
            for unit in place_access(reference, entry.job.scope, position, entry.part.positions, self.access)
        )
        return tuple(dict.fromkeys(units))

    def access_hours(self, units: tuple[str, ...]) -> float:
        """Hours that these units of access take together [h]."""
        return sum(self.access[unit.partition(".")[0]].hours for unit in units)

    def _complete(self, traits: Mapping[str, str]) -> Mapping[str, str]:
        try:
            given = frozenset(traits.items())
        except TypeError:  # a value that is no text (a list, say): refused below by its trait's name
            return complete_traits(self.traits, traits)
        found = self._complete_by_given.get(given)
        if found is None:
            _make_room(self._complete_by_given)
            found = complete_traits(self.traits, traits)
            self._complete_by_given[given] = found
        return found

    def _conditions_of(self, slot: Slot) -> tuple[Condition, ...]:
        part = self.parts[slot.part_key]
        return parse_all((*part.needs, *part.position_needs.get(slot.position, ())))

    def _checks_at(self, complete: Mapping[str, str], sheet: str) -> list[ApplicableCheck]:
        found: list[ApplicableCheck] = []
        for row in self.applicable_slots(complete):
            slot = self.slots[row]
            for check in self.parts[slot.part_key].checks:
                key = f"{slot.part_key}.{check.key}"
                on_sheet = sheet == FULL_SHEET or sheet in check.sheets
                if on_sheet and all_hold(self._check_conditions[key], complete):
                    found.append(ApplicableCheck(key, slot.position, row))
        return found


def _make_room(cache: dict[K, V]) -> None:
    """Vehicles share few combinations of traits; a flood of odd ones must not fill the memory."""
    if len(cache) >= _SIGNATURES_KEPT:
        cache.clear()
