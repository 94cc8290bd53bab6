"""Opening a job, from the backlog or by hand, and changing its words."""

import uuid
from collections.abc import Sequence
from typing import Any

from django.db import IntegrityError, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from fleetcare.kernel.grades import Grade
from fleetcare.support.versions import store
from inspections.catalogue.loader import default_catalogue
from inspections.models import Finding
from scheduling.core.job_states import LIVE, JobState
from scheduling.models import Job
from scheduling.services.jobs.places import catalogue_job, place_text, places_of, slots_of
from scheduling.words import JobOrigin

_SAME = ("job_key", "part_key", "positions", "origin")


@transaction.atomic
def open_job(
    access: Access,
    vehicle: Vehicle,
    *,
    job_key: str = "",
    title: str = "",
    part_key: str = "",
    positions: Sequence[str] = (),
    origin: JobOrigin = JobOrigin.HAND,
    note: str = "",
    safety: bool = False,
    key: uuid.UUID | None = None,
) -> tuple[Job, bool]:
    """A job to be done: of the catalogue by `job_key` and positions, or a free one with a title; and whether it is new.

    With the client's own `key` the same job may be sent again. `safety` adds to what the catalogue says, it takes
    nothing away. Inspectors and above. Raises InvalidInput for a job, part or position the vehicle does not have,
    Conflict where the same job is open already or the key is another job's.
    """
    access.require(Role.INSPECTOR)
    said = _described(vehicle, job_key, title.strip(), part_key, positions)
    said |= {"origin": origin, "note": note}
    repeated = _repeated(access, vehicle, key, said)
    if repeated is not None:
        return repeated, False
    part = default_catalogue().parts.get(said["part_key"])
    job = Job(
        fleet=access.fleet,
        vehicle=vehicle,
        place=place_text(said["positions"]),
        safety=safety or (part is not None and part.safety),
        before_driving=seen_dangerous(access, vehicle, said["part_key"], said["positions"]),
        entered_by=access.actor,
        **({"id": key} if key else {}),
        **said,
    )
    insert(job)
    return job, True


def _described(vehicle: Vehicle, job_key: str, title: str, part_key: str, positions: Sequence[str]) -> dict[str, Any]:
    if job_key:
        entry = catalogue_job(job_key)
        if part_key and part_key != entry.part.key:
            sentence = f"This job is about the part {entry.part.key}: leave the part out."
            raise InvalidInput.at("/part", "contradiction", sentence)
        places = places_of(vehicle, entry, positions)
        return {
            "job_key": job_key,
            "title": title or entry.job.title,
            "part_key": entry.part.key,
            "positions": places,
        }
    if not title:
        raise InvalidInput.at(
            "/title", "required", "Name a job of the catalogue, or say in a title what is to be done."
        )
    if part_key and part_key not in default_catalogue().parts:
        raise InvalidInput.at("/part", "unknown-part", f"The catalogue has no part {part_key}.")
    if positions:
        _require_positions(part_key, positions)
    return {"job_key": "", "title": title, "part_key": part_key, "positions": list(positions)}


def _require_positions(part_key: str, positions: Sequence[str]) -> None:
    part = default_catalogue().parts.get(part_key)
    known = part.positions if part else ()
    for index, position in enumerate(positions):
        if position not in known:
            choices = ", ".join(known) or "none: leave it out"
            sentence = f"{part.title if part else 'A job without a part'} has these positions: {choices}."
            raise InvalidInput.at(f"/positions/{index}", "unknown-position", sentence)


def _repeated(access: Access, vehicle: Vehicle, key: uuid.UUID | None, said: dict[str, Any]) -> Job | None:
    if key is None:
        return None
    stored = Job.objects.within(access.fleet).filter(pk=key, vehicle=vehicle).first()
    if stored is None:
        return None
    if any(getattr(stored, name) != said[name] for name in _SAME):
        raise Conflict("A job with this id and other content is stored.", code="id-in-use")
    return stored


def insert(job: Job) -> None:
    """Stores a new job; raises Conflict where the same one is open already, or the id is another's."""
    try:
        with transaction.atomic():
            job.save(force_insert=True)
    except IntegrityError as error:
        sentence = "This job is open already at this place, or another row has this id."
        raise Conflict(sentence, code="job-open-already") from error


def seen_dangerous(access: Access, vehicle: Vehicle, part_key: str, positions: Sequence[str]) -> bool:
    """Whether a safety part is open as dangerous there: it is done before the vehicle moves again."""
    return is_dangerous(dangerous_places(access, vehicle), part_key, positions)


def dangerous_places(access: Access, vehicle: Vehicle) -> frozenset[tuple[str, str]]:
    """Part and position of every safety part that is open as dangerous; one query."""
    rows = Finding.objects.within(access.fleet).filter(vehicle=vehicle, closed_on=None, grade=Grade.DANGEROUS)
    parts = default_catalogue().parts
    places = rows.values_list("part_key", "position")
    return frozenset((part, position) for part, position in places if part in parts and parts[part].safety)


def is_dangerous(places: frozenset[tuple[str, str]], part_key: str, positions: Sequence[str]) -> bool:
    """Whether a job at these positions remedies one of the dangerous places."""
    return any((part_key, slot) in places for slot in slots_of(positions))


@transaction.atomic
def change_job(access: Access, job: Job, **values: Any) -> Job:
    """Changes a job's title, note or who does it. Inspectors and above; not once it is done.

    Raises Conflict for a job that is done or declined.
    """
    access.require(Role.INSPECTOR)
    if JobState(job.state) not in LIVE:
        raise Conflict(f"This job is {job.state}; what it says then stands.", code="job-state")
    for name, value in values.items():
        setattr(job, name, value)
    store(job, values)
    return job
