"""How much work the page of a vehicle with much wrong with it is: counted in calls, which no busy machine changes.

A page of 60 ms of processor time makes about 190,000 calls under the profiler (CPython 3.11); counting them instead of
timing them tells the same, and tells it every time.
"""

import cProfile
import pstats
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client

from fleetcare.fleet.clock import today
from inspections.catalogue.loader import default_catalogue
from scheduling.services.assess import assess_vehicles
from tests.fleetcare.fleet.given import fill
from tests.fleetcare.portal.conftest import Household
from tests.inspections.given import inspect, result

pytestmark = pytest.mark.slow

FINDINGS = 45
MOST_CALLS = 260_000
MOST_TIMES_THE_EMPTY_PAGE = 3.5


def ail(household: Household) -> None:
    """As many findings as the worst vehicle of the demo has."""
    access, blue, on = household.cast.access, household.blue, today(household.cast.fleet)
    found = default_catalogue().applicable_checks(blue.traits)[::7][:FINDINGS]
    results = [result(each.key, each.position, grade="major") for each in found]
    inspect(access, blue, *results, inspected_on=on - timedelta(days=2), shown_km=Decimal(121_000))
    for number in range(24):
        day, km = on - timedelta(days=400 - 14 * number), Decimal(100_000 + 400 * number)
        fill(access, blue, filled_on=day, shown_km=km, price_minor=6_000)
    assess_vehicles(household.cast.fleet.pk, [blue.pk])


def calls(client: Client, address: str) -> int:
    """Calls of one answer of a page that was asked for before."""
    client.get(address)
    client.get(address)
    profile = cProfile.Profile()
    profile.enable()
    answer = client.get(address)
    profile.disable()
    assert answer.status_code == 200
    return int(pstats.Stats(profile).total_calls)  # type: ignore[attr-defined]


def test_the_page_of_a_vehicle_with_everything_wrong_stays_cheap(browser: Client, household: Household) -> None:
    ail(household)
    full, empty = (calls(browser, household.pages[page]) for page in ("vehicle", "unknown vehicle"))
    assert full < MOST_CALLS
    assert full < MOST_TIMES_THE_EMPTY_PAGE * empty
