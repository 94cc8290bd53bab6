"""A household whose blue car must not be driven, and a member's browser."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from inspections.models import Inspection
from scheduling.services.assess import assess_vehicles
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result

TORN = result(BOOT, "front-right", grade="major", observations=["torn"], note="grease on the <wheel>")
WORN_AWAY = result(PADS, "front-left", measurement={"value": 0.4, "unit": "mm"})
GOOD_PADS = result(PADS, "front-right", measurement={"value": 9.5, "unit": "mm"})
UNSEEN = result("brake-hose.condition", "front-left", not_examined="bolts seized")


@dataclass(frozen=True)
class Household:
    """`sound` was seen sound, `blue` must not be driven, `unknown` was never looked at."""

    cast: Cast
    sound: Vehicle
    blue: Vehicle
    unknown: Vehicle
    inspection: Inspection

    @property
    def pages(self) -> dict[str, str]:
        """The addresses of every page of the fleet."""
        fleet = f"/fleets/{self.cast.fleet.pk}/"
        blue = f"{fleet}vehicles/{self.blue.pk}/"
        return {
            "fleet": fleet,
            "vehicle": blue,
            "unknown vehicle": f"{fleet}vehicles/{self.unknown.pk}/",
            "inspection": f"{blue}inspections/{self.inspection.pk}/",
        }


@pytest.fixture
def household(cast: Cast) -> Household:
    return make_household(cast)


def make_household(cast: Cast) -> Household:
    access = cast.access
    blue = factories.vehicle(cast.fleet, name="Zephyr the blue one", plate="HX BL 9")
    unknown = factories.vehicle(cast.fleet, name="Allotment van")
    days = [today(cast.fleet) - timedelta(days=days) for days in (40, 12)]
    inspect(access, cast.vehicle, inspected_on=days[0])
    inspect(access, blue, result(grade="minor"), inspected_on=days[0], shown_km=Decimal(119_000))
    last = inspect(access, blue, TORN, WORN_AWAY, GOOD_PADS, UNSEEN, inspected_on=days[1], trouble_codes=["P0335"])
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk, blue.pk, unknown.pk])
    return Household(cast, cast.vehicle, blue, unknown, last)


@pytest.fixture
def browser_of() -> Callable[..., Client]:
    """A member's browser."""

    def made(cast: Cast, role: Role = Role.VIEWER) -> Client:
        client = Client(raise_request_exception=True)
        client.force_login(cast.members[role])
        return client

    return made


@pytest.fixture
def browser(household: Household, browser_of: Any) -> Client:
    """The browser of the household's viewer, who may only read."""
    client: Client = browser_of(household.cast)
    return client
