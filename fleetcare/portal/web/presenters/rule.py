"""A score on a printed rule from 0 to 100: where it stands and how far it may be off."""

from dataclasses import dataclass

LONGEST = 100.0


@dataclass(frozen=True, slots=True)
class Rule:
    """Coordinates for an SVG of 100 units' width, as plain text so that no locale puts a comma into them."""

    at: str
    low: str
    width: str


def _clipped(value: float) -> float:
    return min(max(value, 0.0), LONGEST)


def rule(score: float, low: float, high: float) -> Rule:
    """The mark of a score and the band of its interval."""
    start, end = _clipped(min(low, score)), _clipped(max(high, score))
    return Rule(f"{_clipped(score):.2f}", f"{start:.2f}", f"{max(end - start, 0.5):.2f}")
