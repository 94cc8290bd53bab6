"""Loading what was seen of one vehicle costs what that vehicle's record costs, however large its fleet is."""

from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleetcare.fleet.models import Vehicle
from inspections.catalogue.loader import default_catalogue
from inspections.services.defects import open_defects
from inspections.services.history import load_batch
from inspections.services.looks import NO_CELL, load_seen
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import inspect, result

ON = date(2025, 1, 1)
BY_VEHICLE = "USING INDEX inspection_by_vehicle (fleet_id=? AND vehicle_id=?"
RESULTS_OF_INSPECTION = "(fleet_id=? AND inspection_id=?"


def plans_about_results(captured: CaptureQueriesContext) -> list[str]:
    """How SQLite answers each query about results, one text a query."""
    plans = []
    for query in captured.captured_queries:
        if "inspections_result" in query["sql"]:
            with connection.cursor() as cursor:
                cursor.execute(f"EXPLAIN QUERY PLAN {query['sql']}")
                plans.append("\n".join(row[3] for row in cursor.fetchall()))
    return plans


@pytest.mark.skipif(connection.vendor != "sqlite", reason="The plan is told in SQLite's words.")
@pytest.mark.parametrize("count", [1, 50])
def test_results_are_found_by_their_inspections_and_these_by_their_vehicle(cast: Cast, count: int) -> None:
    """SQLite chooses by the shape of the question; of fifty vehicles it once read the results of the whole fleet."""
    vehicles = [Vehicle(fleet=cast.fleet, first_used_on=ON) for _ in range(count)]
    with CaptureQueriesContext(connection) as captured:
        nowhere = np.full((count, len(default_catalogue().slots)), NO_CELL)
        load_seen(cast.fleet, default_catalogue(), vehicles, nowhere, np.zeros(0), ON)
        open_defects(cast.fleet, vehicles)
    looks, defects = plans_about_results(captured)
    assert BY_VEHICLE in looks
    assert RESULTS_OF_INSPECTION in looks
    assert RESULTS_OF_INSPECTION in defects
    assert "SCAN" not in looks + defects


def test_vehicles_of_different_traits_are_loaded_with_their_own_slots_and_looks(cast: Cast) -> None:
    electric = factories.vehicle(cast.fleet, name="Electric", traits={"fuel": "electric"})
    again = factories.vehicle(cast.fleet, name="Again")
    given: dict[str, Any] = {"inspected_on": date(2024, 5, 1), "shown_km": Decimal(90_000)}
    inspect(cast.access, again, result(grade="major"), **given)
    inspect(cast.access, electric, result(grade="minor"), **given)
    batch = load_batch(cast.fleet, [cast.vehicle.pk, electric.pk, again.pk], ON)
    slots = [batch.cells.slot[batch.cells.vehicle == index].tolist() for index in range(3)]
    assert slots[0] == slots[2] != slots[1]
    seen = {
        (int(batch.cells.vehicle[row]), batch.catalogue.slots[int(batch.cells.slot[row])].part_key): int(grade)
        for row, grade in enumerate(batch.last_grade)
        if grade > 0
    }
    assert seen == {(1, "outer-driveshaft-boot"): 1, (2, "outer-driveshaft-boot"): 2}
