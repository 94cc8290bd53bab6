"""However much there is, a page asks the same number of questions."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleetcare.fleet.clock import today
from inspections.catalogue.loader import default_catalogue
from scheduling.services.assess import assess_vehicles
from tests import factories
from tests.fleetcare.portal.conftest import Household
from tests.inspections.given import inspect, result

SIGNED_IN = 2
"""session, user"""
QUERIES = {
    "fleet": SIGNED_IN + 3,  # membership with fleet; sums; vehicles with standings
    # Membership; vehicle with standing, assessment and backlog; findings, what was seen, jobs on the list, due items,
    # figures over time, history, parts, know-how.
    "vehicle": SIGNED_IN + 10,
    "inspection": SIGNED_IN + 4,  # membership, vehicle, inspection with reading, results
}


def grow(household: Household) -> None:
    """More vehicles, more inspections, and every check of the catalogue that applies found major."""
    cast = household.cast
    applicable = default_catalogue().applicable_checks(household.blue.traits)
    results = [result(found.key, found.position, grade="major") for found in applicable]
    on = today(cast.fleet)
    inspect(cast.access, household.blue, *results, inspected_on=on - timedelta(days=2), shown_km=Decimal(121_000))
    for day in range(6):
        inspect(
            cast.access, household.blue, inspected_on=on - timedelta(days=60 + day), shown_km=Decimal(118_000 - day)
        )
    added = [factories.vehicle(cast.fleet, name=f"Car {number}") for number in range(8)]
    for vehicle in added:
        inspect(cast.access, vehicle, result(grade="minor"), inspected_on=on)
    assess_vehicles(cast.fleet.pk, [household.blue.pk, *(vehicle.pk for vehicle in added)])


@pytest.mark.parametrize("page", QUERIES)
def test_a_page_asks_the_same_number_of_questions_of_little_and_of_much(
    browser: Client, household: Household, django_assert_num_queries: Any, page: str
) -> None:
    type(household.blue).objects.within(household.cast.fleet).update(make="Ostrel", model="Brode")
    with django_assert_num_queries(QUERIES[page]):
        little = browser.get(household.pages[page])
    grow(household)
    address = household.pages[page]
    if page == "inspection":
        latest = household.blue.inspections.order_by("-inspected_on").first()
        address = address.replace(str(household.inspection.pk), str(latest.pk))
    with django_assert_num_queries(QUERIES[page]):
        much = browser.get(address)
    assert len(much.content) > 1.5 * len(little.content)


def test_home_asks_three_questions(browser: Client, household: Household, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(SIGNED_IN + 1):  # the fleets
        browser.get("/")
