"""How a member or a contact wants to be reminded: read, and changed by themselves or by a planner."""

import uuid
from collections.abc import Collection
from typing import Any
from zoneinfo import available_timezones

from django.db import IntegrityError, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Contact, Membership, Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Fault, Forbidden, InvalidInput, StaleWrite, raise_if_any
from fleetcare.support.versions import store
from scheduling.models import ReminderChoice, UnwantedVehicle
from scheduling.models.reminders import ENOUGH_BOUNCES

Person = Membership | Contact


def owner_of(person: Person) -> dict[str, Any]:
    """The column by which a choice belongs to a person."""
    return {"membership" if isinstance(person, Membership) else "contact": person}


def choice_of(access: Access, person: Person) -> ReminderChoice:
    """The person's choice, or the usual one, not stored, where they never made any. Changes nothing."""
    owner = owner_of(person)
    stored = ReminderChoice.objects.within(access.fleet).filter(**owner).first()
    return stored or ReminderChoice(fleet=access.fleet, **owner)


def require_own_or_planner(access: Access, person: Person) -> None:
    """Raises Forbidden for anybody but the person and planners."""
    if not is_own(access, person) and not access.role.includes(Role.PLANNER):
        raise Forbidden("Everybody chooses for themselves; a planner also for others.")


def is_own(access: Access, person: Person) -> bool:
    """Whether the person is the one who asks."""
    return isinstance(person, Membership) and access.actor == f"user:{person.user_id}"


@transaction.atomic
def change_choice(
    access: Access, person: Person, *, unwanted_vehicles: Collection[uuid.UUID] | None = None, **values: Any
) -> ReminderChoice:
    """Changes how a person is reminded; an address that had refused mail is tried again.

    Members choose for themselves, planners for anybody. `unwanted_vehicles`, where given, takes the place of those
    before. Raises InvalidInput for a zone that is none, for lead days in the wrong order and for a vehicle that is not
    of this fleet.
    """
    require_own_or_planner(access, person)
    choice = choice_of(access, person)
    for name, value in values.items():
        setattr(choice, name, value)
    raise_if_any([*_faults(choice, values), *_vehicle_faults(access, person, unwanted_vehicles or ())])
    choice.bounces, choice.swept_on = 0, None
    stored = _stored(access, choice, values)
    if unwanted_vehicles is not None:
        _set_unwanted(access, stored, unwanted_vehicles)
    return stored


def _stored(access: Access, choice: ReminderChoice, values: dict[str, Any]) -> ReminderChoice:
    if ReminderChoice.objects.within(access.fleet).filter(pk=choice.pk).exists():
        store(choice, [*values, "bounces", "swept_on"])
        return choice
    try:
        with transaction.atomic():
            choice.save(force_insert=True)
    except IntegrityError as error:
        raise StaleWrite("It was changed since you read it; read it again and repeat the change.") from error
    return choice


def _vehicle_faults(access: Access, person: Person, vehicles: Collection[uuid.UUID]) -> list[Fault]:
    if vehicles and isinstance(person, Contact):
        sentence = "Which vehicles a contact is told about stands at the contact."
        return [Fault("/unwanted_vehicles", "contact", sentence)]
    known = set(Vehicle.objects.within(access.fleet).filter(pk__in=vehicles).values_list("pk", flat=True))
    return [
        Fault(f"/unwanted_vehicles/{index}", "unknown-vehicle", "There is no such vehicle in this fleet.")
        for index, vehicle in enumerate(vehicles)
        if vehicle not in known
    ]


def _set_unwanted(access: Access, choice: ReminderChoice, vehicles: Collection[uuid.UUID]) -> None:
    rows = UnwantedVehicle.objects.within(access.fleet).filter(reader=choice)
    rows.exclude(vehicle__in=vehicles).delete()
    wanted = [UnwantedVehicle(fleet=access.fleet, reader=choice, vehicle_id=key) for key in dict.fromkeys(vehicles)]
    UnwantedVehicle.objects.bulk_create(wanted, ignore_conflicts=True)


def _faults(choice: ReminderChoice, values: dict[str, Any]) -> list[Fault]:
    faults = []
    if values.get("time_zone") and values["time_zone"] not in available_timezones():
        faults.append(Fault("/time_zone", "unknown-zone", "Give an IANA time zone, for example Europe/Berlin."))
    first, second = choice.first_lead_days, choice.second_lead_days
    if first is not None and second is not None and second >= first:
        faults.append(Fault("/second_lead_days", "order", "The second reminder comes after the first: fewer days."))
    return faults


def bounced_for_good(choice: ReminderChoice) -> bool:
    """Whether mails to the person's address are stopped because it refused them."""
    return choice.bounces >= ENOUGH_BOUNCES


def member_of(access: Access, member_id: Any) -> Membership:
    """A member of the fleet; raises NotFound."""
    return Membership.objects.within(access.fleet).select_related("user").one(pk=member_id)


def contact_of(access: Access, contact_id: Any) -> Contact:
    """A contact of the fleet; raises NotFound."""
    return Contact.objects.within(access.fleet).one(pk=contact_id)


def person_asking(access: Access) -> list[uuid.UUID]:
    """The id of the user who asks; nobody where a key or the software does."""
    kind, _, pk = access.actor.partition(":")
    return [uuid.UUID(pk)] if kind == "user" else []


def own_membership(access: Access, pointer: str) -> Membership:
    """The membership of whoever asks; raises InvalidInput for a key, which is nobody."""
    rows = Membership.objects.within(access.fleet).select_related("user")
    mine = rows.filter(user__in=person_asking(access)).first()
    if mine is None:
        raise InvalidInput.at(pointer, "required", "Say for which member or contact; a key is no person.")
    return mine
