"""Safety work that was declined: repeated in every report until it is done or no longer needed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from inspections.models import Finding, FittedPart
from scheduling.core.job_states import LIVE, JobState
from scheduling.models import Job
from scheduling.services.jobs.places import slots_of


@dataclass(frozen=True, slots=True)
class DeclinedWork:
    """Safety work somebody decided against: what, where, when, who, and why."""

    job: Job
    declined_on: date

    @property
    def declined_by(self) -> str:
        """The name given, a customer's or a member's; empty where nobody was named."""
        return self.job.decided_by


def declined_safety_work(access: Access, vehicle: Vehicle) -> list[DeclinedWork]:
    """What was declined and still stands, the latest first; four queries at most.

    It no longer stands once a job was done there since or another way was accepted, the part was renewed since, or
    every finding of the part there is closed by a later look. The same work declined twice is told once.
    """
    rows = Job.objects.within(access.fleet).filter(vehicle=vehicle, safety=True)
    declined = list(rows.filter(state=JobState.DECLINED.value, decided_at__isnull=False).order_by("-decided_at", "id"))
    if not declined:
        return []
    zone = ZoneInfo(access.fleet.time_zone)
    works = [DeclinedWork(job, job.decided_at.astimezone(zone).date()) for job in declined if job.decided_at]
    answers = rows.filter(part_key__in={job.part_key for job in declined} - {""})
    agreed = list(answers.exclude(state=JobState.DECLINED.value))
    settled = _Settled(access, vehicle, [job.part_key for job in declined])
    return _once(work for work in works if not _agreed_since(work, agreed) and not settled.holds(work))


def _agreed_since(work: DeclinedWork, jobs: Iterable[Job]) -> bool:
    """Whether jobs that were done since, or accepted since and wait to be done, cover the same place."""
    wanted = set(slots_of(work.job.positions))
    since = (each for each in jobs if _is_done_since(each, work) or _is_accepted_since(each, work))
    covered = {slot for each in since if each.part_key == work.job.part_key for slot in slots_of(each.positions)}
    return bool(work.job.part_key) and wanted <= covered


def _is_done_since(job: Job, work: DeclinedWork) -> bool:
    return job.done_on is not None and job.done_on >= work.declined_on


def _is_accepted_since(job: Job, work: DeclinedWork) -> bool:
    decided, declined = job.decided_at, work.job.decided_at
    waits = job.state in LIVE and job.state != JobState.DEFERRED
    return waits and decided is not None and declined is not None and decided >= declined


class _Settled:
    """What of a vehicle's parts was renewed, and which findings of theirs are closed."""

    def __init__(self, access: Access, vehicle: Vehicle, part_keys: Iterable[str]) -> None:
        there = {"vehicle": vehicle, "part_key__in": set(part_keys) - {""}}
        parts = FittedPart.objects.within(access.fleet).filter(**there, fitted_on__isnull=False)
        self.fitted = list(parts.values_list("part_key", "position", "fitted_on"))
        found = Finding.objects.within(access.fleet).filter(**there)
        self.findings = list(found.values_list("part_key", "position", "opened_on", "closed_on"))

    def holds(self, work: DeclinedWork) -> bool:
        return all(self._at(work, slot) for slot in slots_of(work.job.positions))

    def _at(self, work: DeclinedWork, slot: str) -> bool:
        here = (work.job.part_key, slot)
        renewed = any((part, at) == here and on is not None and on >= work.declined_on for part, at, on in self.fitted)
        closings = [closed for part, at, _, closed in self.findings if (part, at) == here]
        known = [
            closed for part, at, opened, closed in self.findings if (part, at) == here and opened <= work.declined_on
        ]
        healed = None not in closings and any(closed and closed >= work.declined_on for closed in known)
        return renewed or healed


def _once(works: Iterable[DeclinedWork]) -> list[DeclinedWork]:
    found: dict[tuple[str, str, str], DeclinedWork] = {}
    for work in works:
        name = work.job.job_key or work.job.title
        found.setdefault((name, work.job.part_key, work.job.place), work)
    return list(found.values())
