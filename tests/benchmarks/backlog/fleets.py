"""Fleets of invented vehicles straight into the tables: 60 parts looked at twice, a fifth of them found wanting."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np

from fleetcare.fleet.models import Fleet, OdometerReading, Standing, Vehicle
from fleetcare.fleet.words import ReadingSource
from fleetcare.kernel.grades import Grade
from inspections.catalogue.loader import default_catalogue
from inspections.models import Finding, Inspection, Result
from inspections.words import InspectionState
from tests import factories

PARTS = 60
TRAITS = {"fuel": "petrol", "drive": "front", "gearbox": "manual"}
GRADE_MIX = (0.80, 0.12, 0.06, 0.02)
AGO_DAYS = (400, 30)
_ROWS_AT_ONCE = 5_000


def looked_over_fleet(vehicles: int, on: date, seed: int = 1) -> Fleet:
    """A fleet of so many vehicles, none assessed yet. The same seed gives the same fleet."""
    rng = np.random.default_rng(seed)
    fleet: Fleet = factories.FleetFactory(name=f"Fleet of {vehicles}", kind="workshop")
    kept = [
        Vehicle(fleet=fleet, name=f"Vehicle {n:05d}", first_used_on=on - timedelta(days=age), traits=TRAITS)
        for n, age in enumerate(rng.integers(3_000, 6_000, vehicles).tolist())
    ]
    now_km = rng.integers(90_000, 240_000, vehicles).tolist()
    _insert(Vehicle, kept)
    _insert(Standing, [Standing(fleet=fleet, vehicle=vehicle) for vehicle in kept])
    for ago in AGO_DAYS:
        readings = [_reading(vehicle, on, ago, km) for vehicle, km in zip(kept, now_km, strict=True)]
        _insert(OdometerReading, readings)
        looks = [_inspection(reading) for reading in readings]
        _insert(Inspection, looks)
        results = [row for look in looks for row in _results(look, rng)]
        _insert(Result, results)
    _insert(Finding, [_finding(row) for row in results if row.grade])
    return fleet


def checks_of_60_parts() -> list[tuple[str, str]]:
    """A check judged by eye and its position, for 60 parts spread over the catalogue."""
    catalogue = default_catalogue()
    by_eye = {}
    for key, entry in catalogue.checks.items():
        if entry.check.measurement is None:
            by_eye.setdefault(entry.part.key, key)
    slots = [catalogue.slots[slot] for slot in catalogue.applicable_slots(TRAITS)]
    seen = [(by_eye[slot.part_key], slot.position) for slot in slots if slot.part_key in by_eye]
    return [seen[int(place)] for place in np.linspace(0, len(seen) - 1, PARTS)]


def _reading(vehicle: Vehicle, on: date, ago: int, now_km: int) -> OdometerReading:
    km = Decimal(now_km - 40 * ago)
    day = on - timedelta(days=ago)
    source = ReadingSource.INSPECTION
    return OdometerReading(fleet=vehicle.fleet, vehicle=vehicle, read_on=day, shown_km=km, total_km=km, source=source)


def _inspection(reading: OdometerReading) -> Inspection:
    return Inspection(
        fleet=reading.fleet,
        vehicle=reading.vehicle,
        reading=reading,
        inspected_on=reading.read_on,
        sheet="full",
        state=InspectionState.COMPLETED,
        content_digest=str(reading.pk),
        entered_by="benchmark",
    )


def _results(look: Inspection, rng: np.random.Generator) -> list[Result]:
    grades = rng.choice(len(Grade), PARTS, p=GRADE_MIX).tolist()
    return [
        Result(fleet=look.fleet, inspection=look, check_key=check, position=position, grade=grade)
        for (check, position), grade in zip(checks_of_60_parts(), grades, strict=True)
    ]


def _finding(row: Result) -> Finding:
    day = row.inspection.inspected_on
    return Finding(
        fleet=row.fleet,
        vehicle=row.inspection.vehicle,
        check_key=row.check_key,
        part_key=row.check_key.partition(".")[0],
        position=row.position,
        grade=row.grade or 0,
        opened_on=day,
        seen_on=day,
        seen_in=row.inspection,
    )


def _insert(model: Any, rows: list[Any]) -> None:
    model.objects.bulk_create(rows, batch_size=_ROWS_AT_ONCE)
