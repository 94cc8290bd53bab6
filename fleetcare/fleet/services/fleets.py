"""Making and changing fleets, their members and contacts."""

import uuid
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from django.db import IntegrityError, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Contact, ContactVehicle, Fleet, Membership, User, Vehicle
from fleetcare.fleet.services.vehicles import touch_all
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Fault, Forbidden, InvalidInput, raise_if_any
from fleetcare.kernel.money import Money, is_currency
from fleetcare.support.versions import store

# What one euro's worth costs, roughly; from memory, 2026. A fleet corrects it with its own price factor.
_ROUGH_PRICE_FACTORS = {
    "EUR": "1", "USD": "1.1", "GBP": "0.86", "CHF": "0.95", "CAD": "1.5", "AUD": "1.7", "SEK": "11.2", "NOK": "11.6",
    "DKK": "7.46", "PLN": "4.3", "CZK": "25", "HUF": "395", "JPY": "165",
}  # fmt: skip
_JUDGED_BY = frozenset(("labour_per_hour_minor", "price_factor", "limit_scheme"))
# Euros an hour: own hours at home are cheap but not free; common practice, no source.
_LABOUR_EUR = {"household": 15, "club": 15, "workshop": 75}


def _setting_faults(values: dict[str, Any]) -> Iterator[Fault]:
    if "time_zone" in values and values["time_zone"] not in available_timezones():
        yield Fault("/time_zone", "unknown-zone", "Give an IANA time zone, for example Europe/Berlin.")
    if "currency" in values and not is_currency(values["currency"]):
        yield Fault("/currency", "unknown-currency", "Give an ISO 4217 code in capitals, for example EUR.")


def create_fleet(user: User, **values: Any) -> Access:
    """A fleet owned by `user`. Labour and price factor default by kind and currency.

    Raises InvalidInput for an unknown zone or currency, and where no rough price factor is known for the currency.
    """
    faults = list(_setting_faults(values))
    factor = values.pop("price_factor", None) or _ROUGH_PRICE_FACTORS.get(values["currency"])
    if factor is None and not faults:
        sentence = "Say what something that costs 1 EUR costs in your currency; the catalogue reckons in euros."
        faults.append(Fault("/price_factor", "required", sentence))
    raise_if_any(faults)
    factor = Decimal(str(factor))
    labour = values.pop("labour_per_hour", None)
    if labour is None:
        labour = Money.of(_LABOUR_EUR[values["kind"]] * factor, values["currency"]).minor
    with transaction.atomic():
        fleet = Fleet.objects.create(price_factor=factor, labour_per_hour_minor=labour, **values)
        Membership.objects.create(fleet=fleet, user=user, role=Role.OWNER)
    return Access(fleet, Role.OWNER, f"user:{user.pk}")


def change_fleet(access: Access, **values: Any) -> Fleet:
    """Changes a fleet's settings; its currency stays, since amounts are stored in it. Owners only.

    What prices and limits decide is computed anew for all vehicles.
    """
    access.require(Role.OWNER)
    raise_if_any(_setting_faults(values))
    fleet = access.fleet
    if "labour_per_hour" in values:
        values["labour_per_hour_minor"] = values.pop("labour_per_hour")
    for name, value in values.items():
        setattr(fleet, name, value)
    with transaction.atomic():
        store(fleet, values)
        if not _JUDGED_BY.isdisjoint(values):
            touch_all(fleet)
    return fleet


def add_member(access: Access, *, email: str, role: Role) -> Membership:
    """Adds a user by e-mail address; whoever has no login yet gets one without a password. Owners only."""
    access.require(Role.OWNER)
    with transaction.atomic():
        user = User.objects.filter(email__iexact=email.strip()).first() or User.objects.create_user(email)
        if Membership.objects.within(access.fleet).filter(user=user).exists():
            raise Conflict("This person is a member already.", code="member-exists")
        return Membership.objects.create(fleet=access.fleet, user=user, role=role)


def _keep_an_owner(access: Access, membership: Membership) -> None:
    others = Membership.objects.within(access.fleet).filter(role=Role.OWNER).exclude(pk=membership.pk)
    if membership.role == Role.OWNER and not others.exists():
        raise Conflict("A fleet keeps at least one owner; name another first.", code="last-owner")


@transaction.atomic
def change_member(access: Access, membership: Membership, *, role: Role) -> Membership:
    """Gives a member another role; raises Conflict for the last owner. Owners only."""
    access.require(Role.OWNER)
    if role != Role.OWNER:
        _keep_an_owner(access, membership)
    membership.role = role
    membership.save(update_fields=["role"])
    return membership


@transaction.atomic
def remove_member(access: Access, membership: Membership) -> None:
    """Ends a membership; members may leave themselves, owners remove others."""
    if access.actor != f"user:{membership.user_id}" and access.role != Role.OWNER:
        raise Forbidden("Only an owner removes other members.")
    _keep_an_owner(access, membership)
    membership.delete()


def _vehicles(access: Access, ids: Iterable[uuid.UUID]) -> list[Vehicle]:
    wanted = list(dict.fromkeys(ids))
    found = {vehicle.pk: vehicle for vehicle in Vehicle.objects.within(access.fleet).filter(pk__in=wanted)}
    raise_if_any(
        Fault(f"/vehicles/{index}", "unknown-vehicle", "There is no such vehicle in this fleet.")
        for index, key in enumerate(wanted)
        if key not in found
    )
    return [found[key] for key in wanted]


@transaction.atomic
def save_contact(
    access: Access, contact: Contact | None, *, vehicles: Iterable[uuid.UUID] | None, **values: Any
) -> Contact:
    """Creates or changes a contact and the vehicles they are told about. Planners and owners."""
    access.require(Role.PLANNER)
    linked = None if vehicles is None else _vehicles(access, vehicles)
    try:
        with transaction.atomic():
            if contact is None:
                contact = Contact.objects.create(fleet=access.fleet, **values)
            else:
                for name, value in values.items():
                    setattr(contact, name, value)
                store(contact, values)
    except IntegrityError as error:
        raise InvalidInput.at("/email", "duplicate", "A contact with this address exists already.") from error
    if linked is not None:
        links = ContactVehicle.objects.within(access.fleet)
        links.filter(contact=contact).exclude(vehicle__in=linked).delete()
        have = set(links.filter(contact=contact).values_list("vehicle_id", flat=True))
        ContactVehicle.objects.bulk_create(
            ContactVehicle(fleet=access.fleet, contact=contact, vehicle=vehicle)
            for vehicle in linked
            if vehicle.pk not in have
        )
    return contact


def remove_contact(access: Access, contact: Contact) -> None:
    """Takes a contact off; they are told nothing more. Planners and owners."""
    access.require(Role.PLANNER)
    contact.delete()
