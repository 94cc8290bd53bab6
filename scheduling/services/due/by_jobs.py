"""What jobs leave to come: one that was put off, on its day; the end of the warranty on a part that was fitted."""

import uuid
from collections.abc import Iterable, Iterator, Mapping

from django.db.models import Q

from inspections.services.history import Batch
from scheduling.core.job_states import JobState
from scheduling.models import DueItem, Job, JobPart
from scheduling.services.due.titles import PART_WARRANTY, TITLES
from scheduling.services.due.wanting import Wanted
from scheduling.words import Closed, DueKind

DEFERRED_LEAD_DAYS = 7
"""Time enough to find a day for a job that was put off (common practice, no source)."""
WARRANTY_LEAD_DAYS = 30
"""Time enough to look at the part once more before its supplier is out of it (common practice, no source)."""
DEFERRED_SOURCE, WARRANTY_SOURCE = "job", "warranty"
_LONGEST_NAME = 90


def wanted_by_jobs(batch: Batch, known: Iterable[DueItem]) -> list[Wanted]:
    """What jobs of the batch want due; two queries. `known` are all due items on record."""
    rows = {vehicle.pk: row for row, vehicle in enumerate(batch.vehicles)}
    return [*_deferred(batch, rows), *_warranties(batch, rows, known)]


def _deferred(batch: Batch, rows: Mapping[uuid.UUID, int]) -> Iterator[Wanted]:
    jobs = Job.objects.within(batch.fleet).filter(vehicle__in=batch.vehicles, state=JobState.DEFERRED.value)
    for job in jobs.order_by("id"):
        yield Wanted(
            vehicle=rows[job.vehicle_id],
            kind=DueKind.DEFERRED_JOB,
            source=f"{DEFERRED_SOURCE}:{job.pk}",
            period=f"until {job.deferred_until}",
            what=TITLES[DueKind.DEFERRED_JOB].format(name=job.title[:_LONGEST_NAME]),
            part_key=job.part_key,
            position=job.positions[0] if len(job.positions) == 1 else "",
            safety=job.safety,
            lead_days=DEFERRED_LEAD_DAYS,
            limit_on=job.deferred_until,
        )


def _warranties(batch: Batch, rows: Mapping[uuid.UUID, int], known: Iterable[DueItem]) -> Iterator[Wanted]:
    """Warranties that still run, of parts that are still on the vehicle, unless somebody has looked and said so."""
    settled = {item.source for item in known if item.closed_because == Closed.DONE}
    warranted = ~Q(warranty_until=None) | ~Q(warranty_km=None)
    lines = JobPart.objects.within(batch.fleet).filter(
        warranted, Q(fitted_part=None) | Q(fitted_part__removed_on=None), job__vehicle__in=batch.vehicles
    )
    done = lines.filter(job__state=JobState.DONE.value).select_related("job__reading").order_by("id")
    for line in done:
        row, source = rows[line.job.vehicle_id], f"{WARRANTY_SOURCE}:{line.pk}"
        at = line.job.reading
        ends_km = None if line.warranty_km is None or at is None else float(at.total_km + line.warranty_km)
        over = (line.warranty_until is not None and line.warranty_until < batch.on) or (
            ends_km is not None and float(batch.roads.now_km[row]) > ends_km
        )
        if over or source in settled or (line.warranty_until is None and ends_km is None):
            continue
        yield Wanted(
            vehicle=row,
            kind=DueKind.WARRANTY,
            source=source,
            period=f"ends {line.warranty_until or ''} {line.warranty_km or ''}".strip(),
            what=PART_WARRANTY.format(name=line.description[:_LONGEST_NAME]),
            part_key=line.job.part_key,
            position=line.position,
            lead_days=WARRANTY_LEAD_DAYS,
            limit_on=line.warranty_until,
            due_total_km=ends_km,
        )
