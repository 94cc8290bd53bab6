"""Fuel fills: what was filled, when, and at which odometer reading."""

import uuid
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import FuelFill, Vehicle
from fleetcare.fleet.services.odometer import check_day, drop_reading, record_odometer
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import ReadingSource, Role
from fleetcare.kernel.errors import Conflict, InvalidInput

_MOST_LITRES = Decimal(500)
"""More than any tank of a car or light van holds; common practice, no source."""


@transaction.atomic
def record_fuel(
    access: Access,
    vehicle: Vehicle,
    *,
    filled_on: date,
    litres: Decimal,
    full: bool,
    missed_before: bool = False,
    shown_km: Decimal | None = None,
    price_minor: int | None = None,
    note: str = "",
    key: uuid.UUID | None = None,
    litres_pointer: str = "/litres",
    odometer_pointer: str = "/odometer_km",
) -> tuple[FuelFill, bool]:
    """Stores a fill with its odometer reading, where one was taken; returns it and whether it is new.

    With the client's own `key` the same fill may be sent again and again. Raises InvalidInput for an electric vehicle,
    an amount or a day that cannot be, or a reading that contradicts its neighbours; Conflict where the same fill (or
    the key with another one) is already stored.
    """
    access.require(Role.INSPECTOR)
    _check_fill(access, vehicle, filled_on, litres, litres_pointer)
    said = {
        "filled_on": filled_on,
        "litres": litres,
        "full": full,
        "missed_before": missed_before,
        "price_minor": price_minor,
        "note": note,
    }
    repeated = _repeated(access, vehicle, key, shown_km, said)
    if repeated is not None:
        return repeated, False
    reading = None
    if shown_km is not None:
        reading = record_odometer(
            access,
            vehicle,
            read_on=filled_on,
            shown_km=shown_km,
            source=ReadingSource.FUEL,
            pointer=odometer_pointer,
            date_pointer="/filled_on",
            touching=False,
        )
    fill = FuelFill(fleet=access.fleet, vehicle=vehicle, reading=reading, **({"id": key} if key else {}), **said)
    _insert(fill)
    touch(vehicle)
    return fill, True


def _check_fill(access: Access, vehicle: Vehicle, filled_on: date, litres: Decimal, pointer: str) -> None:
    if vehicle.traits.get("fuel") == "electric":
        sentence = "An electric vehicle takes no fuel; if this one does, correct its trait “fuel”."
        raise InvalidInput.at(pointer, "electric", sentence)
    if not 0 < litres <= _MOST_LITRES:
        raise InvalidInput.at(pointer, "range", f"More than 0 and at most {_MOST_LITRES} litres.")
    check_day(access, vehicle, filled_on, "/filled_on")


def _repeated(
    access: Access, vehicle: Vehicle, key: uuid.UUID | None, shown_km: Decimal | None, said: dict[str, Any]
) -> FuelFill | None:
    if key is None:
        return None
    rows = FuelFill.objects.within(access.fleet).filter(vehicle=vehicle).select_related("reading")
    stored = rows.filter(pk=key).first()
    if stored is None:
        return None
    stored_km = stored.reading.shown_km if stored.reading else None
    if stored_km != shown_km or any(getattr(stored, name) != value for name, value in said.items()):
        raise Conflict("A fill with this id and other content is stored.", code="id-in-use")
    return stored


def _insert(fill: FuelFill) -> None:
    try:
        with transaction.atomic():
            fill.save(force_insert=True)
    except IntegrityError as error:
        sentence = "The same amount at the same odometer reading is already stored, or another row has this id."
        raise Conflict(sentence, code="repeated-fill") from error


@transaction.atomic
def delete_fuel(access: Access, vehicle: Vehicle, fill: FuelFill) -> None:
    """Takes a fill back, and the odometer reading that came with it unless something else rests on it.

    Planners and owners.
    """
    access.require(Role.PLANNER)
    reading = fill.reading
    fill.delete()
    if reading is not None and reading.source == ReadingSource.FUEL:
        drop_reading(vehicle, reading)
    touch(vehicle)
