"""The traits of one vehicle: completed where nothing is said, refused where they do not exist."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fleetcare.kernel.errors import Fault, InvalidInput
from inspections.catalogue.conditions import parse_condition
from inspections.catalogue.schema import Trait


@dataclass(frozen=True, slots=True)
class TraitFault:
    """A trait that does not exist, or a value that it cannot have; `allowed` are the traits or values that can be."""

    trait: str
    value: str
    allowed: tuple[str, ...]
    message: str


class TraitError(InvalidInput):
    """A vehicle was described by traits the catalogue does not know. Remedy: use the allowed values of each fault."""

    code = "unknown-trait"

    def __init__(self, trait_faults: tuple[TraitFault, ...]) -> None:
        self.trait_faults = trait_faults
        faults = [Fault(f"/{fault.trait}", self.code, fault.message) for fault in trait_faults]
        super().__init__(" ".join(fault.message for fault in trait_faults), faults=faults)


def trait_faults(known: Mapping[str, Trait], traits: Mapping[str, str]) -> Iterator[TraitFault]:
    """Every trait or value of a vehicle that the catalogue does not know."""
    for name, value in traits.items():
        trait = known.get(name)
        if trait is None:
            yield TraitFault(name, value, tuple(known), f'Unknown trait "{name}" (one of: {", ".join(known)}).')
            continue
        allowed = tuple(each.key for each in trait.values)
        if value not in allowed:
            message = f'The trait "{name}" cannot be "{value}" (one of: {", ".join(allowed)}).'
            yield TraitFault(name, value, allowed, message)


def validate_traits(known: Mapping[str, Trait], traits: Mapping[str, str]) -> None:
    """Raises TraitError, with every fault, unless each trait and value exists."""
    faults = tuple(trait_faults(known, traits))
    if faults:
        raise TraitError(faults)


def complete_traits(known: Mapping[str, Trait], traits: Mapping[str, str]) -> dict[str, str]:
    """The value of every known trait, in the catalogue's order: as given, else implied, else its default."""
    validate_traits(known, traits)
    complete: dict[str, str] = {}
    for name, trait in known.items():
        complete[name] = traits.get(name) or _assumed(trait, complete)
    return complete


def _assumed(trait: Trait, earlier: Mapping[str, str]) -> str:
    for implied in trait.implied:
        if parse_condition(implied.when).holds(earlier):
            return implied.value
    return trait.default
