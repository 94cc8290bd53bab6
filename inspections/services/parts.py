"""Fitting parts and taking them off: from then on a part's life counts anew."""

from datetime import date
from decimal import Decimal

from django.db import transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import OdometerReading, Vehicle
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import ReadingSource, Role
from fleetcare.kernel.errors import InvalidInput
from fleetcare.support.tenancy import TenantQuerySet
from inspections.catalogue.loader import default_catalogue
from inspections.models import FittedPart
from inspections.services.findings import close_for_renewal
from inspections.words import Removal


@transaction.atomic
def fit_part(
    access: Access,
    vehicle: Vehicle,
    *,
    part_key: str,
    position: str,
    fitted_on: date,
    shown_km: Decimal,
    removal: Removal = Removal.UNKNOWN,
    description: str = "",
    part_number: str = "",
    odometer_pointer: str = "/odometer_km",
) -> FittedPart:
    """Records a part newly fitted; the one it replaces comes off, for the reason given, and its findings close.

    Raises InvalidInput for a part or position this vehicle does not have, and for a day before the last renewal.
    """
    access.require(Role.INSPECTOR)
    _require_slot(vehicle, part_key, position)
    reading = record_odometer(
        access,
        vehicle,
        read_on=fitted_on,
        shown_km=shown_km,
        source=ReadingSource.JOB,
        pointer=odometer_pointer,
        date_pointer="/fitted_on",
        touching=False,
    )
    here = FittedPart.objects.within(access.fleet).filter(vehicle=vehicle, part_key=part_key, position=position)
    _take_off(access, vehicle, here, part_key, position, reading, removal)
    part = FittedPart.objects.create(
        fleet=access.fleet,
        vehicle=vehicle,
        part_key=part_key,
        position=position,
        fitted_on=fitted_on,
        fitted_total_km=reading.total_km,
        description=description,
        part_number=part_number,
    )
    close_for_renewal(access, vehicle.pk, part_key, position, fitted_on, "renewed")
    touch(vehicle)
    return part


def _take_off(
    access: Access,
    vehicle: Vehicle,
    here: TenantQuerySet[FittedPart],
    part_key: str,
    position: str,
    reading: OdometerReading,
    removal: Removal,
) -> None:
    """Ends the part that was there; where none was recorded, the one as bought is put on record with its end."""
    current = here.filter(removed_on=None).first()
    if current is not None and current.fitted_on is not None and current.fitted_on > reading.read_on:
        sentence = f"The part there now was fitted later, on {current.fitted_on.isoformat()}."
        raise InvalidInput.at("/fitted_on", "before-last-renewal", sentence)
    end = {"removed_on": reading.read_on, "removed_total_km": reading.total_km, "removal": removal}
    if current is not None:
        here.filter(pk=current.pk).update(**end)
    else:
        FittedPart.objects.create(fleet=access.fleet, vehicle=vehicle, part_key=part_key, position=position, **end)


def _require_slot(vehicle: Vehicle, part_key: str, position: str) -> None:
    catalogue = default_catalogue()
    part = catalogue.parts.get(part_key)
    if part is None:
        raise InvalidInput.at("/part", "unknown-part", f"The catalogue has no part {part_key}.")
    row = catalogue.slot_index.get((part_key, position))
    if row is None:
        choices = ", ".join(part.positions) or "none: leave it out"
        raise InvalidInput.at("/position", "unknown-position", f"{part.title} has these positions: {choices}.")
    if row not in catalogue.applicable_slots(vehicle.traits):
        raise InvalidInput.at("/part", "not-applicable", f"{part.title}: this vehicle has no such part there.")
