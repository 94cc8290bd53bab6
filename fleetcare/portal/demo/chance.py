"""Chance that falls the same way on every machine: each generator is seeded by what it decides about."""

from collections.abc import Mapping, Sequence
from random import Random
from typing import TypeVar

T = TypeVar("T")


def seeded(*names: object) -> Random:
    """A generator of its own for the thing named; the same names give the same numbers."""
    return Random("/".join(map(str, names)))  # noqa: S311 - invented data, nothing secret


def drawn(rng: Random, weights: Mapping[T, float]) -> T:
    """One of the keys, by weight."""
    choices: Sequence[T] = list(weights)
    return rng.choices(choices, list(weights.values()))[0]
