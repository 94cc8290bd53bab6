"""What a file would change: records against what is stored, without storing anything. A fixed number of queries."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import FuelFill, OdometerReading, Vehicle
from fleetcare.fleet.traits import trait_faults
from fleetcare.fleet.words import ReadingSource
from fleetcare.kernel import vin as vins
from fleetcare.portal.exchange.parsing import Options, Record, RowFault, column_of
from fleetcare.portal.exchange.roads import Candidate, Placed, Stored, placed
from scheduling.models import Job

MOST_LITRES = Decimal(500)
"""More than any tank of a car or light van holds; common practice, no source. The same as for a fill by hand."""
_OLDEST = date(1885, 1, 1)
_DAYS = {"odometer": "read_on", "fuel": "filled_on", "services": "done_on"}
SOURCES = {"odometer": ReadingSource.IMPORT, "fuel": ReadingSource.FUEL, "services": ReadingSource.JOB}


@dataclass(frozen=True, slots=True)
class Planned:
    """One row that would be stored: of which vehicle, with which reading, and what else it says."""

    row: int
    vehicle: Vehicle | None
    reading: Placed | None
    record: Record


@dataclass(slots=True)
class Plan:
    """What would be stored, what is stored already, and what is wrong."""

    new: list[Planned] = field(default_factory=list)
    repeated: int = 0
    faults: list[RowFault] = field(default_factory=list)


def planned_vehicles(access: Access, records: Mapping[int, Record], options: Options) -> Plan:
    """New vehicles; one that is known by its VIN, or by plate and name where it has none, is stored already."""
    plan, on = Plan(), today(access.fleet)
    known = list(Vehicle.objects.within(access.fleet).only("id", "name", "plate", "vin", "fleet"))
    seen = {_identity(vehicle.vin, vehicle.plate, vehicle.name): 0 for vehicle in known}
    for number, record in records.items():
        vin = vins.normalised(record.get("vin", ""))
        faults = list(_vehicle_faults(number, record, vin, options, on))
        identity = _identity(vin, record.get("plate", ""), record["name"])
        if faults:
            plan.faults += faults
        elif identity not in seen:
            seen[identity] = number
            plan.new.append(Planned(number, None, None, {**record, "vin": vin}))
        elif seen[identity]:
            sentence = f"The same vehicle stands in row {seen[identity]}."
            plan.faults.append(
                RowFault(number, column_of(options, "vin" if vin else "name"), record["name"], "twice", sentence)
            )
        else:
            plan.repeated += 1
    return plan


def _identity(vin: str, plate: str, name: str) -> tuple[str, ...]:
    return ("vin", vin) if vin else ("name", _squeezed(plate), name.casefold())


def _squeezed(text: str) -> str:
    """A plate as it is compared: without spaces, dashes and case."""
    return "".join(c for c in text.casefold() if c.isalnum())


def _vehicle_faults(number: int, record: Record, vin: str, options: Options, on: date) -> Iterable[RowFault]:
    sentence = vins.form_fault(vin) if vin else None
    if sentence:
        yield RowFault(number, column_of(options, "vin"), record["vin"], "vin-form", sentence)
    first_used_on = record["first_used_on"]
    if not _OLDEST <= first_used_on <= on:
        column = column_of(options, "first_used_on")
        yield RowFault(number, column, first_used_on.isoformat(), "date", "A day between 1885 and today.")
    year = record.get("model_year")
    if year is not None and (year != int(year) or not 1885 <= year <= 2100):
        yield RowFault(number, column_of(options, "model_year"), f"{year:f}", "range", "A year from 1885 to 2100.")
    for fault in trait_faults(traits_of(record)):
        name = fault.pointer.strip("/")
        yield RowFault(number, column_of(options, name), record.get(name, ""), fault.code, fault.detail)


_PLAIN = frozenset({"name", "plate", "vin", "make", "model", "model_year", "first_used_on", "note"})


def traits_of(record: Record) -> dict[str, str]:
    """The traits that a row of vehicles says."""
    return {name: value for name, value in record.items() if name not in _PLAIN and value}


class _Vehicles:
    """Which vehicle a cell means: by VIN, plate or name."""

    def __init__(self, access: Access, fixed: uuid.UUID | None) -> None:
        rows = Vehicle.objects.within(access.fleet).order_by("created_at", "id")
        self.all = {vehicle.pk: vehicle for vehicle in rows}
        self.fixed = self.all.get(fixed) if fixed else None
        self._by_word: dict[str, list[Vehicle]] = {}
        for vehicle in self.all.values():
            for word in {vehicle.name.casefold(), _squeezed(vehicle.plate), vehicle.vin.casefold()} - {""}:
                self._by_word.setdefault(word, []).append(vehicle)

    def meant(self, number: int, record: Record, options: Options) -> Vehicle | RowFault:
        """The vehicle of a row, or why there is none."""
        cell = record.get("vehicle", "")
        if self.fixed and not cell:
            return self.fixed
        words = (cell.casefold(), _squeezed(cell), vins.normalised(cell).casefold())
        found = {vehicle.pk: vehicle for word in words for vehicle in self._by_word.get(word, ())}
        if len(found) == 1:
            return next(iter(found.values()))
        code = "ambiguous-vehicle" if found else "unknown-vehicle"
        sentence = (
            "Several vehicles are called so; write the plate or the VIN."
            if found
            else "No vehicle of this fleet has this name, plate or VIN."
        )
        return RowFault(number, column_of(options, "vehicle"), cell, code, sentence)


def planned_rows(
    access: Access, kind: str, records: Mapping[int, Record], options: Options, fixed: uuid.UUID | None
) -> Plan:
    """New readings, fills or finished jobs of the fleet's vehicles."""
    plan, vehicles = Plan(), _Vehicles(access, fixed)
    mine: dict[uuid.UUID, dict[int, Record]] = {}
    for number, record in records.items():
        vehicle = vehicles.meant(number, record, options)
        fault = vehicle if isinstance(vehicle, RowFault) else _fault(access, kind, number, record, vehicle, options)
        if fault:
            plan.faults.append(fault)
        elif isinstance(vehicle, Vehicle):
            mine.setdefault(vehicle.pk, {})[number] = record
    stored = _stored_readings(access)
    seen = _stored_rows(access, kind)
    for key, rows in mine.items():
        _plan_vehicle(plan, kind, vehicles.all[key], rows, stored.get(key, []), seen, options)
    plan.new.sort(key=lambda each: each.row)
    plan.faults.sort(key=lambda each: each.row)
    return plan


