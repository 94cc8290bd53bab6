"""What was seen and measured of the parts fitted now; two queries."""

import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q

from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.models import Finding, Inspection, Result
from inspections.words import InspectionState

Place = tuple[uuid.UUID, str, str]
"""Vehicle, part (or check) and position."""


@dataclass(slots=True)
class Look:
    """One result at a part: the grade, and the figure where there is one."""

    cell: int
    on: date
    km: float
    grade: int
    value: float | None
    check_key: str
    inspection_id: uuid.UUID


def load_looks(
    fleet: Fleet,
    catalogue: Catalogue,
    vehicles: Sequence[Vehicle],
    row_of: Callable[[uuid.UUID, int | None], int | None],
    fitted_on: Mapping[Place, date],
    on: date,
) -> list[Look]:
    """Graded results in the order of time, without those of a part since renewed, of a finding dismissed or put right.

    `row_of` gives the row of the cells by vehicle and slot; results at parts a vehicle does not have are left out.
    """
    over, remedied = _spans(fleet, vehicles, on)
    looks = []
    for inspection_id, vehicle_id, seen_on, km, check_key, position, grade, value in _rows(fleet, vehicles, on):
        part = check_key.partition(".")[0]
        row = row_of(vehicle_id, catalogue.slot_index.get((part, position)))
        renewed_on = fitted_on.get((vehicle_id, part, position))
        spans = over.get((vehicle_id, check_key, position), ())
        voided = any(first <= seen_on <= last for first, last in spans)
        if row is not None and not voided and (renewed_on is None or seen_on > renewed_on):
            looks.append(Look(row, seen_on, float(km), int(grade or 0), value, check_key, inspection_id))
    work: dict[tuple[int, date], uuid.UUID] = {}
    set_anew: dict[tuple[int, str], date] = {}
    for finding_id, vehicle_id, put_right_on, km, check_key, position in remedied:
        part = check_key.partition(".")[0]
        row = row_of(vehicle_id, catalogue.slot_index.get((part, position)))
        renewed_on = fitted_on.get((vehicle_id, part, position))
        if row is not None and (renewed_on is None or put_right_on > renewed_on):
            # Several findings of a part put right on one day are one look at it.
            one = work.setdefault((row, put_right_on), finding_id)
            looks.append(Look(row, put_right_on, float(km), int(Grade.SOUND), None, check_key, one))
            set_anew[row, check_key] = put_right_on
    for look in looks:
        # A figure that was put right says nothing of the figure now.
        if look.value is not None and look.on <= set_anew.get((look.cell, look.check_key), date.min):
            look.value = None
    # A finding is put right after it was seen: on the same day at the same distance, the remedy comes last.
    return sorted(looks, key=lambda look: (look.on, look.km)) if remedied else looks


def _rows(fleet: Fleet, vehicles: Sequence[Vehicle], on: date) -> Iterable[tuple[Any, ...]]:
    # Their inspections are found first, by vehicle: nobody goes through the results of the whole fleet.
    inspections = Inspection.objects.within(fleet).filter(
        vehicle__in=vehicles, state=InspectionState.COMPLETED, inspected_on__lte=on
    )
    rows = Result.objects.within(fleet).filter(inspection__in=inspections, grade__isnull=False)
    return rows.order_by("inspection__inspected_on", "inspection__reading__total_km", "inspection_id").values_list(
        "inspection_id",
        "inspection__vehicle_id",
        "inspection__inspected_on",
        "inspection__reading__total_km",
        "check_key",
        "position",
        "grade",
        "value",
    )


_Remedy = tuple[uuid.UUID, uuid.UUID, date, Any, str, str]
"""Finding, vehicle, day, total km, check and position."""


def _spans(
    fleet: Fleet, vehicles: Sequence[Vehicle], on: date
) -> tuple[dict[Place, list[tuple[date, date]]], list[_Remedy]]:
    """When findings stood that are dismissed or put right, and where work did that without renewing; one query.

    What was seen of a defect that was put right speaks of the defect, not of how far the part is worn.
    """
    spans: dict[Place, list[tuple[date, date]]] = {}
    remedied: list[_Remedy] = []
    rows = Finding.objects.within(fleet).filter(vehicle__in=vehicles)
    rows = rows.filter(Q(dismissed=True) | Q(remedied_total_km__isnull=False)).order_by("closed_on", "id")
    for finding_id, vehicle_id, check_key, position, first, last, closed_on, km in rows.values_list(
        "id", "vehicle_id", "check_key", "position", "opened_on", "seen_on", "closed_on", "remedied_total_km"
    ):
        if km is None or (closed_on is not None and closed_on <= on):
            spans.setdefault((vehicle_id, check_key, position), []).append((first, last))
        if km is not None and closed_on is not None and closed_on <= on:
            remedied.append((finding_id, vehicle_id, closed_on, km, check_key, position))
    return spans, remedied


def merged(looks: Iterable[Look]) -> Iterator[Look]:
    """One look a cell and inspection: a part is as bad as the worst its checks last said of it."""
    said: dict[int, dict[str, int]] = {}
    last: dict[tuple[uuid.UUID, int], Look] = {}
    for look in looks:
        checks = said.setdefault(look.cell, {})
        checks[look.check_key] = look.grade
        last[look.inspection_id, look.cell] = Look(
            look.cell, look.on, look.km, max(checks.values()), None, "", look.inspection_id
        )
    yield from last.values()
