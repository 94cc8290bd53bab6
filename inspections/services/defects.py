"""What exactly is wrong with parts that have findings: observations and figures past their limit; one query."""

import uuid
from collections.abc import Sequence

from django.db.models import F

from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.kernel.grades import Grade
from inspections.catalogue.grading import grade_measurement, grade_observations
from inspections.catalogue.loader import default_catalogue
from inspections.models import Finding

Place = tuple[uuid.UUID, str, str]
"""Vehicle, part and position."""


def open_defects(fleet: Fleet, vehicles: Sequence[Vehicle]) -> dict[Place, frozenset[str] | None]:
    """By part with open findings, its defects as a catalogue's job names them (`puts_right`).

    None where that is not known: somebody only said a grade, or one worse than what was observed means.
    """
    rows = Finding.objects.within(fleet).filter(
        vehicle__in=vehicles,
        closed_on=None,
        # Said of the results too, so that they are found by inspection without going through all there are.
        seen_in__results__fleet=fleet,
        seen_in__results__check_key=F("check_key"),
        seen_in__results__position=F("position"),
    )
    found: dict[Place, frozenset[str] | None] = {}
    for vehicle_id, part_key, position, check_key, grade, value, observations in rows.values_list(
        "vehicle_id",
        "part_key",
        "position",
        "check_key",
        "grade",
        "seen_in__results__value",
        "seen_in__results__observations",
    ):
        place = (vehicle_id, part_key, position)
        said = _defects(fleet.limit_scheme, check_key, grade, value, observations)
        before = found.get(place, frozenset())
        found[place] = None if said is None or before is None else before | said
    return found


def _defects(
    scheme: str, check_key: str, grade: int, value: float | None, observations: Sequence[str]
) -> frozenset[str] | None:
    entry = default_catalogue().checks.get(check_key)
    if entry is None:
        return None
    meant = {seen: grade_observations(entry.check, [seen]) for seen in observations}
    defects = {f"{entry.check.key}.{seen}": means for seen, means in meant.items() if means > Grade.SOUND}
    if value is not None and entry.check.measurement is not None:
        measured = grade_measurement(entry.check.measurement, value, scheme)
        if measured > Grade.SOUND:
            defects[entry.check.key] = measured
    explained = bool(defects) and max(defects.values()) >= grade
    return frozenset(defects) if explained else None
