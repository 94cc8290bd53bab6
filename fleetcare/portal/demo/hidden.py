"""The hidden truth: how long each fitted part really lasts, and how bad it really is on a day."""

import math
from dataclasses import dataclass
from datetime import date
from random import Random

from fleetcare.kernel.grades import Grade
from fleetcare.portal.demo.road import Road
from inspections.catalogue.schema import Check, Measurement, Part

_LEFT_AT = {Grade.MINOR: 1.0, Grade.MAJOR: 0.5, Grade.DANGEROUS: 0.15}
"""Share of the way from first sign to failure that is left when a grade begins."""
_MEASURED_PAST_LIMIT = 1.35
"""A part that is measured does not fail at its limit but some way beyond."""
_SIGN_ELSEWHERE = 0.12
"""Chance that a worn part also shows at a second check."""


@dataclass(frozen=True, slots=True)
class FittedTruth:
    """A part on the vehicle, with the life that nobody in the story knows. Distances are on the part's own clock."""

    part: Part
    fitted_on: date
    fitted_clock_km: float
    life_km: float
    """From new to failure, or to the limit where the part is measured."""
    sign_km: float
    """From the first visible sign to failure; 0 where none can be seen."""
    telling: frozenset[str]
    """Keys of the checks at which its state can be seen."""
    taste: float
    """Which of several signs it shows, 0-1: the same one at every look."""

    @property
    def failed_at_km(self) -> float:
        """Clock since fitting at which it gives up."""
        return self.life_km * (_MEASURED_PAST_LIMIT if is_measured(self.part) else 1.0)

    def grade_at(self, clock_km: float) -> Grade:
        """How bad it really is."""
        used_km = clock_km - self.fitted_clock_km
        begun = (grade for grade, left in _LEFT_AT.items() if used_km >= self.life_km - left * self.sign_km)
        return max(begun, default=Grade.SOUND) if self.sign_km else Grade.SOUND

    def has_failed(self, clock_km: float) -> bool:
        """Whether it has given up by then."""
        return clock_km - self.fitted_clock_km >= self.failed_at_km

    def worn_fraction(self, clock_km: float) -> float:
        """Used share of its life; above 1 beyond the limit."""
        return max(clock_km - self.fitted_clock_km, 0.0) / self.life_km


def part_clock_km(part: Part, road: Road, on: date) -> float:
    """The part's clock on a day: distance and age mixed by what wears it."""
    life = part.life
    return life.km_weight * road.total_km(on) + (1 - life.km_weight) * road.years(on) * life.km / life.years


def wearing_figure(check: Check) -> Measurement | None:
    """The figure of a check that wears steadily, if it has one."""
    return check.measurement if check.measurement is not None and check.measurement.wears else None


def is_measured(part: Part) -> bool:
    """Whether the part's wear can be measured."""
    return any(wearing_figure(check) for check in part.checks)


def new_part(part: Part, pace: float, on: date, clock_km: float, rng: Random) -> FittedTruth:
    """A part as fitted on a day. `pace` stretches the book's life for a vehicle that is treated well."""
    spread = math.sqrt(math.log(1.0 + part.life.cv**2))
    life_km = part.life.km * pace * math.exp(rng.gauss(-0.5 * spread**2, spread))
    sign_km = min(part.life.pf_km * rng.uniform(0.7, 1.3), 0.8 * life_km)
    telling = frozenset(_telling_checks(part, rng))
    return FittedTruth(part, on, clock_km, life_km, sign_km, telling, rng.random())


def used_part(part: Part, pace: float, renewed_at: Grade, road: Road, on: date, rng: Random) -> FittedTruth:
    """What is found fitted when the story begins: the last of a row of parts, each renewed around a grade."""
    now_km, fitted_km = part_clock_km(part, road, on), 0.0
    truth = new_part(part, pace, on, fitted_km, rng)
    while now_km - fitted_km > (span_km := _kept_km(truth, renewed_at, rng)):
        fitted_km += span_km
        truth = new_part(part, pace, on, fitted_km, rng)
    return truth


def _kept_km(truth: FittedTruth, renewed_at: Grade, rng: Random) -> float:
    left = _LEFT_AT[renewed_at] * truth.sign_km * rng.uniform(0.2, 1.0)
    return max(truth.life_km - left, 0.3 * truth.life_km)


def _telling_checks(part: Part, rng: Random) -> list[str]:
    """Measured parts tell by their figures; others at one check above all, and now and then at more."""
    figures = [check.key for check in part.checks if wearing_figure(check)]
    others = [check.key for check in part.checks if not wearing_figure(check)]
    chosen = figures or [others.pop(rng.randrange(len(others)))]
    return [*chosen, *(key for key in others if rng.random() < _SIGN_ELSEWHERE)]
