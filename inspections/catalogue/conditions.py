"""Conditions on a vehicle's traits, written "trait=value|value": the trait has one of the values."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Condition:
    """Holds where the trait has one of the values."""

    trait: str
    values: tuple[str, ...]

    def holds(self, traits: Mapping[str, str]) -> bool:
        """Whether a vehicle with these traits (all of them given) meets the condition; KeyError if one is missing."""
        return traits[self.trait] in self.values


def parse_condition(text: str) -> Condition:
    """The condition a text like "drive=front|four" states; ValueError when it is not of that form."""
    trait, equals, values = text.partition("=")
    condition = Condition(trait, tuple(values.split("|")))
    if not equals or not trait or not all(condition.values):
        raise ValueError(f'"{text}" is not of the form "trait=value|value"')
    return condition


def parse_all(texts: tuple[str, ...]) -> tuple[Condition, ...]:
    """The conditions of several texts; ValueError on the first that is malformed."""
    return tuple(parse_condition(text) for text in texts)


def all_hold(conditions: tuple[Condition, ...], traits: Mapping[str, str]) -> bool:
    """Whether every condition holds; true of none."""
    return all(condition.holds(traits) for condition in conditions)
