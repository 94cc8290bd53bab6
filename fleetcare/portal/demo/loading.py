"""Enters the invented fleets as anybody would: through the services, fleet by fleet, each whole or not at all."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Fleet, User, Vehicle
from fleetcare.fleet.selectors import fleets_of
from fleetcare.fleet.services.fleets import create_fleet, save_contact
from fleetcare.fleet.services.fuel import record_fuel
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.services.vehicles import add_vehicle
from fleetcare.fleet.words import Role
from fleetcare.portal.demo.entering import (
    enter_estimate,
    enter_note,
    enter_planned,
    enter_rules,
    enter_service,
    enter_work,
)
from fleetcare.portal.demo.events import Event, Fill, Look, Reading, Renewal, Service, Work
from fleetcare.portal.demo.fixtures import DemoFleet, DemoVehicle
from fleetcare.portal.demo.history import history
from fleetcare.support.bell import bell_held
from inspections.catalogue.loader import default_catalogue
from inspections.services.costs import fleet_prices
from inspections.services.parts import fit_part
from inspections.services.recording import record_inspection
from inspections.words import Removal
from scheduling.models import ServiceRule
from scheduling.selectors import stale_standings
from scheduling.services.assess import assess_vehicles
from scheduling.services.choices import change_choice
from scheduling.services.estimates.usual import UsualPrices


def load_fleets(owner: User, fleets: Iterable[DemoFleet], on: date | None = None) -> list[Access]:
    """The owner's access to each fleet; those not yet there are entered as if `on` (default: today) had come.

    What is there is left as it is, so that a second run changes nothing but figures that time has made stale.
    """
    found = {fleet.pk: fleet for fleet in fleets_of(owner)}
    actor = f"user:{owner.pk}"
    accesses = []
    for fleet in fleets:
        stored = found.get(fleet.id)
        access = Access(stored, Role.OWNER, actor) if stored else enter_fleet(owner, fleet, on)
        _assess_stale(access.fleet)
        accesses.append(access)
    return accesses


@dataclass(frozen=True, slots=True)
class _Given:
    """What a fleet has before its vehicles' past is entered."""

    usual: UsualPrices
    rules: list[ServiceRule]
    day: date


def enter_fleet(owner: User, fleet: DemoFleet, on: date | None = None) -> Access:
    """Enters one fleet with its vehicles' past, in one transaction and without an assessment for each write."""
    with bell_held(), transaction.atomic():
        access = create_fleet(
            owner,
            id=fleet.id,
            name=fleet.name,
            kind=fleet.kind,
            currency=fleet.currency,
            distance_unit=fleet.distance_unit,
            time_zone=fleet.time_zone,
            limit_scheme=fleet.limit_scheme,
        )
        day = on or today(access.fleet)
        given = _Given(UsualPrices(fleet_prices(access.fleet)), enter_rules(access, fleet.services), day)
        rows = {each.name: _enter_vehicle(access, fleet, each, day, given) for each in fleet.vehicles}
        _enter_people(access, fleet)
        for note in fleet.know_how:
            enter_note(access, rows[note.vehicle], note)
        for planned in fleet.planned:
            enter_planned(access, rows[planned.vehicle], planned, day)
        for estimate in fleet.estimates:
            enter_estimate(access, rows[estimate.vehicle], estimate)
    return access


def _enter_people(access: Access, fleet: DemoFleet) -> None:
    for each in fleet.contacts:
        ids = [fleet.vehicle_id(name) for name in each.vehicles]
        contact = save_contact(access, None, vehicles=ids, name=each.name, email=each.email, phone=each.phone)
        change_choice(access, contact, rhythm=each.rhythm)


def _enter_vehicle(access: Access, fleet: DemoFleet, vehicle: DemoVehicle, on: date, given: _Given) -> Vehicle:
    row = add_vehicle(
        access,
        key=fleet.vehicle_id(vehicle.name),
        name=vehicle.name,
        plate=vehicle.plate,
        vin=vehicle.vin,
        make=vehicle.make,
        model=vehicle.model,
        model_year=vehicle.model_year,
        first_used_on=vehicle.first_used_on,
        traits=vehicle.traits,
        note=vehicle.note,
    )
    for event in history(default_catalogue(), fleet, vehicle, on):
        _enter_event(access, row, event, given)
    return row


def _enter_event(access: Access, vehicle: Vehicle, event: Event, given: _Given) -> None:
    match event:
        case Reading():
            record_odometer(access, vehicle, read_on=event.on, shown_km=event.shown_km, replacement=event.replacement)
        case Look():
            record_inspection(
                access,
                vehicle,
                inspected_on=event.on,
                shown_km=event.shown_km,
                results=event.results,
                sheet=event.sheet,
                inspector=event.inspector,
                note=event.note,
                trouble_codes=event.trouble_codes,
            )
        case Renewal():
            fit_part(
                access,
                vehicle,
                part_key=event.part_key,
                position=event.position,
                fitted_on=event.on,
                shown_km=event.shown_km,
                removal=Removal(event.removal),
                description=event.description,
            )
        case Work():
            enter_work(access, vehicle, event, given.usual, given.day)
        case Fill():
            record_fuel(
                access,
                vehicle,
                filled_on=event.on,
                litres=event.litres,
                full=event.full,
                shown_km=event.shown_km,
                price_minor=event.price_minor,
            )
        case Service():
            enter_service(access, vehicle, event, given.rules)


def _assess_stale(fleet: Fleet) -> None:
    stale = stale_standings(timezone.now().date()).filter(fleet=fleet)
    assess_vehicles(fleet.pk, stale.values_list("vehicle_id", flat=True))