def _fault(
    access: Access, kind: str, number: int, record: Record, vehicle: Vehicle, options: Options
) -> RowFault | None:
    """What is wrong with a row by itself."""
    name = _DAYS[kind]
    on, column = record[name], column_of(options, name)
    if on > today(access.fleet):
        return RowFault(number, column, on.isoformat(), "future", "This day is still to come.")
    if on < vehicle.first_used_on:
        sentence = f"The vehicle was first used on {vehicle.first_used_on.isoformat()}."
        return RowFault(number, column, on.isoformat(), "before-first-use", sentence)
    if kind == "fuel":
        column, litres = column_of(options, "litres"), record["litres"]
        if vehicle.traits.get("fuel") == "electric":
            return RowFault(number, column, f"{litres:f}", "electric", "An electric vehicle takes no fuel.")
        if not 0 < litres <= MOST_LITRES:
            sentence = f"More than 0 and at most {MOST_LITRES} litres."
            return RowFault(number, column, f"{litres.normalize():f}", "range", sentence)
    if kind == "services" and (record.get("hours") or 0) >= 100_000:
        return RowFault(number, column_of(options, "hours"), f"{record['hours']:f}", "range", "Fewer hours than that.")
    return None


def _stored_readings(access: Access) -> dict[uuid.UUID, list[Stored]]:
    rows = OdometerReading.objects.within(access.fleet).order_by("read_on", "total_km")
    found: dict[uuid.UUID, list[Stored]] = {}
    for vehicle, on, total, shown in rows.values_list("vehicle_id", "read_on", "total_km", "shown_km"):
        found.setdefault(vehicle, []).append(Stored(on, total, shown))
    return found


def _stored_rows(access: Access, kind: str) -> set[tuple[Any, ...]]:
    """What makes a row the same as one that is stored."""
    rows: Any
    if kind == "fuel":
        rows = FuelFill.objects.within(access.fleet)
        return set(rows.values_list("vehicle_id", "filled_on", "litres", "reading__total_km"))
    if kind == "services":
        rows = Job.objects.within(access.fleet).filter(done_on__isnull=False)
        return set(rows.values_list("vehicle_id", "done_on", "title", "reading__total_km"))
    rows = OdometerReading.objects.within(access.fleet)
    return set(rows.values_list("vehicle_id", "read_on", "total_km"))


def _sameness(kind: str, vehicle: Vehicle, record: Record, total_km: Decimal | None) -> tuple[Any, ...]:
    if kind == "fuel":
        return vehicle.pk, record["filled_on"], record["litres"], total_km
    if kind == "services":
        return vehicle.pk, record["done_on"], record["title"], total_km
    return vehicle.pk, record["read_on"], total_km


def _plan_vehicle(
    plan: Plan,
    kind: str,
    vehicle: Vehicle,
    rows: Mapping[int, Record],
    stored: list[Stored],
    seen: set[tuple[Any, ...]],
    options: Options,
) -> None:
    dated = _DAYS[kind]
    candidates = [
        Candidate(number, record[dated], record["odometer"])
        for number, record in rows.items()
        if record.get("odometer") is not None
    ]
    fitting, wrong = placed(stored, candidates)
    shown = column_of(options, "odometer")
    for each in wrong:
        told = f"{rows[each.row]['odometer'].normalize():f} km"
        plan.faults.append(RowFault(each.row, shown, told, each.code, each.sentence))
    readings = {each.row: each for each in fitting}
    bad = {each.row for each in wrong}
    for number, record in rows.items():
        if number in bad:
            continue
        reading = readings.get(number)
        same = _sameness(kind, vehicle, record, reading.total_km if reading else None)
        if same in seen:
            plan.repeated += 1
        else:
            seen.add(same)
            plan.new.append(Planned(number, vehicle, reading, record))
