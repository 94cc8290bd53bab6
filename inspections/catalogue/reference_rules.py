"""What a part says about other things: stations, cautions, access, follow-ups, sheets, traits and other parts."""

from collections.abc import Collection, Iterator

from inspections.catalogue.access import place_access
from inspections.catalogue.schema import Check, Job, Part
from inspections.catalogue.vocabularies import Vocabularies

Complaint = tuple[str, str]


def reference_complaints(part: Part, words: Vocabularies, part_keys: Collection[str]) -> Iterator[Complaint]:
    """Every reference of the part that leads nowhere, as (field, message)."""
    yield from _need_complaints("needs", part.needs, words)
    for position, needs in part.position_needs.items():
        yield from _need_complaints(f"position_needs.{position}", needs, words)
    for damage in part.failure.damages:
        if damage.part not in part_keys:
            yield f"failure.damages[{damage.part}].part", f'unknown part "{damage.part}"'
    for check in part.checks:
        for field, message in _check_complaints(check, words):
            yield f"checks[{check.key}].{field}", message
    for job in part.jobs:
        for field, message in _job_complaints(part, job, words):
            yield f"jobs[{job.key}].{field}", message


def _need_complaints(field: str, needs: tuple[str, ...], words: Vocabularies) -> Iterator[Complaint]:
    for need in needs:
        for message in words.condition_faults(need):
            yield field, message


def _check_complaints(check: Check, words: Vocabularies) -> Iterator[Complaint]:
    yield from _unknown("station", "station", (check.station,), words.stations)
    yield from _unknown("cautions", "caution", check.cautions, words.cautions)
    yield from _unknown("sheets", "sheet", check.sheets, words.sheets)
    yield from _need_complaints("needs", check.needs, words)


def _job_complaints(part: Part, job: Job, words: Vocabularies) -> Iterator[Complaint]:
    yield from _unknown("cautions", "caution", job.cautions, words.cautions)
    yield from _unknown("follow_ups", "follow-up", job.follow_ups, words.follow_ups)
    for reference in job.access:
        for position in part.positions or ("",):
            try:
                place_access(reference, job.scope, position, part.positions, words.access)
            except ValueError as error:
                yield "access", str(error)
                break


def _unknown(field: str, what: str, keys: tuple[str, ...], known: Collection[str]) -> Iterator[Complaint]:
    for key in keys:
        if key not in known:
            yield field, f'unknown {what} "{key}"'
