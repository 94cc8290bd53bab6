"""Closing a job: one transaction renews the parts, closes the findings and makes what must follow due."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import OdometerReading, Vehicle
from fleetcare.fleet.services.events import record_event
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import EventKind, ReadingSource, Role
from fleetcare.kernel.errors import Conflict, Fault, StaleWrite, raise_if_any
from fleetcare.kernel.money import Money
from fleetcare.support.versions import store
from inspections.catalogue.loader import default_catalogue
from inspections.models import Finding
from inspections.services.parts import Fitting, fit_parts
from inspections.services.remedies import ClosedFindings, close_as_remedied
from inspections.words import Removal
from scheduling.core.job_states import JobState, Step
from scheduling.models import Job
from scheduling.services.jobs.lines import PartLine, cost_of, line_faults, renewal_at, store_lines
from scheduling.services.jobs.obliging import oblige
from scheduling.services.jobs.places import slots_of
from scheduling.services.jobs.righting import put_right_by
from scheduling.services.jobs.steps import require_step
from scheduling.services.prices import learn_job_costs

_BECAUSE_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Closing:
    """What was done, as somebody enters it. Amounts are minor units; `parts_minor` comes from the lines if absent.

    `findings` are those it put right (None: what the catalogue says it remedies); what is renewed closes its own.
    """

    done_on: date
    shown_km: Decimal
    hours: Decimal | None = None
    labour_minor: int | None = None
    parts_minor: int | None = None
    other_minor: int | None = None
    removal: Removal = Removal.UNKNOWN
    parts: tuple[PartLine, ...] = ()
    findings: tuple[uuid.UUID, ...] | None = None
    note: str | None = None
    odometer_pointer: str = "/odometer_km"


@dataclass(slots=True)
class _Done:
    """What closing did, gathered for the undo."""

    reading: OdometerReading
    reading_is_new: bool
    fitting: Fitting | None = None
    findings: ClosedFindings = field(default_factory=ClosedFindings)

    def undo(self) -> dict[str, Any]:
        """By id, fit for JSON."""
        fitting = self.fitting
        findings = self.findings + (fitting.findings if fitting else ClosedFindings())
        return {
            "reading": str(self.reading.pk) if self.reading_is_new else None,
            "fitted": [str(part.pk) for part in fitting.fitted] if fitting else [],
            "ended": [str(key) for key in fitting.ended] if fitting else [],
            "as_bought": [str(key) for key in fitting.as_bought] if fitting else [],
            "findings": [str(key) for key in findings.findings],
            "changes": [str(key) for key in findings.changes],
        }


@transaction.atomic
def close_job(access: Access, job: Job, closing: Closing) -> Job:
    """Says that a job is done. Inspectors and above; a constant number of statements, whatever it covers.

    A renewing job ends the parts that were there and begins the lives of the new ones; any other closes the findings
    it put right, and the part keeps its age. What the catalogue lets follow becomes due; service rules about a part
    that was renewed everywhere are marked done. Raises InvalidInput for a day, distance, line or finding that cannot
    be, Conflict where somebody else has closed it.
    """
    access.require(Role.INSPECTOR)
    require_step(job, Step.CLOSE)
    before = _as_it_stands(job)
    _check(access, job, closing)
    _claim(access, job, closing)
    done = _Done(*_reading(access, job.vehicle, closing))
    done.fitting = _fit(access, job, closing, done.reading)
    done.findings = _put_right(access, job, closing, done.reading)
    store_lines(access, job, closing.parts, done.fitting.fitted if done.fitting else ())
    oblige(access, job, done.reading)
    job.reading, job.undo = done.reading, {**before, **done.undo()}
    Job.objects.within(access.fleet).filter(pk=job.pk).update(reading=job.reading, undo=job.undo)
    learn_job_costs(access.fleet, job.job_key)
    touch(job.vehicle)
    facts = _facts(access, job, done.reading)
    record_event(access.fleet, kind=EventKind.JOB_CLOSED, vehicle=job.vehicle, subject=job, facts=facts)
    return job


def _as_it_stands(job: Job) -> dict[str, Any]:
    """What closing overwrites of the job itself, fit for JSON."""
    until = job.deferred_until.isoformat() if job.deferred_until else None
    return {"state": job.state, "note": job.note, "reason": job.reason, "deferred_until": until}


def _check(access: Access, job: Job, closing: Closing) -> None:
    """Raises InvalidInput naming every line, amount and finding that cannot be."""
    faults = line_faults(job, closing.parts, closing.done_on)
    lines_minor = cost_of(closing.parts)
    if closing.parts_minor is not None and lines_minor and closing.parts_minor != lines_minor:
        sentence = "The lines add up to another amount; leave this out, or the prices of the lines."
        faults.append(Fault("/parts_cost", "contradiction", sentence))
    if closing.findings:
        faults += _finding_faults(access, job, closing.findings, closing.done_on)
    raise_if_any(faults)


def _finding_faults(access: Access, job: Job, wanted: Sequence[uuid.UUID], done_on: date) -> list[Fault]:
    mine = Finding.objects.within(access.fleet).filter(vehicle=job.vehicle_id, closed_on=None, pk__in=wanted)
    seen = dict(mine.values_list("pk", "seen_on"))
    faults = []
    for index, key in enumerate(wanted):
        if key not in seen:
            sentence = "This vehicle has no such open finding."
            faults.append(Fault(f"/findings/{index}", "unknown-finding", sentence))
        elif seen[key] > done_on:
            sentence = f"It was seen again later, on {seen[key].isoformat()}: the job did not put it right."
            faults.append(Fault(f"/findings/{index}", "seen-later", sentence))
    return faults


def _claim(access: Access, job: Job, closing: Closing) -> None:
    """The row first, under its version: of two who close the same job one goes on, the other is told."""
    priced = closing.parts_minor is None and closing.parts
    changes: dict[str, Any] = {
        "state": JobState.DONE.value,
        "done_on": closing.done_on,
        "hours": closing.hours,
        "labour_minor": closing.labour_minor,
        "parts_minor": cost_of(closing.parts) if priced else closing.parts_minor,
        "other_minor": closing.other_minor,
        "removal": closing.removal.value if _renews(job) else "",
        "closed_by": access.actor,
        "closed_at": timezone.now(),
        "reason": "",
        "deferred_until": None,
        "note": job.note if closing.note is None else closing.note,
    }
    for name, value in changes.items():
        setattr(job, name, value)
    try:
        store(job, changes)
    except StaleWrite as error:
        if Job.objects.within(access.fleet).filter(pk=job.pk, state=JobState.DONE.value).exists():
            raise Conflict("Somebody else has just closed this job.", code="job-closed") from error
        raise


def _renews(job: Job) -> bool:
    entry = default_catalogue().jobs.get(job.job_key)
    return entry is not None and entry.job.renews


def _reading(access: Access, vehicle: Vehicle, closing: Closing) -> tuple[OdometerReading, bool]:
    """The odometer's reading, once, and whether this closing put it on record."""
    there = OdometerReading.objects.within(access.fleet).filter(vehicle=vehicle, read_on=closing.done_on)
    known = set(there.values_list("pk", flat=True))
    reading = record_odometer(
        access,
        vehicle,
        read_on=closing.done_on,
        shown_km=closing.shown_km,
        source=ReadingSource.JOB,
        pointer=closing.odometer_pointer,
        date_pointer="/done_on",
        touching=False,
    )
    return reading, reading.pk not in known


