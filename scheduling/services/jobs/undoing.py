"""Taking a closing back on the day it was made: everything stands again as it stood."""

import uuid
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import OdometerReading
from fleetcare.fleet.services.events import record_event
from fleetcare.fleet.services.odometer import drop_reading
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import EventKind, ReadingSource, Role
from fleetcare.kernel.errors import Conflict
from fleetcare.support.versions import store
from inspections.models import FittedPart
from inspections.services.parts import unfit_parts
from inspections.services.remedies import ClosedFindings, open_again
from scheduling.core.job_states import JobState, Step
from scheduling.models import Job, JobPart, ServiceDone
from scheduling.services.jobs.obliging import release
from scheduling.services.jobs.steps import require_step
from scheduling.services.prices import learn_job_costs

_BLANK: dict[str, Any] = {
    "done_on": None,
    "reading": None,
    "hours": None,
    "labour_minor": None,
    "parts_minor": None,
    "other_minor": None,
    "removal": "",
    "closed_by": "",
    "closed_at": None,
}


def may_undo(access: Access, job: Job) -> bool:
    """Whether a job was closed today, by the fleet's own clock."""
    if job.state != JobState.DONE or job.closed_at is None:
        return False
    zone = ZoneInfo(access.fleet.time_zone)
    return job.closed_at.astimezone(zone).date() == today(access.fleet)


@transaction.atomic
def undo_closing(access: Access, job: Job) -> Job:
    """Takes a closing back: parts, findings, follow-ups, service record and odometer stand again as before it.

    Inspectors and above, on the day of the closing in the fleet's zone. The odometer reading stays where somebody else
    gave the same, or something rests on it. Raises Conflict on a later day, and where something newer rests on what
    would be taken back.
    """
    access.require(Role.INSPECTOR)
    record = job.undo
    target = require_step(job, Step.UNDO, JobState(record.get("state", JobState.OPEN)))
    if not may_undo(access, job):
        sentence = "A closing is taken back on the day it was made; later, record what was done since."
        raise Conflict(sentence, code="too-late")
    vehicle, reading = job.vehicle, job.reading
    release(access, job, reading)
    _store_open(job, target, record)
    JobPart.objects.within(access.fleet).filter(job=job).delete()
    unfit_parts(access, _keys(record, "fitted"), _keys(record, "ended"), _keys(record, "as_bought"))
    open_again(access, ClosedFindings(_keys(record, "findings"), _keys(record, "changes")))
    if reading is not None and record.get("reading") == str(reading.pk) and not _rests(access, reading):
        drop_reading(vehicle, reading)
    learn_job_costs(access.fleet, job.job_key)
    touch(vehicle)
    record_event(access.fleet, kind=EventKind.JOB_REOPENED, vehicle=vehicle, subject=job, facts={"title": job.title})
    return job


def _store_open(job: Job, target: JobState, record: dict[str, Any]) -> None:
    until = record.get("deferred_until")
    changes = {
        **_BLANK,
        "state": target.value,
        "note": record.get("note", job.note),
        "reason": record.get("reason", ""),
        "deferred_until": date.fromisoformat(until) if until else None,
        "undo": {},
    }
    for name, value in changes.items():
        setattr(job, name, value)
    try:
        with transaction.atomic():
            store(job, changes)
    except IntegrityError as error:
        raise Conflict("The same job has been opened again since.", code="job-open-already") from error


def _keys(record: dict[str, Any], name: str) -> tuple[uuid.UUID, ...]:
    return tuple(uuid.UUID(key) for key in record.get(name, ()))


def _rests(access: Access, reading: OdometerReading) -> bool:
    """Whether somebody else gave the same reading, or a part or a service on record counts from where it was taken.

    Rows that refer to it say so themselves.
    """
    reading.refresh_from_db(fields=["source"])
    if reading.source != ReadingSource.JOB:
        return True
    there = {"vehicle": reading.vehicle_id}
    parts = FittedPart.objects.within(access.fleet).filter(**there)
    fitted = parts.filter(fitted_on=reading.read_on, fitted_total_km=reading.total_km)
    removed = parts.filter(removed_on=reading.read_on, removed_total_km=reading.total_km)
    serviced = ServiceDone.objects.within(access.fleet).filter(
        **there, done_on=reading.read_on, total_km=reading.total_km
    )
    return fitted.exists() or removed.exists() or serviced.exists()
