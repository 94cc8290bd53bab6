"""Rows for tests, without random defaults."""

from datetime import date
from typing import Any

import factory

from fleetcare.fleet.access import system_access
from fleetcare.fleet.models import Fleet, Membership, User, Vehicle
from fleetcare.fleet.services.vehicles import add_vehicle
from fleetcare.fleet.words import Role


class FleetFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Fleet

    name = factory.Sequence(lambda number: f"Fleet {number}")
    kind = "household"
    currency = "EUR"
    time_zone = "UTC"
    labour_per_hour_minor = 1500


class UserFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = User

    email = factory.Sequence(lambda number: f"person{number}@fleet.example")
    name = factory.Sequence(lambda number: f"Person {number}")


class MembershipFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Membership

    fleet = factory.SubFactory(FleetFactory)
    user = factory.SubFactory(UserFactory)
    role = Role.OWNER


def vehicle(fleet: Fleet, **values: Any) -> Vehicle:
    """A vehicle through the use-case, so that it has a standing."""
    given = {"name": "Old car", "first_used_on": date(2012, 5, 1), **values}
    return add_vehicle(system_access(fleet), **given)