def _fit(access: Access, job: Job, closing: Closing, reading: OdometerReading) -> Fitting | None:
    if not _renews(job):
        return None
    renewals = [renewal_at(position, closing.parts) for position in slots_of(job.positions)]
    return fit_parts(access, job.vehicle, job.part_key, renewals, reading, closing.removal, pointer="/done_on")


def _put_right(access: Access, job: Job, closing: Closing, reading: OdometerReading) -> ClosedFindings:
    """Findings closed without renewing: those named, or those that the catalogue says such a job remedies."""
    keys: Sequence[uuid.UUID] = closing.findings or ()
    entry = default_catalogue().jobs.get(job.job_key)
    if closing.findings is None and entry is not None and not entry.job.renews:
        keys = put_right_by(access, job, entry, closing.done_on)
    if not keys:
        return ClosedFindings()
    because = f"done: {job.title}"[:_BECAUSE_LONGEST]
    return close_as_remedied(access, job.vehicle_id, keys, reading.read_on, reading.total_km, because)


def _facts(access: Access, job: Job, reading: OdometerReading) -> dict[str, Any]:
    """What an event says of a closed job."""
    total = sum(minor or 0 for minor in (job.labour_minor, job.parts_minor, job.other_minor))
    return {
        "job": job.job_key or None,
        "title": job.title,
        "part": job.part_key or None,
        "positions": job.positions,
        "done_on": reading.read_on.isoformat(),
        "odometer_km": float(reading.shown_km),
        "cost": Money(total, access.fleet.currency).as_json(),
    }
