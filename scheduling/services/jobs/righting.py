"""Which open findings a job puts right that does not renew its part: those the catalogue says it remedies."""

import uuid
from collections.abc import Mapping, Sequence
from datetime import date

from fleetcare.fleet.access import Access
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import PartJob
from inspections.catalogue.grading import grade_result
from inspections.catalogue.loader import default_catalogue
from inspections.models import Finding, Result
from scheduling.models import Job
from scheduling.services.jobs.places import slots_of

Place = tuple[uuid.UUID, str, str]
"""Inspection, check and position."""


def put_right_by(access: Access, job: Job, entry: PartJob, done_on: date) -> list[uuid.UUID]:
    """The open findings of the job's part at its place that it remedies, seen no later than that day; two queries."""
    rows = Finding.objects.within(access.fleet).filter(
        vehicle=job.vehicle_id, part_key=job.part_key, position__in=slots_of(job.positions), closed_on=None
    )
    found = [finding for finding in rows.filter(seen_on__lte=done_on) if _references(entry, finding.check_key)]
    seen = _seen(access, found)
    scheme = access.fleet.limit_scheme
    return [
        finding.pk
        for finding in found
        if _remedies(
            entry, finding.check_key, seen.get((finding.seen_in_id, finding.check_key, finding.position)), scheme
        )
    ]


def _references(entry: PartJob, check_key: str) -> frozenset[str]:
    """What the job remedies of a check: keys of observations, and "" for its figure."""
    tail = check_key.partition(".")[2]
    parted = (reference.partition(".") for reference in entry.job.puts_right)
    return frozenset(seen for check, _, seen in parted if check == tail)


def _seen(access: Access, findings: Sequence[Finding]) -> Mapping[Place, Result]:
    if not findings:
        return {}
    rows = Result.objects.within(access.fleet).filter(
        inspection__in={finding.seen_in_id for finding in findings},
        check_key__in={finding.check_key for finding in findings},
    )
    return {(row.inspection_id, row.check_key, row.position): row for row in rows}


def _remedies(entry: PartJob, check_key: str, result: Result | None, scheme: str) -> bool:
    """Whether everything bad that the last look saw is among what the job remedies.

    Graded by a word alone, nobody knows what exactly was seen: then being about this check is enough.
    """
    remedied = _references(entry, check_key)
    if result is None:
        return bool(remedied)
    check = default_catalogue().checks[check_key].check
    grades = {seen.key: seen.grade for seen in check.observations}
    bad = {key for key in result.observations if grades.get(key, "sound") != "sound"}
    if result.value is not None and grade_result(check, result.value, (), scheme) > Grade.SOUND:
        bad.add("")
    return bad <= remedied
