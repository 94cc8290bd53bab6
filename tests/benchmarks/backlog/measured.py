"""The figures of the benchmark, on whatever database Django was set up with."""

import gc
import time
from collections.abc import Callable
from statistics import median
from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from fleetcare.fleet.access import system_access
from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
from inspections.services.assessment import judge
from inspections.services.history import load_batch
from scheduling.services.assess import assess_vehicles
from scheduling.services.backlog import decide
from tests.benchmarks.backlog.fleets import PARTS, looked_over_fleet

ROUNDS = 7
SEVERAL = 50


def measured(vehicles: int) -> dict[str, Any]:
    """Everything about a fleet of so many vehicles."""
    on = timezone.now().date()
    fleet = looked_over_fleet(vehicles, on)
    ids = list(Vehicle.objects.within(fleet).order_by("name").values_list("pk", flat=True))
    assess_vehicles(fleet.pk, ids[:2])  # warm: the catalogue, the plausible lives, the score's table
    whole = timed(lambda: assess_vehicles(fleet.pk, ids), rounds=1)
    return {
        "database": connection.vendor,
        "vehicles": vehicles,
        "parts_looked_at": PARTS,
        "answer": answers(fleet),
        "assess_all": {**whole, "cpu_ms_per_vehicle": round(whole["cpu_ms"] / vehicles, 2)},
        "assess_one": steps(fleet, ids[:1]),
        f"assess_{SEVERAL}": steps(fleet, ids[:SEVERAL]),
    }


def answers(fleet: Fleet) -> dict[str, Any]:
    """The first page, a later one, and every page."""
    client = APIClient(SERVER_NAME="localhost")
    _, token = create_key(system_access(fleet), name="benchmark", role=Role.VIEWER)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    first = f"/api/v1/fleets/{fleet.pk}/backlog/"

    def walk() -> int:
        url, jobs = f"{first}?limit=100", 0
        while url:
            body = client.get(url).json()
            jobs, url = jobs + len(body["items"]), body["next"]
        return jobs

    body = client.get(first).json()
    queries = []

    def counted(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        queries.append(sql)
        return execute(sql, *rest)

    with connection.execute_wrapper(counted):
        client.get(first)
    walked: list[int] = []
    return {
        "first_page": {**timed(lambda: client.get(first)), "jobs": len(body["items"])},
        "first_page_of_100": timed(lambda: client.get(f"{first}?limit=100")),
        "second_page": timed(lambda: client.get(body["next"])),
        "bytes": len(client.get(first).content),
        "queries": len(queries),
        "all_pages": {**timed(lambda: walked.append(walk()), rounds=1), "jobs": walked[0]},
    }


def steps(fleet: Fleet, ids: list[Any]) -> dict[str, Any]:
    """Processor time a vehicle of each step of an assessment, and the whole with storing."""
    on = timezone.now().date()
    batch = load_batch(fleet, ids, on)
    with CaptureQueriesContext(connection) as queries:
        assess_vehicles(fleet.pk, ids)
    works: dict[str, Callable[[], object]] = {
        "loading": lambda: load_batch(fleet, ids, on),
        "judging": lambda: judge(batch),
        "judging_and_deciding": lambda: decide(batch),
        "whole": lambda: assess_vehicles(fleet.pk, ids),
    }
    taken = {name: timed(work, rounds=21 if len(ids) == 1 else ROUNDS) for name, work in works.items()}
    return {
        "queries": len(queries),
        "cpu_ms_per_vehicle": {name: round(each["cpu_ms"] / len(ids), 2) for name, each in taken.items()},
        "clock_ms_per_vehicle": round(taken["whole"]["clock_ms"] / len(ids), 2),
    }


def timed(work: Callable[[], object], rounds: int = ROUNDS) -> dict[str, float]:
    """Medians of clock and processor time [ms]."""
    clock, cpu = [], []
    for _ in range(rounds):
        gc.collect()
        begun = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - begun[0])
        cpu.append(time.process_time() - begun[1])
    return {"clock_ms": round(1e3 * median(clock), 1), "cpu_ms": round(1e3 * median(cpu), 1)}
