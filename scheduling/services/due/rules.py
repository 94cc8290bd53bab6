"""Rules of scheduled work: made by hand or from a template, changed, dropped, and when their work was last done."""

import uuid
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.services.vehicles import touch, touch_all
from fleetcare.fleet.words import ReadingSource, Role
from fleetcare.kernel.errors import Conflict, Fault, InvalidInput, raise_if_any
from fleetcare.support.versions import store
from inspections.catalogue.conditions import all_hold, parse_all, parse_condition
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.service_templates import service_templates
from scheduling.models import ServiceDone, ServiceRule


@transaction.atomic
def add_rule(access: Access, vehicle: Vehicle | None, *, template: str = "", **values: Any) -> ServiceRule:
    """A rule for a vehicle, or (without one) for all of the fleet it fits. Planners and owners.

    A template gives what `values` leave out. Raises InvalidInput for an unknown template, part or condition, and for a
    rule that never falls due.
    """
    access.require(Role.PLANNER)
    rule = ServiceRule(fleet=access.fleet, vehicle=vehicle, **{**_of_template(template), **values})
    raise_if_any(_faults(rule))
    rule.save(force_insert=True)
    _mark_stale(access, vehicle)
    return rule


@transaction.atomic
def add_from_templates(access: Access, vehicle: Vehicle, templates: Iterable[str]) -> list[ServiceRule]:
    """A vehicle's rules as these templates have them, all or none. Raises InvalidInput as `add_rule`."""
    return [add_rule(access, vehicle, template=template) for template in dict.fromkeys(templates)]


def _of_template(key: str) -> dict[str, Any]:
    if not key:
        return {}
    entry = service_templates().get(key)
    if entry is None:
        raise InvalidInput.at("/template", "unknown-template", f"There is no template {key}.")
    return {
        "template": key,
        "title": entry.title,
        "part_key": entry.part,
        "every_km": entry.every_km,
        "every_months": entry.every_months,
        "needs": list(entry.needs),
        "source": entry.source,
    }


def _faults(rule: ServiceRule) -> Iterable[Fault]:
    if not rule.title:
        yield Fault("/title", "required", "Say what is to be done, or name a template.")
    if not (rule.every_km or rule.every_months or rule.ends_on or rule.ends_total_km):
        yield Fault("/every_km", "never-due", "Give a distance, months, or the day or distance at which it ends.")
    catalogue = default_catalogue()
    if rule.part_key and rule.part_key not in catalogue.parts:
        yield Fault("/part", "unknown-part", f"The catalogue has no part {rule.part_key}.")
    for index, text in enumerate(rule.needs):
        try:
            condition = parse_condition(text)
        except ValueError as error:
            yield Fault(f"/needs/{index}", "malformed", str(error))
            continue
        known = catalogue.traits.get(condition.trait)
        if known is None or not set(condition.values) <= {value.key for value in known.values}:
            yield Fault(f"/needs/{index}", "unknown-trait", f"{text}: no such trait or value.")


def _mark_stale(access: Access, vehicle: Vehicle | None) -> None:
    if vehicle is not None:
        touch(vehicle)
    else:
        touch_all(access.fleet)


@transaction.atomic
def change_rule(access: Access, rule: ServiceRule, **values: Any) -> ServiceRule:
    """Changes a rule. Planners and owners. Raises InvalidInput as `add_rule`, StaleWrite where somebody else did."""
    access.require(Role.PLANNER)
    for name, value in values.items():
        setattr(rule, name, value)
    raise_if_any(_faults(rule))
    store(rule, values)
    _mark_stale(access, rule.vehicle)
    return rule


@transaction.atomic
def drop_rule(access: Access, rule: ServiceRule) -> None:
    """Takes a rule away with its record; what it made due is withdrawn. Planners and owners."""
    access.require(Role.PLANNER)
    vehicle = rule.vehicle
    rule.delete()
    _mark_stale(access, vehicle)


@transaction.atomic
def mark_done(
    access: Access,
    rule: ServiceRule,
    vehicle: Vehicle,
    *,
    done_on: date,
    shown_km: Decimal | None = None,
    next_ends_on: date | None = None,
    note: str = "",
) -> ServiceDone:
    """Says that a rule's work was done on a vehicle. Inspectors and above.

    A rule that only ends on a day takes the next such day, or rests until it gets one. Raises InvalidInput for a day
    to come, a rule that is not about this vehicle, and a distance that contradicts the odometer; Conflict for the
    same day twice.
    """
    access.require(Role.INSPECTOR)
    if not fits(rule, vehicle):
        raise InvalidInput("This rule is not about this vehicle.", code="other-vehicle")
    if done_on > today(access.fleet):
        raise InvalidInput.at("/done_on", "future", "This day is still to come.")
    total_km = _total_km(access, vehicle, done_on, shown_km)
    try:
        with transaction.atomic():
            done = ServiceDone.objects.create(
                fleet=access.fleet, rule=rule, vehicle=vehicle, done_on=done_on, total_km=total_km, note=note
            )
    except IntegrityError as error:
        raise Conflict("It is on record for this day already.", code="done-already") from error
    _end_period(rule, next_ends_on)
    touch(vehicle)
    return done


def _total_km(access: Access, vehicle: Vehicle, done_on: date, shown_km: Decimal | None) -> Decimal | None:
    if shown_km is None:
        return None
    reading = record_odometer(
        access,
        vehicle,
        read_on=done_on,
        shown_km=shown_km,
        source=ReadingSource.JOB,
        date_pointer="/done_on",
        touching=False,
    )
    return reading.total_km


def _end_period(rule: ServiceRule, next_ends_on: date | None) -> None:
    if rule.every_km or rule.every_months:
        return
    if next_ends_on is None:
        rule.active = False
    else:
        rule.ends_on = next_ends_on
    store(rule, ["active", "ends_on"])


def fits(rule: ServiceRule, vehicle: Vehicle) -> bool:
    """Whether a rule is about a vehicle: its own, or by traits, make and model."""
    if rule.vehicle_id is not None:
        return rule.vehicle_id == vehicle.pk
    same_make = not rule.make or rule.make.casefold() == vehicle.make.casefold()
    same_model = not rule.model or rule.model.casefold() == vehicle.model.casefold()
    if not (same_make and same_model):
        return False
    traits = default_catalogue().with_defaults(vehicle.traits)
    return all_hold(parse_all(tuple(rule.needs)), traits)


def mark_serviced(
    access: Access,
    vehicle: Vehicle,
    part_keys: Iterable[str],
    on: date,
    total_km: Decimal,
    job_id: uuid.UUID | None = None,
) -> int:
    """Marks the rules about these parts as done by a job; returns how many. Call inside the job's transaction."""
    about = ServiceRule.objects.within(access.fleet).filter(active=True, part_key__in=set(part_keys) - {""})
    repeating = about.exclude(every_km=None, every_months=None)
    rules = [rule for rule in repeating.filter(Q(vehicle=vehicle) | Q(vehicle=None)) if fits(rule, vehicle)]
    rows = [
        ServiceDone(fleet=access.fleet, rule=rule, vehicle=vehicle, done_on=on, total_km=total_km, job_id=job_id)
        for rule in rules
    ]
    ServiceDone.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rules)


def drop_serviced(access: Access, vehicle: Vehicle, job_id: uuid.UUID) -> None:
    """Takes back what `mark_serviced` wrote for a job that is undone; call inside its transaction."""
    ServiceDone.objects.within(access.fleet).filter(vehicle=vehicle, job_id=job_id).delete()
