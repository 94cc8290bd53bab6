"""What a closed job obliges: follow-ups once a visit, and scheduled work that is done with it."""

from collections.abc import Sequence

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import OdometerReading
from inspections.catalogue.loader import default_catalogue
from scheduling.core.job_states import JobState
from scheduling.models import DueItem, Job
from scheduling.services.due import add_follow_ups, drop_follow_ups, drop_serviced, mark_serviced
from scheduling.services.jobs.places import covers_all
from scheduling.words import JobOrigin


def oblige(access: Access, job: Job, reading: OdometerReading) -> None:
    """Makes what the job obliges due, unless another job of the same day on the vehicle has; inside a transaction.

    Scheduled work about a part is done with a job that renews it everywhere, and with one that was opened for it.
    """
    keys = _follow_ups(job)
    if keys:
        there = _already_due(access, _same_visit(access, job))
        fresh = [key for key in keys if key not in there]
        add_follow_ups(access, job.vehicle, job, fresh, reading.read_on, reading.total_km)
    if job.part_key and (job.origin == JobOrigin.SERVICE or _renews_everywhere(job)):
        mark_serviced(access, job.vehicle, [job.part_key], reading.read_on, reading.total_km, job_id=job.pk)


def release(access: Access, job: Job, reading: OdometerReading | None) -> None:
    """Takes back what a job obliged; what another job of that day obliges too stays due in its name.

    Call while the job still says on which day it was done.
    """
    keys, others = _follow_ups(job), _same_visit(access, job)
    drop_serviced(access, job.vehicle, job.pk)
    if not keys or job.done_on is None:
        return
    drop_follow_ups(access, job.vehicle, job.pk, job.done_on)
    there = _already_due(access, others)
    for other in others:
        needed = [key for key in _follow_ups(other) if key in keys and key not in there]
        if needed and reading is not None:
            there.update(needed)
            add_follow_ups(access, job.vehicle, other, needed, reading.read_on, reading.total_km)


def _follow_ups(job: Job) -> tuple[str, ...]:
    entry = default_catalogue().jobs.get(job.job_key)
    return entry.job.follow_ups if entry else ()


def _renews_everywhere(job: Job) -> bool:
    entry = default_catalogue().jobs.get(job.job_key)
    return entry is not None and entry.job.renews and covers_all(job.vehicle, entry, job.positions)


def _same_visit(access: Access, job: Job) -> list[Job]:
    rows = Job.objects.within(access.fleet).filter(
        vehicle=job.vehicle_id, state=JobState.DONE.value, done_on=job.done_on
    )
    return list(rows.exclude(pk=job.pk).exclude(job_key="").order_by("closed_at", "id"))


def _already_due(access: Access, jobs: Sequence[Job]) -> set[str]:
    """The follow-ups that are open in the name of these jobs."""
    sources = {f"follow-up:{job.pk}:{key}": key for job in jobs for key in _follow_ups(job)}
    if not sources:
        return set()
    rows = DueItem.objects.within(access.fleet).filter(source__in=sources, closed_on=None)
    return {sources[source] for source in rows.values_list("source", flat=True)}
