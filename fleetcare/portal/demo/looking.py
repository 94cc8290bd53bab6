"""What an inspector writes down of what is really there: readings, signs, and a wrong word at times."""

import math
from collections.abc import Iterator, Mapping
from random import Random
from typing import Any

from fleetcare.kernel.grades import Grade
from fleetcare.portal.demo.chance import drawn
from fleetcare.portal.demo.hidden import FittedTruth, wearing_figure
from inspections.catalogue.grading import governing_limit, grade_measurement
from inspections.catalogue.schema import Check, Measurement

# What is seen of what is there. Shares: common practice, no source. Nobody takes a sound part for a dangerous one.
_SEEN: Mapping[Grade, Mapping[Grade, float]] = {
    Grade.SOUND: {Grade.SOUND: 0.99, Grade.MINOR: 0.01},
    Grade.MINOR: {Grade.SOUND: 0.2, Grade.MINOR: 0.76, Grade.MAJOR: 0.04},
    Grade.MAJOR: {Grade.SOUND: 0.05, Grade.MINOR: 0.12, Grade.MAJOR: 0.83},
    Grade.DANGEROUS: {Grade.SOUND: 0.02, Grade.MAJOR: 0.1, Grade.DANGEROUS: 0.88},
}
_READ_OFF = 0.85
"""Share of looks at a measured part where the gauge comes out; else it is judged by eye."""
_JUMPS_OUT = 0.05
"""Share of figures like a tyre's pressure that are off although nothing is worn."""
_REMARKED = 0.3
_REMARKS: Mapping[Grade, tuple[str, ...]] = {
    Grade.MINOR: ("Keep an eye on it.", "Still fine for now.", "Beginning.", "Not worth doing on its own."),
    Grade.MAJOR: ("Worse than last time.", "Told them, wants to think about it.", "Before winter.", "Photographed."),
    Grade.DANGEROUS: ("Not to be driven like this.", "Showed it to them on the lift.", "Stays here until done."),
}
_REASONS: Mapping[str, tuple[str, ...]] = {
    "raised-corner": ("locking nut key not found", "wheel bolt seized, left alone"),
    "underneath-front": ("undertray left on", "no lift free"),
    "underneath-middle": ("no lift free", "heat shield not taken off"),
    "underneath-rear": ("no lift free", "covered in underseal"),
    "bonnet": ("engine still hot", "engine cover left on"),
    "road": ("not driven: no time", "not driven: ice on the road"),
    "cabin": ("full of luggage", "battery was off"),
    "documents": ("papers not at hand",),
}
_ANY_REASON = ("ran out of daylight", "heavy rain", "did not get to it")


def examined(check: Check, truth: FittedTruth, clock_km: float, scheme: str, rng: Random) -> dict[str, Any]:
    """What one check finds at one fitted part, as the fields of a result."""
    figure = wearing_figure(check)
    if figure is not None:
        return _read_off(figure, truth, clock_km, scheme, rng)
    real = truth.grade_at(clock_km) if check.key in truth.telling else Grade.SOUND
    if check.measurement is not None:
        return {"measurement": _unsteady(check.measurement, real, scheme, rng)}
    return _signs(check, drawn(rng, _SEEN[real]), truth.taste, rng)


def not_examined(station: str, rng: Random) -> str:
    """A reason why a station was left out."""
    return rng.choice(_REASONS.get(station, ()) + _ANY_REASON)


def wearing_value(figure: Measurement, truth: FittedTruth, clock_km: float, scheme: str) -> float:
    """What a perfect gauge would read: from new towards the limit in step with the life used."""
    limit = governing_limit(figure, scheme).value
    return figure.new + (limit - figure.new) * truth.worn_fraction(clock_km)


def _read_off(figure: Measurement, truth: FittedTruth, clock_km: float, scheme: str, rng: Random) -> dict[str, Any]:
    real = wearing_value(figure, truth, clock_km, scheme)
    value = _rounded(figure, rng.gauss(real, figure.noise_sd))
    if rng.random() < _READ_OFF:
        return {"measurement": {"value": value, "unit": figure.unit}}
    return {"grade": grade_measurement(figure, value, scheme).word, "note": "by eye"}


def _unsteady(figure: Measurement, real: Grade, scheme: str, rng: Random) -> dict[str, Any]:
    """A figure that does not wear: near new, or off by as much as the grade says."""
    if real == Grade.SOUND and rng.random() < _JUMPS_OUT:
        real = Grade.MINOR
    limit = governing_limit(figure, scheme).value
    worst = limit + 0.5 * (limit - figure.minor) if figure.dangerous is None else figure.dangerous
    marks = (figure.new, figure.minor, limit, worst, worst + 0.1 * (worst - figure.new))
    better, worse = marks[real], marks[real + 1]
    value = better + rng.uniform(0.05, 0.6) * (worse - better)
    return {"value": _rounded(figure, value), "unit": figure.unit}


def _rounded(figure: Measurement, value: float) -> float:
    """To what a gauge of that spread can show, and within what can be true."""
    digits = 0 if figure.noise_sd >= 1 else min(math.ceil(-math.log10(max(figure.noise_sd, 1e-3))), 3)
    return min(max(round(value, digits), figure.least), figure.most)


def _signs(check: Check, seen: Grade, taste: float, rng: Random) -> dict[str, Any]:
    """The word for what was seen, with the sign that means it where the check knows one."""
    found: dict[str, Any] = {"grade": seen.word}
    if seen == Grade.SOUND:
        return found
    signs = [sign.key for sign in check.observations if sign.grade == seen.word]
    if signs:
        found["observations"] = [signs[int(taste * len(signs))]]
    if rng.random() < _REMARKED:
        found["note"] = rng.choice(_REMARKS[seen])
    return found


def codes(fuel: str, rng: Random) -> Iterator[str]:
    """Trouble codes that an old vehicle of this fuel has stored: mostly none, rarely two."""
    known = _CODES.get(fuel, ())
    for chance in (0.3, 0.1):
        if known and rng.random() < chance:
            yield rng.choice(known)


# Generic codes of SAE J2012; from memory.
_CODES: Mapping[str, tuple[str, ...]] = {
    "petrol": ("P0420", "P0171", "P0301", "P0302", "P0135", "P0128", "P0455", "P0335"),
    "diesel": ("P0401", "P0299", "P0380", "P0101", "P2002", "P0087"),
    "hybrid": ("P0420", "P0128", "P0A80"),
    "electric": ("U0100",),
}
