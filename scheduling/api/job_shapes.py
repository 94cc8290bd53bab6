"""How jobs look as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleetcare.fleet.api.shapes import money, number
from scheduling.core.job_states import JobState, Step, steps
from scheduling.services.jobs import may_undo

if TYPE_CHECKING:
    from fleetcare.fleet.access import Access
    from fleetcare.fleet.models import Fleet
    from scheduling.models import Job, JobPart

Json = dict[str, Any]


def job_json(access: Access, job: Job) -> Json:
    """A job with its lines and what may be done with it."""
    fleet = access.fleet
    sums = (job.labour_minor, job.parts_minor, job.other_minor)
    known = [minor for minor in sums if minor is not None]
    return {
        "id": job.pk,
        "vehicle": job.vehicle_id,
        "job": job.job_key or None,
        "title": job.title,
        "part": job.part_key or None,
        "positions": job.positions,
        "origin": job.origin,
        "state": job.state,
        "steps": _steps(access, job),
        "safety": job.safety,
        "before_driving": job.before_driving,
        "planned_on": job.planned_on,
        "assigned_to": job.assigned_to,
        "note": job.note,
        "reason": job.reason,
        "deferred_until": job.deferred_until,
        "decided_by": job.decided_by,
        "decided_at": job.decided_at,
        "done_on": job.done_on,
        "odometer_km": number(job.reading.shown_km) if job.reading else None,
        "hours": None if job.hours is None else float(job.hours),
        "labour": _money(job.labour_minor, fleet),
        "parts_cost": _money(job.parts_minor, fleet),
        "other": _money(job.other_minor, fleet),
        "total": _money(sum(known) if known else None, fleet),
        "removal": job.removal or None,
        "parts": [_line_json(line, fleet) for line in job.parts.all()],
        "closed_at": job.closed_at,
        "created_at": job.created_at,
    }


def fleet_job_json(access: Access, job: Job) -> Json:
    """The same with the vehicle's name."""
    return {**job_json(access, job), "vehicle_name": job.vehicle.name}


def _steps(access: Access, job: Job) -> list[str]:
    """Undoing is for the day of the closing only."""
    possible = steps(JobState(job.state))
    return [step.value for step in possible if step != Step.UNDO or may_undo(access, job)]


def _money(minor: int | None, fleet: Fleet) -> dict[str, str] | None:
    return None if minor is None else money(minor, fleet)


def _line_json(line: JobPart, fleet: Fleet) -> Json:
    return {
        "description": line.description,
        "part_number": line.part_number,
        "quantity": float(line.quantity),
        "price": money(line.price_minor, fleet),
        "warranty_until": line.warranty_until,
        "warranty_km": line.warranty_km,
        "position": line.position or None,
        "fitted_part": line.fitted_part_id,
    }
