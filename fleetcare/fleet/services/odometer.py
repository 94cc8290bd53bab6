"""Odometer readings: typing errors are caught against the neighbours, replaced odometers carried on."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import ProtectedError, RestrictedError

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import OdometerReading, Standing, Vehicle
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import ReadingSource, Role
from fleetcare.kernel import units
from fleetcare.kernel.errors import Conflict, Fault, InvalidInput, raise_if_any

_MOST_KM = Decimal(5_000_000)
_MOST_KM_A_DAY = Decimal(2_000)
"""Nobody drives further in a day; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Neighbours:
    """The readings just before and just after a place on the road."""

    before: OdometerReading | None
    after: OdometerReading | None

    @property
    def offset_km(self) -> Decimal:
        """Total minus shown at that time: what replaced odometers had counted."""
        known = self.before or self.after
        return known.total_km - known.shown_km if known else Decimal(0)


@dataclass(frozen=True, slots=True)
class _Day:
    """The readings of a day in the order of the road, and those around it."""

    before: OdometerReading | None
    same: tuple[OdometerReading, ...]
    after: OdometerReading | None

    def around(self, total_km: Decimal | None = None) -> Neighbours:
        """The neighbours of a distance on this day, or of the end of the day."""
        earlier = [each for each in self.same if total_km is None or each.total_km <= total_km]
        return Neighbours(earlier[-1] if earlier else self.before, self.after)


def _day(vehicle: Vehicle, read_on: date, without: OdometerReading | None = None) -> _Day:
    readings = OdometerReading.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)
    if without is not None:
        readings = readings.exclude(pk=without.pk)
    return _Day(
        readings.filter(read_on__lt=read_on).order_by("-read_on", "-total_km").first(),
        tuple(readings.filter(read_on=read_on).order_by("total_km")),
        readings.filter(read_on__gt=read_on).order_by("read_on", "total_km").first(),
    )


def _described(reading: OdometerReading, unit: str) -> str:
    shown = units.from_km(reading.shown_km, unit).normalize()
    return f"{shown:f} {unit} on {reading.read_on.isoformat()}"


def _contradictions(total_km: Decimal, read_on: date, around: Neighbours, unit: str, pointer: str) -> list[Fault]:
    faults = []
    before, after = around.before, around.after
    if before and total_km < before.total_km:
        sentence = f"The odometer would run backwards: it showed {_described(before, unit)}."
        faults.append(Fault(pointer, "runs-backwards", sentence))
    if after and total_km > after.total_km:
        sentence = f"The odometer would run backwards later: it showed {_described(after, unit)}."
        faults.append(Fault(pointer, "runs-backwards", sentence))
    if before and total_km - before.total_km > _MOST_KM_A_DAY * ((read_on - before.read_on).days + 1):
        sentence = f"Too far since the last reading, {_described(before, unit)}: a typing error?"
        faults.append(Fault(pointer, "jumps", sentence))
    return faults


@transaction.atomic
def record_odometer(
    access: Access,
    vehicle: Vehicle,
    *,
    read_on: date,
    shown_km: Decimal,
    source: ReadingSource = ReadingSource.PERSON,
    replacement: bool = False,
    pointer: str = "/odometer_km",
    date_pointer: str = "/read_on",
    touching: bool = True,
    instead_of: OdometerReading | None = None,
) -> OdometerReading:
    """Stores what the odometer showed; the same reading again is the same row.

    `replacement` says the odometer is a new one: the distance so far is carried on. `touching` is false inside a
    larger use-case that marks the vehicle's figures stale itself. `instead_of` is a reading that this one corrects:
    the two need not agree, and the caller drops the old one. Raises InvalidInput naming the
    neighbouring readings when it runs backwards or jumps absurdly, or the day is in the future or before first use.
    """
    access.require(Role.INSPECTOR)
    check_day(access, vehicle, read_on, date_pointer)
    if not 0 <= shown_km <= _MOST_KM:
        raise InvalidInput.at(pointer, "range", "A distance from 0 to 5,000,000 km.")
    day = _day(vehicle, read_on, instead_of)
    around = day.around()
    if replacement:
        total_km = around.before.total_km if around.before else shown_km
        if around.after:
            raise InvalidInput.at(pointer, "not-latest", "Record a replacement before later readings, or delete those.")
    else:
        total_km = shown_km + around.offset_km
        around = day.around(total_km)
        raise_if_any(_contradictions(total_km, read_on, around, access.fleet.distance_unit, pointer))
    _refuse_lost_replacement(day, total_km, pointer, replacement=replacement)
    reading, created = OdometerReading.objects.within(access.fleet).get_or_create(
        vehicle=vehicle,
        read_on=read_on,
        total_km=total_km,
        defaults={"fleet": access.fleet, "shown_km": shown_km, "source": source, "replacement": replacement},
    )
    if created:
        _carry_to_standing(vehicle, around, reading)
        if touching:
            touch(vehicle)
    elif reading.source == ReadingSource.JOB != source:
        # Somebody read the same: it no longer rests on the job alone, and stays when the job is taken back.
        reading.source = source
        reading.save(update_fields=["source"])
    return reading


