"""What a customer says through the private link: recorded with time and name, each line once."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.services.events import record_event
from fleetcare.fleet.words import EventKind, Role
from fleetcare.kernel.errors import Conflict, Fault, NotFound, raise_if_any
from fleetcare.support.secret_links import digest_of
from inspections.catalogue.loader import default_catalogue
from scheduling.core.job_states import JobState
from scheduling.models import Estimate, EstimateLine, EstimateOption, Job
from scheduling.models.jobs import LIVE_STATES
from scheduling.selectors import estimate_by_digest, estimates
from scheduling.services.jobs.places import place_text
from scheduling.words import Answer, EstimateState, JobOrigin

LONGEST_NAME = 120
LONGEST_REASON = 500
_READABLE = (EstimateState.SENT, EstimateState.ANSWERED)


@dataclass(frozen=True, slots=True)
class Said:
    """Who answers, when, and why they decline."""

    name: str
    at: datetime
    reason: str


def estimate_behind(token: str) -> tuple[Access, Estimate]:
    """The estimate that a private link opens, with what may be done through it.

    Raises NotFound for a link that is unknown, expired or taken back: the same for all three.
    """
    found = estimate_by_digest(digest_of(token))
    if found is None or not _is_open(found):
        raise NotFound
    access = Access(found.fleet, Role.OWNER, f"estimate:{found.pk}")
    return access, estimates(access).one(pk=found.pk)


def _is_open(estimate: Estimate) -> bool:
    return estimate.state in _READABLE and estimate.expires_at is not None and estimate.expires_at > timezone.now()


@transaction.atomic
def answer_estimate(
    token: str, *, name: str, choices: Mapping[uuid.UUID, uuid.UUID | None], reason: str = ""
) -> Estimate:
    """Records answers: for each line the option accepted, or None where it is declined.

    The same answer sent again changes nothing. Accepting makes or confirms the job; declining safety work puts it on
    record as declined. Raises NotFound as `estimate_behind`, InvalidInput without a name or an answer and for a line
    or option that is not on this estimate, Conflict where a line was answered otherwise before.
    """
    access, estimate = _held(token)
    name, reason = name.strip(), reason.strip()
    lines = {line.pk: line for line in estimate.lines.all()}
    raise_if_any(_faults(lines, name, choices))
    fresh = {key: option for key, option in choices.items() if not _is_repeat(lines[key], option)}
    if not fresh:
        return estimate
    said = Said(name[:LONGEST_NAME], timezone.now(), reason[:LONGEST_REASON])
    for key, option_id in fresh.items():
        _answer(access, estimate, lines[key], option_id, said)
    _finish(access, estimate, said)
    facts = {"number": estimate.number, "answered_by": said.name, "lines": _counts(fresh)}
    record_event(
        access.fleet, kind=EventKind.ESTIMATE_ANSWERED, vehicle=estimate.vehicle, subject=estimate, facts=facts
    )
    return estimates(access).one(pk=estimate.pk)


def _faults(
    lines: Mapping[uuid.UUID, EstimateLine], name: str, choices: Mapping[uuid.UUID, uuid.UUID | None]
) -> list[Fault]:
    faults = []
    if not name:
        faults.append(Fault("/name", "required", "Please give your name: it is kept with your answer."))
    if not choices:
        faults.append(Fault("/lines", "required", "Accept or decline at least one of the lines."))
    for key, option_id in choices.items():
        line = lines.get(key)
        if line is None:
            faults.append(Fault(f"/lines/{key}", "unknown-line", "There is no such line on this estimate."))
        elif option_id is not None and option_id not in {option.pk for option in line.options.all()}:
            faults.append(Fault(f"/lines/{key}", "unknown-option", "There is no such choice for this line."))
    return faults


def _is_repeat(line: EstimateLine, option_id: uuid.UUID | None) -> bool:
    """Whether this was answered just so; raises Conflict where it was answered otherwise."""
    if not line.answer:
        return False
    if (line.answer == Answer.DECLINED) == (option_id is None) and line.chosen_id == option_id:
        return True
    sentence = f"“{line.title}” was answered before by {line.answered_by}. Call us to change it."
    raise Conflict(sentence, code="answered-before")


def _held(token: str) -> tuple[Access, Estimate]:
    """The estimate, held until the transaction ends and only then read.

    So it is not withdrawn under an answer, and of two who answer at once the second sees what the first said.
    """
    access, found = estimate_behind(token)
    mine = Estimate.objects.within(access.fleet).filter(pk=found.pk, token_digest=digest_of(token))
    if not mine.filter(state__in=_READABLE).update(version=F("version") + 1):
        raise NotFound
    return access, estimates(access).one(pk=found.pk)


def _answer(access: Access, estimate: Estimate, line: EstimateLine, option_id: uuid.UUID | None, said: Said) -> None:
    mine = EstimateLine.objects.within(access.fleet).filter(pk=line.pk, answer="")
    values: dict[str, Any] = {
        "answer": Answer.DECLINED if option_id is None else Answer.ACCEPTED,
        "chosen_id": option_id,
        "answered_by": said.name,
        "answered_at": said.at,
        "reason": said.reason if option_id is None else "",
    }
    if not mine.update(**values):
        raise Conflict(f"“{line.title}” has just been answered by somebody else.", code="answered-before")
    options = list(line.options.all())
    if option_id is None:
        _decline(access, estimate, line, options, said)
    else:
        _accept(access, estimate, line, next(each for each in options if each.pk == option_id), said)


def _accept(access: Access, estimate: Estimate, line: EstimateLine, option: EstimateOption, said: Said) -> None:
    """The job of the option: the one it names while that is to be done, the same one opened since, or a new one."""
    job = _live_job(access, estimate.vehicle, option)
    if job is None:
        job = _new_job(access, estimate, line, option)
        job.save(force_insert=True)
    agreed: dict[str, Any] = {"decided_by": said.name, "decided_at": said.at, "reason": "", "deferred_until": None}
    if job.state == JobState.DEFERRED:
        agreed["state"] = JobState.OPEN.value
    Job.objects.within(access.fleet).filter(pk=job.pk).update(version=F("version") + 1, **agreed)
    EstimateOption.objects.within(access.fleet).filter(pk=option.pk).update(job=job)
    others = EstimateOption.objects.within(access.fleet).filter(estimate_line=line).exclude(pk=option.pk)
    instead = Said(said.name, said.at, f"instead: {option.title}"[:LONGEST_REASON])
    _put_down(access, list(others.exclude(job=job).exclude(job=None)), instead)


def _decline(access: Access, estimate: Estimate, line: EstimateLine, options: list[EstimateOption], said: Said) -> None:
    """Jobs that the line stood for are declined; safety work is put on record even where there was no job yet."""
    if _put_down(access, options, said) or not line.safety:
        return
    job = _new_job(access, estimate, line, options[0])
    job.state, job.reason, job.decided_by, job.decided_at = JobState.DECLINED.value, said.reason, said.name, said.at
    job.save(force_insert=True)
    EstimateOption.objects.within(access.fleet).filter(pk=options[0].pk).update(job=job)


def _put_down(access: Access, options: list[EstimateOption], said: Said) -> int:
    """Declines the jobs of these options that are still to be done; returns how many."""
    keys = [option.job_id for option in options if option.job_id is not None]
    if not keys:
        return 0
    rows = Job.objects.within(access.fleet).filter(pk__in=keys, state__in=LIVE_STATES)
    return rows.update(
        state=JobState.DECLINED.value,
        reason=said.reason,
        decided_by=said.name,
        decided_at=said.at,
        planned_on=None,
        deferred_until=None,
        version=F("version") + 1,
    )


def _live_job(access: Access, vehicle: Vehicle, option: EstimateOption) -> Job | None:
    rows = Job.objects.within(access.fleet).filter(vehicle=vehicle, state__in=LIVE_STATES)
    named = rows.filter(pk=option.job_id).first() if option.job_id else None
    if named is not None or not option.job_key:
        return named
    return rows.filter(job_key=option.job_key, place=place_text(option.positions)).first()


def _new_job(access: Access, estimate: Estimate, line: EstimateLine, option: EstimateOption) -> Job:
    entry = default_catalogue().jobs.get(option.job_key)
    return Job(
        fleet=access.fleet,
        vehicle=estimate.vehicle,
        job_key=option.job_key,
        title=option.title,
        part_key=entry.part.key if entry else "",
        positions=option.positions,
        place=place_text(option.positions),
        origin=JobOrigin.ESTIMATE,
        safety=line.safety,
        before_driving=line.before_driving,
        note=line.explanation,
        entered_by=access.actor,
    )


def _finish(access: Access, estimate: Estimate, said: Said) -> None:
    waiting = EstimateLine.objects.within(access.fleet).filter(estimate=estimate, answer="")
    if not waiting.exists():
        mine = Estimate.objects.within(access.fleet).filter(pk=estimate.pk, state=EstimateState.SENT)
        mine.update(state=EstimateState.ANSWERED, answered_at=said.at)


def _counts(choices: Mapping[uuid.UUID, uuid.UUID | None]) -> dict[str, int]:
    declined = sum(option is None for option in choices.values())
    return {"accepted": len(choices) - declined, "declined": declined}
