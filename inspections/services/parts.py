"""Fitting parts and taking them off: from then on a part's life counts anew."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import OdometerReading, Vehicle
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import ReadingSource, Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from fleetcare.support.tenancy import TenantQuerySet
from inspections.catalogue.loader import default_catalogue
from inspections.models import FittedPart
from inspections.services.remedies import ClosedFindings, close_for_renewal
from inspections.words import Removal


@dataclass(frozen=True, slots=True)
class Renewal:
    """What is fitted at a position, in the words of whoever bought it."""

    position: str
    description: str = ""
    part_number: str = ""


@dataclass(frozen=True, slots=True)
class Fitting:
    """What fitting parts changed: enough to take it back."""

    fitted: tuple[FittedPart, ...]
    ended: tuple[uuid.UUID, ...]
    """Parts on record that came off."""
    as_bought: tuple[uuid.UUID, ...]
    """Parts put on record with their end, since none was."""
    findings: ClosedFindings


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

    Raises InvalidInput for a part or position this vehicle does not have, and for a day before the last renewal;
    Conflict where somebody else renewed it at the same moment.
    """
    access.require(Role.INSPECTOR)
    require_slots(vehicle, part_key, [position])
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
    fitting = fit_parts(access, vehicle, part_key, [Renewal(position, description, part_number)], reading, removal)
    touch(vehicle)
    return fitting.fitted[0]


def fit_parts(
    access: Access,
    vehicle: Vehicle,
    part_key: str,
    renewals: Sequence[Renewal],
    reading: OdometerReading,
    removal: Removal,
    *,
    pointer: str = "/fitted_on",
) -> Fitting:
    """Fits one part at several positions at once; a constant number of statements, inside a transaction.

    `pointer` is where a body says the day. The caller marks the vehicle's figures stale. Raises InvalidInput for a day
    before the last renewal, Conflict where somebody else renewed one of them at the same moment.
    """
    places = [renewal.position for renewal in renewals]
    here = FittedPart.objects.within(access.fleet).filter(vehicle=vehicle, part_key=part_key, position__in=places)
    current = {part.position: part for part in here.filter(removed_on=None)}
    _refuse_older(current.values(), reading.read_on, pointer)
    end = {"removed_on": reading.read_on, "removed_total_km": reading.total_km, "removal": removal}
    common = {"fleet": access.fleet, "vehicle": vehicle, "part_key": part_key}
    as_bought = [FittedPart(**common, position=each, **end) for each in places if each not in current]
    fitted = [_fitted(common, renewal, reading) for renewal in renewals]
    _store(here, tuple(part.pk for part in current.values()), end, [*as_bought, *fitted])
    return Fitting(
        fitted=tuple(fitted),
        ended=tuple(part.pk for part in current.values()),
        as_bought=tuple(part.pk for part in as_bought),
        findings=close_for_renewal(access, vehicle.pk, part_key, places, reading.read_on),
    )


def _fitted(common: dict[str, Any], renewal: Renewal, reading: OdometerReading) -> FittedPart:
    return FittedPart(
        **common,
        position=renewal.position,
        fitted_on=reading.read_on,
        fitted_total_km=reading.total_km,
        description=renewal.description,
        part_number=renewal.part_number,
    )


def _refuse_older(current: Iterable[FittedPart], on: date, pointer: str) -> None:
    latest = max((part.fitted_on for part in current if part.fitted_on is not None), default=None)
    if latest is not None and latest > on:
        sentence = f"The part there now was fitted later, on {latest.isoformat()}."
        raise InvalidInput.at(pointer, "before-last-renewal", sentence)


def _store(
    here: TenantQuerySet[FittedPart],
    current: tuple[uuid.UUID, ...],
    end: dict[str, Any],
    rows: list[FittedPart],
) -> None:
    """Takes off what is there now, if it is there still, and puts the new rows in its place."""
    gone = Conflict("Somebody renewed this part at the same moment; read it again.", code="part-changed")
    if current and here.filter(pk__in=current, removed_on=None).update(**end) != len(current):
        raise gone
    try:
        with transaction.atomic():
            FittedPart.objects.bulk_create(rows)
    except IntegrityError as error:
        raise gone from error


def unfit_parts(access: Access, fitted: Sequence[uuid.UUID], ended: Sequence[uuid.UUID], as_bought: Any) -> None:
    """Takes a fitting back: what came off is in service again; inside a transaction.

    Raises Conflict where one of the parts has come off again since, or is gone: something newer rests on it.
    """
    rows = FittedPart.objects.within(access.fleet)
    removed, _ = rows.filter(pk__in=fitted, removed_on=None).delete()
    if removed != len(fitted):
        raise Conflict("A part fitted with this job has come off again since.", code="part-changed")
    rows.filter(pk__in=as_bought).delete()
    back = {"removed_on": None, "removed_total_km": None, "removal": ""}
    if rows.filter(pk__in=ended).update(**back) != len(ended):
        raise Conflict("A part that came off with this job is no longer on record.", code="part-changed")


def require_slots(vehicle: Vehicle, part_key: str, positions: Iterable[str], *, pointer: str = "") -> None:
    """Raises InvalidInput unless the vehicle has the part at each of the positions; `pointer` goes before the places
    in the body."""
    catalogue = default_catalogue()
    part = catalogue.parts.get(part_key)
    if part is None:
        raise InvalidInput.at(f"{pointer}/part", "unknown-part", f"The catalogue has no part {part_key}.")
    applicable = catalogue.applicable_slots(vehicle.traits)
    for position in positions:
        row = catalogue.slot_index.get((part_key, position))
        if row is None:
            choices = ", ".join(part.positions) or "none: leave it out"
            sentence = f"{part.title} has these positions: {choices}."
            raise InvalidInput.at(f"{pointer}/position", "unknown-position", sentence)
        if row not in applicable:
            sentence = f"{part.title}: this vehicle has no such part there."
            raise InvalidInput.at(f"{pointer}/part", "not-applicable", sentence)
