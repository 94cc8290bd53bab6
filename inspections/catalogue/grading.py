"""What a figure or an observation means: its grade."""

import math
from collections.abc import Iterable

from fleetcare.kernel.errors import Fault, InvalidInput
from fleetcare.kernel.grades import Grade, worst
from inspections.catalogue.schema import Check, Limit, Measurement

_ROUNDING = 1e-9
"""Relative slack for figures that came out of a conversion: 2/32 in is 1.5875 mm, however it was computed."""


class ImplausibleValueError(InvalidInput):
    """A figure that cannot be true. Remedy: measure again, and look at the unit; between `least` and `most`."""

    code = "implausible-value"

    def __init__(self, measurement: Measurement, value: float) -> None:
        self.value, self.unit = value, measurement.unit
        self.least, self.most = measurement.least, measurement.most
        bounds = f"between {self.least:g} and {self.most:g} {self.unit}"
        detail = f"{value:g} {self.unit} cannot be true; it must lie {bounds}."
        super().__init__(detail, faults=[Fault("/measurement/value", self.code, detail)])


class UnknownObservationError(InvalidInput):
    """An observation that the check does not know. Remedy: use one of `allowed`, or say it in the note."""

    code = "unknown-observation"

    def __init__(self, key: str, allowed: tuple[str, ...]) -> None:
        self.key, self.allowed = key, allowed
        detail = f'Unknown observation "{key}" (one of: {", ".join(allowed) or "none"}).'
        super().__init__(detail, faults=[Fault("/observations", self.code, detail)])


class NothingToMeasureError(InvalidInput):
    """A figure for a check that is graded by looking. Remedy: leave the measurement out."""

    code = "nothing-to-measure"

    def __init__(self, check: Check) -> None:
        detail = f'"{check.title}" is graded by looking; there is nothing to measure.'
        super().__init__(detail, faults=[Fault("/measurement", self.code, detail)])


def governing_limit(measurement: Measurement, scheme: str) -> Limit:
    """The limit of a scheme of rules ("eu", "uk", "us", "trade"); the first one where the scheme has none."""
    return next((limit for limit in measurement.limits if limit.scheme == scheme), measurement.limits[0])


def refuse_implausible(measurement: Measurement, value: float) -> None:
    """Raises ImplausibleValueError for a figure outside what can be true, or that is no number at all."""
    if not (math.isfinite(value) and measurement.least <= value <= measurement.most):
        raise ImplausibleValueError(measurement, value)


def grade_measurement(measurement: Measurement, value: float, scheme: str) -> Grade:
    """The grade of a figure in the measurement's unit under a scheme of rules.

    A threshold is passed only beyond it: a tyre at exactly 1.6 mm is legal, and becomes `major` below. That is how
    the rules are worded ("at least", "not less than"), and the same reading is used for `minor` and `dangerous`.
    Raises ImplausibleValueError.
    """
    refuse_implausible(measurement, value)
    if measurement.dangerous is not None and _beyond(measurement, value, measurement.dangerous):
        return Grade.DANGEROUS
    if _beyond(measurement, value, governing_limit(measurement, scheme).value):
        return Grade.MAJOR
    return Grade.MINOR if _beyond(measurement, value, measurement.minor) else Grade.SOUND


def grade_observations(check: Check, keys: Iterable[str]) -> Grade:
    """The worst grade that the observed keys mean; `sound` when nothing was observed.

    Raises UnknownObservationError.
    """
    meaning = {seen.key: Grade.from_word(seen.grade) for seen in check.observations}
    return worst(_look_up(meaning, key) for key in keys)


def grade_result(check: Check, value: float | None, keys: Iterable[str], scheme: str) -> Grade:
    """The grade of a whole result, its figure (if any) and observations together: the worst governs.

    Raises ImplausibleValueError, UnknownObservationError, and NothingToMeasureError.
    """
    seen = grade_observations(check, keys)
    if value is None:
        return seen
    if check.measurement is None:
        raise NothingToMeasureError(check)
    return worst((seen, grade_measurement(check.measurement, value, scheme)))


def _beyond(measurement: Measurement, value: float, threshold: float) -> bool:
    past = threshold - value if measurement.direction == "falls" else value - threshold
    return past > _ROUNDING * max(abs(threshold), abs(value))


def _look_up(meaning: dict[str, Grade], key: str) -> Grade:
    if key not in meaning:
        raise UnknownObservationError(key, tuple(meaning))
    return meaning[key]
