"""The figures of the benchmark, on whatever database Django was set up with."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from rest_framework.test import APIClient

from fleetcare.fleet.access import system_access
from fleetcare.fleet.models import Fleet, OdometerReading
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
from fleetcare.kernel.ids import new_id
from fleetcare.support.bell import bell_held
from tests import factories
from tests.benchmarks.backlog.fleets import TRAITS, checks_of_60_parts
from tests.benchmarks.paired import alternating

REPEATS = 10
_FIRST_ON = date(2016, 1, 1)
_INSPECTION = """INSERT INTO inspections_inspection (id, fleet_id, vehicle_id, reading_id, inspected_on, sheet,
    inspector, note, trouble_codes, state, content_digest, entered_by, created_at, completed_at, version)
    VALUES (%s, %s, %s, %s, %s, 'full', '', '', '[]', 'completed', %s, 'floor', %s, %s, 1)"""
_RESULT = """INSERT INTO inspections_result (id, fleet_id, inspection_id, check_key, position, grade, observations,
    note, not_examined, same_as_last)"""


def measured() -> dict[str, Any]:
    """The whole POST, its service alone, and the floor."""
    settings.REQUESTS_PER_MINUTE = dict.fromkeys(settings.REQUESTS_PER_MINUTE, 10**9)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = off")
    fleet: Fleet = factories.FleetFactory(name="Written to", kind="workshop")
    vehicle = factories.vehicle(fleet, name="Written to", traits=TRAITS, first_used_on=_FIRST_ON)
    client = APIClient(SERVER_NAME="localhost")
    _, token = create_key(system_access(fleet), name="benchmark", role=Role.INSPECTOR)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    url = f"/api/v1/fleets/{fleet.pk}/vehicles/{vehicle.pk}/inspections/"
    numbers = count(1)

    def post() -> None:
        answer = client.post(url, _body(next(numbers)), format="json")
        if answer.status_code != 201:
            raise RuntimeError(answer.content)

    with bell_held():
        queries: list[str] = []
        with connection.execute_wrapper(_noting(queries)):
            post()
        cases = {"floor": _floor(fleet, vehicle), "api": post}
        taken = alternating(cases, "floor", REPEATS)
    return {"database": connection.vendor, "results": len(checks_of_60_parts()), "queries": len(queries), **taken}


def _noting(queries: list[str]) -> Callable[..., Any]:
    def noted(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        queries.append(sql)
        return execute(sql, *rest)

    return noted


def _body(number: int) -> dict[str, Any]:
    """A look a day, 10 km after the one before; every tenth part is found wanting, and sound again the next time."""
    results = [
        {"check": check, "position": position or None, "grade": "minor" if (n + number) % 10 == 0 else "sound"}
        for n, (check, position) in enumerate(checks_of_60_parts())
    ]
    on = _FIRST_ON + timedelta(days=number)
    return {"inspected_on": on.isoformat(), "odometer_km": 10 * number, "results": results}


def _floor(fleet: Fleet, vehicle: Any) -> Callable[[], None]:
    reading = OdometerReading.objects.create(
        fleet=fleet, vehicle=vehicle, read_on=_FIRST_ON, shown_km=0, total_km=0, source="person"
    )
    checks = checks_of_60_parts()
    places = ", ".join(["(%s, %s, %s, %s, %s, %s, '[]', '', '', %s)"] * len(checks))

    def store() -> None:
        inspection, now = new_id(), datetime.now(UTC)
        digest = f"{inspection.hex}{'0' * 32}"
        head = [_id(inspection), _id(fleet.pk), _id(vehicle.pk), _id(reading.pk), _FIRST_ON.isoformat(), digest]
        rows: list[Any] = []
        for check, position in checks:
            rows += [_id(new_id()), _id(fleet.pk), _id(inspection), check, position, 0, False]
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(_INSPECTION, [*head, now, now])
            cursor.execute(f"{_RESULT} VALUES {places}", rows)

    return store


def _id(key: Any) -> Any:
    return key if connection.vendor == "postgresql" else key.hex