def _refuse_lost_replacement(day: _Day, total_km: Decimal, pointer: str, *, replacement: bool) -> None:
    """One day and distance hold one reading: a replacement must not vanish behind the last look at the old dial."""
    if replacement and any(each.total_km == total_km and not each.replacement for each in day.same):
        sentence = "There is a reading at this distance on this day; date the new odometer's first reading a day later."
        raise InvalidInput.at(pointer, "same-day", sentence)


def check_day(access: Access, vehicle: Vehicle, read_on: date, pointer: str) -> None:
    """Raises InvalidInput unless the day lies between the vehicle's first use and today."""
    if read_on > today(access.fleet):
        raise InvalidInput.at(pointer, "future", "This day is still to come.")
    if read_on < vehicle.first_used_on:
        sentence = f"The vehicle was first used on {vehicle.first_used_on.isoformat()}."
        raise InvalidInput.at(pointer, "before-first-use", sentence)


def _carry_to_standing(vehicle: Vehicle, around: Neighbours, reading: OdometerReading) -> None:
    if around.after is None:
        Standing.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).update(
            odometer_km=reading.shown_km, odometer_on=reading.read_on
        )


@transaction.atomic
def delete_reading(access: Access, vehicle: Vehicle, reading: OdometerReading) -> None:
    """Takes a mistyped reading back. Planners and owners; readings of inspections go with their inspection.

    Raises Conflict where something rests on the reading, a fuel fill for one: that is taken back first.
    """
    access.require(Role.PLANNER)
    if reading.source == ReadingSource.INSPECTION:
        raise InvalidInput("This reading belongs to an inspection; correct it there.", code="belongs-to-inspection")
    if not drop_reading(vehicle, reading):
        sentence = "Something rests on this reading (a fuel fill, an inspection); take that back first."
        raise Conflict(sentence, code="reading-in-use")
    touch(vehicle)


@transaction.atomic
def correct_reading(
    access: Access,
    vehicle: Vehicle,
    reading: OdometerReading,
    *,
    read_on: date,
    shown_km: Decimal,
    pointer: str = "/odometer_km",
) -> OdometerReading:
    """Puts what the odometer really showed in the place of a mistyped reading. Planners and owners.

    Held against the readings around it as a new one. Raises as `record_odometer` and `delete_reading`.
    """
    access.require(Role.PLANNER)
    if reading.source == ReadingSource.INSPECTION:
        raise InvalidInput("This reading belongs to an inspection; correct it there.", code="belongs-to-inspection")
    right = record_odometer(
        access,
        vehicle,
        read_on=read_on,
        shown_km=shown_km,
        source=ReadingSource(reading.source),
        replacement=reading.replacement,
        pointer=pointer,
        touching=False,
        instead_of=reading,
    )
    if right.pk != reading.pk and not drop_reading(vehicle, reading):
        sentence = "Something rests on this reading (a fuel fill, a job); take that back first."
        raise Conflict(sentence, code="reading-in-use")
    touch(vehicle)
    return right


def drop_reading(vehicle: Vehicle, reading: OdometerReading) -> bool:
    """Takes a reading away unless something rests on it, and says whether it went; inside a transaction."""
    try:
        reading.delete()
    except (ProtectedError, RestrictedError):
        return False
    latest = _day(vehicle, date.max).before
    Standing.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).update(
        odometer_km=latest.shown_km if latest else None, odometer_on=latest.read_on if latest else None
    )
    return True
