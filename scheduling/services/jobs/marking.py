"""The backlog says which of its jobs are open already, and how far they are."""

import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from fleetcare.fleet.access import Access
from scheduling.models import Job
from scheduling.models.jobs import LIVE_STATES
from scheduling.services.jobs.places import place_text

Json = dict[str, Any]
_NONE: Json = {"job_id": None, "job_state": None, "planned_on": None}


def with_jobs(access: Access, document: Json) -> Json:
    """A vehicle's backlog with `job_id`, `job_state` and `planned_on` in each item; one query."""
    jobs = _live(access, [document["vehicle"]])
    lists = {name: [_marked(item, document["vehicle"], jobs) for item in document[name]] for name in _LISTS}
    return {**document, **lists}


def fleet_with_jobs(access: Access, document: Json) -> Json:
    """The same for a fleet's backlog, whose items name their vehicle; one query."""
    jobs = _live(access, {item["vehicle"] for item in document["items"]})
    return {**document, "items": [_marked(item, item["vehicle"], jobs) for item in document["items"]]}


_LISTS = ("items", "can_wait")


def _live(access: Access, vehicles: Iterable[str]) -> dict[tuple[str, str, str], Json]:
    ids = {uuid.UUID(vehicle) for vehicle in vehicles}
    rows = Job.objects.within(access.fleet).filter(vehicle__in=ids, state__in=LIVE_STATES).exclude(job_key="")
    return {
        (str(vehicle), job_key, place): {"job_id": str(key), "job_state": state, "planned_on": planned}
        for vehicle, job_key, place, key, state, planned in rows.values_list(
            "vehicle_id", "job_key", "place", "pk", "state", "planned_on"
        )
    }


def _marked(item: Json, vehicle: str, jobs: Mapping[tuple[str, str, str], Json]) -> Json:
    return {**item, **jobs.get((vehicle, item["job"], place_text(item["positions"])), _NONE)}
