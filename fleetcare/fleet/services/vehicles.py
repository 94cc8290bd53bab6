"""Adding and changing vehicles."""

import uuid
from collections.abc import Iterator
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Fleet, Standing, Vehicle
from fleetcare.fleet.traits import trait_faults
from fleetcare.fleet.words import Role
from fleetcare.kernel import vin as vins
from fleetcare.kernel.errors import Conflict, Fault, InvalidInput, raise_if_any
from fleetcare.support.bell import ring_after_commit
from fleetcare.support.versions import store

_OLDEST = date(1885, 1, 1)


def _faults(fleet: Fleet, values: dict[str, Any]) -> Iterator[Fault]:
    if values.get("vin"):
        sentence = vins.form_fault(values["vin"])
        if sentence:
            yield Fault("/vin", "vin-form", sentence)
    first_used_on = values.get("first_used_on")
    if first_used_on and not _OLDEST <= first_used_on <= today(fleet):
        yield Fault("/first_used_on", "date", "A day between 1885 and today.")
    yield from (fault.under("/traits") for fault in trait_faults(values.get("traits", {})))


def _cleaned(fleet: Fleet, values: dict[str, Any]) -> dict[str, Any]:
    if "vin" in values:
        values["vin"] = vins.normalised(values["vin"])
    raise_if_any(_faults(fleet, values))
    return values


def add_vehicle(access: Access, *, key: uuid.UUID | None = None, **values: Any) -> Vehicle:
    """A new vehicle with its standing. Planners and owners.

    Raises InvalidInput for a malformed VIN, an impossible date or unknown traits, Conflict for a VIN or an id that
    is in use.
    """
    access.require(Role.PLANNER)
    values = _cleaned(access.fleet, values)
    chosen = {"id": key} if key else {}
    try:
        with transaction.atomic():
            vehicle = Vehicle(fleet=access.fleet, **chosen, **values)
            vehicle.save(force_insert=True)
            Standing.objects.create(fleet=access.fleet, vehicle=vehicle)
            ring_after_commit("scheduling.assess_vehicle", str(access.fleet.pk), str(vehicle.pk))
    except IntegrityError as error:
        raise Conflict("A vehicle with this VIN or id exists already.", code="vehicle-exists") from error
    return vehicle


def change_vehicle(access: Access, vehicle: Vehicle, **values: Any) -> Vehicle:
    """Changes a vehicle; its assessment is computed anew. Planners and owners."""
    access.require(Role.PLANNER)
    values = _cleaned(access.fleet, values)
    try:
        with transaction.atomic():
            for name, value in values.items():
                setattr(vehicle, name, value)
            store(vehicle, values)
            touch(vehicle)
    except IntegrityError as error:
        raise InvalidInput.at("/vin", "duplicate", "Another vehicle of this fleet has this VIN.") from error
    return vehicle


def touch(vehicle: Vehicle, **values: Any) -> None:
    """Marks what was computed of a vehicle as stale and asks for it anew; call inside the writing transaction.

    `values` are set in its standing by the same statement.
    """
    Standing.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).update(revision=F("revision") + 1, **values)
    ring_after_commit("scheduling.assess_vehicle", str(vehicle.fleet_id), str(vehicle.pk))


def touch_all(fleet: Fleet) -> None:
    """Marks what was computed of all vehicles of a fleet as stale; the tick computes them anew."""
    Standing.objects.within(fleet).update(revision=F("revision") + 1)
    ring_after_commit("scheduling.assess_fleet", str(fleet.pk))
