"""A prepared question answers as its queryset does, on every database, and belongs to one fleet."""

import uuid
from typing import Any

import pytest
from django.db.models import QuerySet

from fleetcare.fleet.models import Vehicle
from fleetcare.support.prepared import Prepared
from tests import factories
from tests.conftest import Cast

COLUMNS = ("id", "name", "traits", "first_used_on", "created_at", "archived", "standing__odometer_km")


def by_fleet(fleet: Any) -> QuerySet[Any, Any]:
    return Vehicle.objects.within(fleet).order_by("name").values_list(*COLUMNS)


def test_it_answers_as_the_queryset_again_and_again_and_for_each_fleet(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    other = factories.FleetFactory(name="Other")
    factories.vehicle(other, name="Elsewhere")
    asked = Prepared(by_fleet, fleet=uuid.UUID)
    for fleet in (cast.fleet, other, cast.fleet):
        with django_assert_num_queries(1):
            rows = asked.values(fleet=fleet.pk)
        assert [tuple(row) for row in rows] == list(by_fleet(fleet))


def test_a_value_that_is_not_asked_for_is_a_mistake_of_the_programmer() -> None:
    asked = Prepared(lambda fleet, vehicle: by_fleet(fleet), fleet=uuid.UUID, vehicle=uuid.UUID)
    with pytest.raises(ValueError, match="among its parameters"):
        asked.columns(fleet=uuid.uuid4(), vehicle=uuid.uuid4())
