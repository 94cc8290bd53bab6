"""Is a result one that this vehicle can have? Every fault of a whole inspection at once, with its place."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fleetcare.kernel.errors import Fault, InvalidInput
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.units import convert
from inspections.catalogue.catalogue import Catalogue, PartCheck
from inspections.catalogue.grading import grade_result


@dataclass(frozen=True, slots=True)
class CheckedResult:
    """A result that fits the vehicle, graded; the value is in the catalogue's unit."""

    check_key: str
    part_key: str
    position: str
    grade: Grade | None
    value: float | None
    observations: tuple[str, ...]
    note: str
    not_examined: str

    @property
    def place(self) -> tuple[str, str]:
        """Check and position: what an inspection says at most one thing about."""
        return self.check_key, self.position


def checked_results(
    catalogue: Catalogue, traits: Mapping[str, str], scheme: str, given: Iterable[Mapping[str, Any]]
) -> list[CheckedResult]:
    """The results, graded under a scheme of limits. Raises InvalidInput with every fault, pointers under /results."""
    applicable = {(found.key, found.position) for found in catalogue.applicable_checks(traits)}
    faults: list[Fault] = []
    results: list[CheckedResult] = []
    seen: set[tuple[str, str]] = set()
    for index, result in enumerate(given):
        mine = list(_place_faults(catalogue, applicable, result))
        place = (result["check"], result.get("position") or "")
        if place in seen:
            mine.append(Fault("/check", "twice", "This check at this position is already in the list."))
        seen.add(place)
        if not mine:
            try:
                results.append(_graded(catalogue.checks[result["check"]], scheme, result))
            except InvalidInput as error:
                mine.extend(error.faults)
        faults.extend(fault.under(f"/results/{index}") for fault in mine)
    if faults:
        raise InvalidInput.of(faults)
    return results


def _place_faults(catalogue: Catalogue, applicable: set[tuple[str, str]], result: Mapping[str, Any]) -> Iterator[Fault]:
    key, position = result["check"], result.get("position") or ""
    entry = catalogue.checks.get(key)
    if entry is None:
        yield Fault("/check", "unknown-check", f"The catalogue has no check {key}.")
        return
    known = entry.part.positions or ("",)
    if position not in known:
        choices = ", ".join(entry.part.positions) or "none: leave it out"
        yield Fault("/position", "unknown-position", f"{entry.part.title} has these positions: {choices}.")
    elif (key, position) not in applicable:
        yield Fault("/check", "not-applicable", f"{entry.check.title}: this vehicle has no such part there.")


def _graded(entry: PartCheck, scheme: str, result: Mapping[str, Any]) -> CheckedResult:
    value = _value(entry, result.get("measurement"))
    said = Grade.from_word(result["grade"]) if "grade" in result else None
    observations = tuple(result.get("observations", ()))
    reason = result.get("not_examined", "").strip()
    examined = value is not None or said is not None or bool(observations)
    if examined and reason:
        raise InvalidInput.at("/not_examined", "contradiction", "Not examined, and yet there is a result.")
    if not examined and not reason:
        sentence = "Give a grade, a measurement or observations, or say why it was not examined."
        raise InvalidInput.at("", "empty-result", sentence)
    grade = None
    if examined:
        # The worst of what was said, measured and observed governs: a mild word never hides a torn boot.
        grade = max(said or Grade.SOUND, grade_result(entry.check, value, observations, scheme))
    return CheckedResult(
        check_key=entry.key,
        part_key=entry.part.key,
        position=result.get("position") or "",
        grade=grade,
        value=value,
        observations=observations,
        note=result.get("note", ""),
        not_examined=reason,
    )


def _value(entry: PartCheck, measurement: Mapping[str, Any] | None) -> float | None:
    if measurement is None:
        return None
    wanted = entry.check.measurement
    if wanted is None:
        raise InvalidInput.at("/measurement", "nothing-to-measure", f"{entry.check.title} is graded, not measured.")
    value = convert(float(measurement["value"]), measurement["unit"], wanted.unit)
    if value is None:
        sentence = f"{entry.check.title} is measured in {wanted.unit}; {measurement['unit']} does not fit."
        raise InvalidInput.at("/measurement/unit", "wrong-unit", sentence)
    return value
