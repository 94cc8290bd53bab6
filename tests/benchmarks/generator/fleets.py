"""What is laid out: fleets of invented vehicles with three years of readings, inspections, findings and standings."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from django.db import connection

from fleetcare.fleet.models import Fleet, OdometerReading, Standing, Vehicle
from fleetcare.fleet.words import ReadingSource
from fleetcare.kernel.grades import Grade
from inspections.models import Finding, Inspection, Result
from inspections.words import InspectionState
from tests.benchmarks.backlog.fleets import GRADE_MIX, PARTS, TRAITS, checks_of_60_parts
from tests.benchmarks.generator.binary import copy_rows, new_ids

DAYS = 3 * 365
READINGS_A_VEHICLE = 36
VEHICLES_AT_ONCE = 2_000
FINDINGS_A_VEHICLE = 10
OPEN_FRACTION = 0.3


@dataclass(frozen=True, slots=True)
class Size:
    """How much is made."""

    fleets: int
    vehicles_a_fleet: int
    inspections_a_vehicle: int = 5

    @property
    def vehicles(self) -> int:
        """In all fleets."""
        return self.fleets * self.vehicles_a_fleet


@dataclass(frozen=True, slots=True)
class _Lot:
    """Some vehicles, made together."""

    fleet: Any
    vehicle: Any
    now_km: Any
    on: date
    rng: np.random.Generator

    def days_ago(self, count: int, most: int) -> Any:
        """Days of `count` moments up to `most` days ago, (V, count), the latest first."""
        step = most // count
        ago = step * np.arange(count) + self.rng.integers(0, step, (len(self.vehicle), count))
        return self.on.toordinal() - ago

    def km_at(self, day: Any, later_km: int) -> Any:
        """Odometer at a day, (V, n), 40 km a day; a look later on the day reads `later_km` more."""
        return self.now_km[:, None] - 40 * (self.on.toordinal() - day) + later_km


def fill(size: Size, on: date, seed: int = 1) -> None:
    """Fills empty tables; the same seed gives the same rows but for the moment of making."""
    rng = np.random.default_rng(seed)
    fleet = new_ids(size.fleets, rng)
    names = np.char.mod("Fleet %06d", np.arange(size.fleets)).astype("S12")
    copy_rows(Fleet, size.fleets, {"id": fleet, "name": names, "kind": "workshop", "labour_per_hour_minor": 6_000})
    owner = np.repeat(fleet, size.vehicles_a_fleet)
    for start in range(0, size.vehicles, VEHICLES_AT_ONCE):
        _vehicles(owner[start : start + VEHICLES_AT_ONCE], start, size, on, rng)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _vehicles(fleet: Any, first: int, size: Size, on: date, rng: np.random.Generator) -> None:
    count = len(fleet)
    vehicle = new_ids(count, rng)
    lot = _Lot(fleet, vehicle, rng.integers(90_000, 240_000, count), on, rng)
    names = np.char.mod("Vehicle %08d", first + np.arange(count)).astype("S16")
    used = on.toordinal() - rng.integers(3_000, 6_000, count)
    copy_rows(
        Vehicle,
        count,
        {"id": vehicle, "fleet_id": fleet, "name": names, "first_used_on": used, "traits": TRAITS},
    )
    standing = {
        "id": new_ids(count, rng), "fleet_id": fleet, "vehicle_id": vehicle, "score": rng.uniform(20, 100, count),
        "score_low": rng.uniform(10, 20, count), "score_high": rng.uniform(90, 100, count), "odometer_km": lot.now_km,
        "odometer_on": on, "assessed_on": on, "inspected_on": on, "open_findings": 3, "coverage_fraction": 0.75,
    }  # fmt: skip
    copy_rows(Standing, count, standing)
    _readings(lot)
    _inspections(lot, size)


def _readings(lot: _Lot) -> None:
    days = lot.days_ago(READINGS_A_VEHICLE, DAYS)
    _copy_readings(lot, days, ReadingSource.PERSON, 0)


def _copy_readings(lot: _Lot, days: Any, source: str, later_km: int) -> Any:
    each = days.shape[1]
    ids = new_ids(days.size, lot.rng)
    km = lot.km_at(days, later_km).ravel()
    rows = {
        "id": ids, "fleet_id": np.repeat(lot.fleet, each), "vehicle_id": np.repeat(lot.vehicle, each),
        "read_on": days.ravel(), "shown_km": km, "total_km": km, "source": str(source),
    }  # fmt: skip
    copy_rows(OdometerReading, days.size, rows)
    return ids


def _inspections(lot: _Lot, size: Size) -> None:
    days = lot.days_ago(size.inspections_a_vehicle, DAYS)
    reading = _copy_readings(lot, days, ReadingSource.INSPECTION, 1)
    ids, each, rng = new_ids(days.size, lot.rng), size.inspections_a_vehicle, lot.rng
    fleet, vehicle = np.repeat(lot.fleet, each), np.repeat(lot.vehicle, each)
    digest = np.frombuffer(rng.bytes(32 * days.size).hex().encode(), dtype="S64")
    rows = {
        "id": ids, "fleet_id": fleet, "vehicle_id": vehicle, "reading_id": reading, "inspected_on": days.ravel(),
        "sheet": "full", "state": str(InspectionState.COMPLETED), "content_digest": digest, "entered_by": "generator",
    }  # fmt: skip
    copy_rows(Inspection, days.size, rows)
    for check, position in checks_of_60_parts():
        result = {
            "id": new_ids(days.size, rng), "fleet_id": fleet, "inspection_id": ids, "check_key": check,
            "position": position, "grade": rng.choice(len(Grade), days.size, p=GRADE_MIX),
        }  # fmt: skip
        copy_rows(Result, days.size, result)
    _findings(lot, ids.reshape(days.shape)[:, 0], days[:, 0])


def _findings(lot: _Lot, inspection: Any, day: Any) -> None:
    count, rng = len(lot.vehicle), lot.rng
    for number, (check, position) in enumerate(checks_of_60_parts()[:: PARTS // FINDINGS_A_VEHICLE]):
        rows = {
            "id": new_ids(count, rng), "fleet_id": lot.fleet, "vehicle_id": lot.vehicle, "check_key": check,
            "part_key": check.partition(".")[0], "position": position, "grade": 1 + number % 3, "opened_on": day,
            "seen_on": day, "seen_in_id": inspection,
            "closed_on": None if number < OPEN_FRACTION * FINDINGS_A_VEHICLE else day,
        }  # fmt: skip
        copy_rows(Finding, count, rows)
