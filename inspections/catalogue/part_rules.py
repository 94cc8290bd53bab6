"""What must be true of a part by itself, whatever the vocabularies say. Each rule yields (field, message)."""

import math
import re
from collections.abc import Iterable, Iterator

from inspections.catalogue.measurement_rules import measurement_complaints
from inspections.catalogue.positions import POSITIONS
from inspections.catalogue.schema import Check, EuroRange, Failure, Job, Life, Part

Complaint = tuple[str, str]

_KEY = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def part_complaints(part: Part) -> Iterator[Complaint]:
    """Every fault of a part that can be found without looking elsewhere."""
    yield from key_complaints("key", part.key)
    yield from text_complaints("title", part.title)
    yield from _position_complaints(part)
    yield from _life_complaints(part.life)
    yield from _failure_complaints(part.failure, safety=part.safety)
    yield from _checks_complaints(part)
    yield from _jobs_complaints(part)


def key_complaints(field: str, key: str) -> Iterator[Complaint]:
    """A key is lower-case words and figures joined by hyphens."""
    if not _KEY.fullmatch(key):
        yield field, f'"{key}" is not kebab-case (lower-case words joined by hyphens)'


def text_complaints(field: str, text: str) -> Iterator[Complaint]:
    """A text for people must say something."""
    if not text.strip():
        yield field, "is empty"


def repeated(keys: Iterable[str]) -> list[str]:
    """The keys that occur more than once, in the order of their repetition."""
    seen: set[str] = set()
    twice: list[str] = []
    for key in keys:
        twice += [key] if key in seen and key not in twice else []
        seen.add(key)
    return twice


def _repeated_complaints(field: str, keys: Iterable[str]) -> Iterator[Complaint]:
    for key in repeated(keys):
        yield field.format(key), "is there twice"


def _positive(field: str, value: float) -> Iterator[Complaint]:
    if not (value > 0 and math.isfinite(value)):
        yield field, f"must be positive, not {value:g}"


def _not_negative(field: str, value: float) -> Iterator[Complaint]:
    if not (value >= 0 and math.isfinite(value)):
        yield field, f"must not be negative, not {value:g}"


def _position_complaints(part: Part) -> Iterator[Complaint]:
    for position in part.positions:
        if position not in POSITIONS:
            yield "positions", f'unknown position "{position}"'
    yield from _repeated_complaints("positions[{}]", part.positions)
    for position in part.position_needs:
        if position not in part.positions:
            yield f"position_needs.{position}", "the part has no such position"


def _life_complaints(life: Life) -> Iterator[Complaint]:
    yield from _positive("life.km", life.km)
    yield from _positive("life.years", life.years)
    yield from _positive("life.cv", life.cv)
    yield from _not_negative("life.pf_km", life.pf_km)
    if life.pf_km >= life.km > 0:
        yield "life.pf_km", f"must be shorter than the life ({life.km} km), not {life.pf_km}"
    if not 0 <= life.km_weight <= 1:
        yield "life.km_weight", f"must lie between 0 and 1, not {life.km_weight:g}"
    yield from text_complaints("life.source", life.source)


def _failure_complaints(failure: Failure, *, safety: bool) -> Iterator[Complaint]:
    yield from text_complaints("failure.what", failure.what)
    yield from _not_negative("failure.incident_eur", failure.incident_eur)
    yield from _not_negative("failure.danger_eur_per_1000_km", failure.danger_eur_per_1000_km)
    if not failure.cost_factor >= 1:
        yield "failure.cost_factor", f"must be at least 1, not {failure.cost_factor:g}"
    if safety and not failure.danger_eur_per_1000_km:
        yield "failure.danger_eur_per_1000_km", "a safety part must say what driving it dangerous costs"
    if failure.danger_eur_per_1000_km and not safety:
        yield "failure.danger_eur_per_1000_km", "only a safety part has a cost of danger"
    for damage in failure.damages:
        at = f"failure.damages[{damage.part}]"
        yield from _not_negative(f"{at}.eur", damage.eur)
        yield from text_complaints(f"{at}.why", damage.why)
        if not damage.factor >= 1:
            yield f"{at}.factor", f"must be at least 1, not {damage.factor:g}"


def _checks_complaints(part: Part) -> Iterator[Complaint]:
    if not part.checks:
        yield "checks", "a part needs at least one check"
    yield from _repeated_complaints("checks[{}].key", (check.key for check in part.checks))
    for check in part.checks:
        for field, message in _check_complaints(check):
            yield f"checks[{check.key}].{field}", message


def _check_complaints(check: Check) -> Iterator[Complaint]:
    yield from key_complaints("key", check.key)
    for field in ("title", "method", "tool", "source"):
        yield from text_complaints(field, getattr(check, field))
    yield from _positive("minutes", check.minutes)
    yield from _observation_complaints(check)
    if "full" in check.sheets:
        yield "sheets", '"full" holds every check and is never listed'
    if check.measurement is not None:
        for field, message in measurement_complaints(check.measurement):
            yield f"measurement.{field}", message


def _observation_complaints(check: Check) -> Iterator[Complaint]:
    yield from _repeated_complaints("observations[{}].key", (seen.key for seen in check.observations))
    for seen in check.observations:
        yield from key_complaints(f"observations[{seen.key}].key", seen.key)
        yield from text_complaints(f"observations[{seen.key}].title", seen.title)
    if check.measurement is not None:
        return
    if not check.observations:
        yield "observations", "a check needs a measurement or observations"
    elif all(seen.grade == "sound" for seen in check.observations):
        yield "observations", "a graded check needs at least one observation that is not sound"


def _jobs_complaints(part: Part) -> Iterator[Complaint]:
    if not any(job.renews for job in part.jobs):
        yield "jobs", "a part needs at least one job that renews it"
    yield from _repeated_complaints("jobs[{}].key", (job.key for job in part.jobs))
    for job in part.jobs:
        for field, message in _job_complaints(job):
            yield f"jobs[{job.key}].{field}", message
        for message in _remedy_complaints(part, job):
            yield f"jobs[{job.key}].puts_right", message


def _remedy_complaints(part: Part, job: Job) -> Iterator[str]:
    if job.renews and job.puts_right:
        yield "a job that renews the part puts everything right and lists nothing"
    for reference in job.puts_right:
        check_key, dot, seen = reference.partition(".")
        check = next((each for each in part.checks if each.key == check_key), None)
        if check is None or (dot and seen not in {each.key for each in check.observations}):
            yield f'"{reference}": the part has no such check or observation'
        elif not dot and check.measurement is None:
            yield f'"{reference}": the check takes no figure; name the observation'


def _job_complaints(job: Job) -> Iterator[Complaint]:
    yield from key_complaints("key", job.key)
    yield from text_complaints("title", job.title)
    yield from _positive("hours", job.hours)
    yield from _euro_complaints("parts_eur", job.parts_eur)


def _euro_complaints(field: str, euros: EuroRange) -> Iterator[Complaint]:
    if not 0 <= euros.low <= euros.typical <= euros.high:
        yield field, f"must rise from low to high, not {euros.low}, {euros.typical}, {euros.high}"
