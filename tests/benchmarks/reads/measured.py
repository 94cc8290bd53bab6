"""The figures of the benchmark, on whatever database Django was set up with."""

from collections.abc import Callable
from datetime import date
from typing import Any

import orjson
from django.conf import settings
from django.db import connection
from rest_framework.test import APIClient

from fleetcare.fleet import selectors
from fleetcare.fleet.access import system_access
from fleetcare.fleet.api.shapes import vehicle_json
from fleetcare.fleet.models import Fleet, Standing, Vehicle
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
from tests import factories
from tests.benchmarks.backlog.fleets import TRAITS
from tests.benchmarks.paired import alternating, exponent

SIZES = (50, 1_000, 10_000)
PAGE = 50
REPEATS = {"vehicle": 40, "page": 15}
_ON = date(2026, 1, 1)


def measured() -> dict[str, Any]:
    """Everything about fleets of each size in one database."""
    settings.REQUESTS_PER_MINUTE = dict.fromkeys(settings.REQUESTS_PER_MINUTE, 10**9)
    fleets = {size: _fleet(size) for size in SIZES}
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    figures = {size: _of_fleet(fleet) for size, fleet in fleets.items()}
    growth = {
        what: {
            case: exponent({size: figures[size][what][case]["cpu_us"] for size in SIZES}) for case in figures[50][what]
        }
        for what in REPEATS
    }
    return {"database": connection.vendor, "fleets_of": figures, "exponent": growth}


def _fleet(vehicles: int) -> Fleet:
    fleet: Fleet = factories.FleetFactory(name=f"Fleet of {vehicles}", kind="workshop")
    rows = [Vehicle(fleet=fleet, name=f"Vehicle {n:05d}", first_used_on=_ON, traits=TRAITS) for n in range(vehicles)]
    Vehicle.objects.bulk_create(rows, batch_size=5_000)
    standings = [
        Standing(fleet=fleet, vehicle=row, score=51.25, odometer_km=120_000, odometer_on=_ON, next_due_on=_ON)
        for row in rows
    ]
    Standing.objects.bulk_create(standings, batch_size=5_000)
    return fleet


def _of_fleet(fleet: Fleet) -> dict[str, Any]:
    access = system_access(fleet)
    vehicle = Vehicle.objects.within(fleet).order_by("name")[len(fleet.name)]
    client = APIClient(SERVER_NAME="localhost")
    _, token = create_key(access, name="benchmark", role=Role.VIEWER)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    base = f"/api/v1/fleets/{fleet.pk}/vehicles/"
    one: dict[str, Callable[[], object]] = {
        "floor": _bare(ONE, [_id(fleet.pk), _id(vehicle.pk)]),
        "function": lambda: orjson.dumps(vehicle_json(fleet, selectors.vehicle_columns(access, vehicle.pk))),
        "api": lambda: client.get(f"{base}{vehicle.pk}/").content,
    }
    page: dict[str, Callable[[], object]] = {
        "floor": _bare(MANY, [_id(fleet.pk)]),
        "function": lambda: orjson.dumps([vehicle_json(fleet, row) for row in selectors.first_vehicles(access)]),
        "api": lambda: client.get(base).content,
    }
    return {what: alternating(cases, "floor", REPEATS[what]) for what, cases in (("vehicle", one), ("page", page))}


_COLUMNS = """v.id, v.name, v.plate, v.vin, v.make, v.model, v.model_year, v.first_used_on, v.traits, v.note,
    v.archived,
    s.odometer_km, s.odometer_on, s.score, s.coverage_fraction, s.worst_grade, s.do_not_drive, s.open_findings,
    s.backlog_cost_minor, s.next_due_on, s.next_due_what, s.inspected_on, s.revision, s.assessed_revision, v.version"""
_FROM = "FROM fleet_vehicle v JOIN fleet_standing s ON s.vehicle_id = v.id WHERE v.fleet_id = %s"
ONE = f"SELECT {_COLUMNS} {_FROM} AND v.id = %s"
MANY = f"SELECT {_COLUMNS} {_FROM} AND NOT v.archived ORDER BY v.name, v.id LIMIT {PAGE + 1}"


def _id(key: Any) -> Any:
    return key if connection.vendor == "postgresql" else key.hex


def _bare(sql: str, values: list[Any]) -> Callable[[], bytes]:
    """The driver's own cursor; SQLite keeps its statements prepared by itself."""
    connection.ensure_connection()
    driver: Any = connection.connection
    if connection.vendor == "postgresql":
        from psycopg import Cursor

        cursor = Cursor(driver)
        return lambda: orjson.dumps(cursor.execute(sql, values, prepare=True).fetchall(), default=str)
    asked = sql.replace("%s", "?")
    return lambda: orjson.dumps(driver.execute(asked, values).fetchall(), default=str)
