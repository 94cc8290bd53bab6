"""How vehicles are looked after: what tells a cherished one from a neglected one."""

from collections.abc import Mapping
from dataclasses import dataclass

from fleetcare.kernel.grades import Grade
from fleetcare.portal.demo.fixtures import Character


@dataclass(frozen=True, slots=True)
class Habits:
    """Chances are 0-1. Invented, chosen so that the fleets look like fleets."""

    pace: float
    """How much longer than the book parts last; within what the judge thinks possible."""
    looks_per_year: float
    renewed_at: Grade
    """About when the owners before renewed parts."""
    remedy: Mapping[Grade, float]
    """Chance that a finding of a grade is put right after the look."""
    most_jobs: int
    """After one look; dangerous findings come on top."""
    recorded: float
    """Chance that a renewal is written down. Where many are not, lives look too long to be believed."""
    left_out: float
    """Chance that a station is not examined."""
    sheets: Mapping[str, float]


_CAREFUL = Habits(
    pace=2.25,
    looks_per_year=0.9,
    renewed_at=Grade.MINOR,
    remedy={Grade.MINOR: 0.2, Grade.MAJOR: 0.97, Grade.DANGEROUS: 1.0},
    most_jobs=4,
    recorded=0.98,
    left_out=0.02,
    sheets={"full": 1, "wheels-off": 3, "before-trip": 3, "five-minute": 2},
)
_ORDINARY = Habits(
    pace=1.95,
    looks_per_year=0.7,
    renewed_at=Grade.MAJOR,
    remedy={Grade.MINOR: 0.05, Grade.MAJOR: 0.7, Grade.DANGEROUS: 1.0},
    most_jobs=3,
    recorded=0.95,
    left_out=0.06,
    sheets={"wheels-off": 3, "before-trip": 3, "five-minute": 4},
)
_NEGLECTED = Habits(
    pace=1.5,
    looks_per_year=0.5,
    renewed_at=Grade.MAJOR,
    remedy={Grade.MINOR: 0.0, Grade.MAJOR: 0.3, Grade.DANGEROUS: 1.0},
    most_jobs=2,
    recorded=0.9,
    left_out=0.15,
    sheets={"wheels-off": 1, "five-minute": 3},
)
_UNSEEN = Habits(
    pace=1.7,
    looks_per_year=0.2,
    renewed_at=Grade.MAJOR,
    remedy={Grade.MINOR: 0.0, Grade.MAJOR: 0.2, Grade.DANGEROUS: 1.0},
    most_jobs=1,
    recorded=0.9,
    left_out=0.25,
    sheets={"five-minute": 1},
)

HABITS: Mapping[Character, Habits] = {
    "careful": _CAREFUL,
    "ordinary": _ORDINARY,
    "neglected": _NEGLECTED,
    "dangerous": _NEGLECTED,
    "unseen": _UNSEEN,
}
