"""A plan made true: everything in one transaction, or nothing."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import FuelFill, OdometerReading, Standing, Vehicle
from fleetcare.fleet.services.vehicles import touch
from fleetcare.portal.exchange.planning import SOURCES, Plan, Planned, traits_of
from fleetcare.support.bell import ring_after_commit
from scheduling.core.job_states import JobState
from scheduling.models import Job
from scheduling.words import JobOrigin

_AT_ONCE = 500
_Place = tuple[uuid.UUID, date, Decimal]


@transaction.atomic
def store_plan(access: Access, kind: str, plan: Plan) -> None:
    """Stores what a plan found new, and asks for every vehicle it touches to be assessed anew."""
    if kind == "vehicles":
        _store_vehicles(access, plan.new)
        return
    readings = _store_readings(access, kind, plan.new)
    if kind == "fuel":
        FuelFill.objects.bulk_create((_fill(access, row, readings) for row in plan.new), batch_size=_AT_ONCE)
    if kind == "services":
        Job.objects.bulk_create((_job(access, row, readings) for row in plan.new), batch_size=_AT_ONCE)
    touched = {row.vehicle.pk: row.vehicle for row in plan.new if row.vehicle is not None}
    _carry_to_standings(access, touched)
    for vehicle in touched.values():
        touch(vehicle)


def _store_vehicles(access: Access, rows: Sequence[Planned]) -> None:
    vehicles = [_vehicle(access, row) for row in rows]
    Vehicle.objects.bulk_create(vehicles, batch_size=_AT_ONCE)
    Standing.objects.bulk_create(
        (Standing(fleet=access.fleet, vehicle=vehicle) for vehicle in vehicles), batch_size=_AT_ONCE
    )
    for vehicle in vehicles:
        ring_after_commit("scheduling.assess_vehicle", str(access.fleet.pk), str(vehicle.pk))


def _vehicle(access: Access, row: Planned) -> Vehicle:
    said, year = row.record, row.record.get("model_year")
    texts = {name: said.get(name, "") for name in ("name", "plate", "vin", "make", "model", "note")}
    return Vehicle(
        fleet=access.fleet,
        first_used_on=said["first_used_on"],
        model_year=None if year is None else int(year),
        traits=traits_of(said),
        **texts,
    )


def _store_readings(access: Access, kind: str, rows: Sequence[Planned]) -> dict[_Place, OdometerReading]:
    """The readings of these rows by vehicle, day and distance; one that is stored already is taken."""
    keys = {row.vehicle.pk for row in rows if row.vehicle is not None and row.reading is not None}
    known = OdometerReading.objects.within(access.fleet).filter(vehicle__in=keys)
    found = {(each.vehicle_id, each.read_on, each.total_km): each for each in known}
    new: dict[_Place, OdometerReading] = {}
    for row in rows:
        if row.vehicle is None or row.reading is None:
            continue
        place = (row.vehicle.pk, row.reading.read_on, row.reading.total_km)
        if place not in found and place not in new:
            new[place] = OdometerReading(
                fleet=access.fleet,
                vehicle=row.vehicle,
                read_on=row.reading.read_on,
                shown_km=row.reading.shown_km,
                total_km=row.reading.total_km,
                source=SOURCES[kind],
            )
    OdometerReading.objects.bulk_create(new.values(), batch_size=_AT_ONCE)
    return found | new


def _reading_of(row: Planned, readings: dict[_Place, OdometerReading]) -> OdometerReading | None:
    if row.vehicle is None or row.reading is None:
        return None
    return readings[row.vehicle.pk, row.reading.read_on, row.reading.total_km]


def _fill(access: Access, row: Planned, readings: dict[_Place, OdometerReading]) -> FuelFill:
    said = row.record
    return FuelFill(
        fleet=access.fleet,
        vehicle=row.vehicle,
        reading=_reading_of(row, readings),
        filled_on=said["filled_on"],
        litres=said["litres"],
        full=said.get("full", False),
        missed_before=said.get("missed_before", False),
        price_minor=said.get("price"),
        note=said.get("note", ""),
    )


def _job(access: Access, row: Planned, readings: dict[_Place, OdometerReading]) -> Job:
    """Work done long ago: on record with its cost, without anything falling due from it."""
    said, now = row.record, timezone.now()
    return Job(
        fleet=access.fleet,
        vehicle=row.vehicle,
        title=said["title"],
        origin=JobOrigin.HAND,
        state=JobState.DONE.value,
        done_on=said["done_on"],
        reading=_reading_of(row, readings),
        hours=said.get("hours"),
        labour_minor=said.get("labour_cost"),
        parts_minor=said.get("parts_cost"),
        other_minor=said.get("other_cost"),
        note=said.get("note", ""),
        closed_by=access.actor,
        closed_at=now,
        entered_by=access.actor,
    )


def _carry_to_standings(access: Access, vehicles: Iterable[uuid.UUID]) -> None:
    """Where each vehicle stands is what its latest reading shows."""
    latest: dict[uuid.UUID, Any] = {}
    rows = OdometerReading.objects.within(access.fleet).filter(vehicle__in=list(vehicles))
    for reading in rows.order_by("read_on", "total_km"):
        latest[reading.vehicle_id] = reading
    standings = list(Standing.objects.within(access.fleet).filter(vehicle__in=list(latest)))
    for standing in standings:
        reading = latest[standing.vehicle_id]
        standing.odometer_km, standing.odometer_on = reading.shown_km, reading.read_on
    Standing.objects.bulk_update(standings, ["odometer_km", "odometer_on"], batch_size=_AT_ONCE)
