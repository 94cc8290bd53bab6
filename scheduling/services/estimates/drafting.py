"""Drafting an estimate: lines with one or several ways to do each, priced by hand or from the catalogue."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.db.models import Max

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Contact, Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Fault, InvalidInput, raise_if_any
from fleetcare.support.versions import store
from inspections.catalogue.loader import default_catalogue
from inspections.services.costs import fleet_prices
from scheduling.models import Estimate, EstimateLine, EstimateOption, Job
from scheduling.models.jobs import LIVE_STATES
from scheduling.services.estimates.usual import UsualPrices
from scheduling.services.jobs.opening import dangerous_places, is_dangerous
from scheduling.services.jobs.places import catalogue_job, places_of
from scheduling.words import EstimateState

_NUMBERS_TRIED = 5
Places = frozenset[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class OptionDraft:
    """One way: a job that is open, one of the catalogue, or a title alone.

    Without prices it is what the job usually takes in this fleet.
    """

    title: str = ""
    job_id: uuid.UUID | None = None
    job_key: str = ""
    positions: tuple[str, ...] = ()
    hours: Decimal | None = None
    parts_minor: int | None = None
    labour_minor: int | None = None


@dataclass(frozen=True, slots=True)
class LineDraft:
    """One thing for the customer to decide."""

    options: tuple[OptionDraft, ...]
    title: str = ""
    explanation: str = ""
    safety: bool = False


@dataclass(frozen=True, slots=True)
class Draft:
    """What an estimate says."""

    lines: tuple[LineDraft, ...]
    contact_id: uuid.UUID | None = None
    customer: str = ""
    note: str = ""
    tax_percent: Decimal | None = None


def draft_estimate(access: Access, vehicle: Vehicle, draft: Draft) -> Estimate:
    """A new estimate with the fleet's next number. Planners and owners.

    Raises InvalidInput naming every line whose job, part or position cannot be, and a contact that is not here.
    """
    access.require(Role.PLANNER)
    lines = _resolved(access, vehicle, draft.lines)
    contact, customer = _customer(access, draft)
    for attempt in range(_NUMBERS_TRIED):
        # Of two who draft at once, one takes the number and the other the next.
        latest = Estimate.objects.within(access.fleet).aggregate(number=Max("number"))["number"] or 0
        estimate = Estimate(
            fleet=access.fleet,
            vehicle=vehicle,
            number=latest + 1,
            contact=contact,
            customer=customer,
            note=draft.note,
            tax_percent=draft.tax_percent,
            entered_by=access.actor,
        )
        try:
            with transaction.atomic():
                estimate.save(force_insert=True)
                _store_lines(access, estimate, lines)
        except IntegrityError:
            if attempt == _NUMBERS_TRIED - 1:
                raise
        else:
            return estimate
    raise AssertionError  # pragma: no cover


@transaction.atomic
def change_estimate(access: Access, estimate: Estimate, draft: Draft) -> Estimate:
    """Says a draft anew, all of it. Planners and owners. Raises Conflict once it was sent."""
    access.require(Role.PLANNER)
    _require_draft(estimate)
    lines = _resolved(access, estimate.vehicle, draft.lines)
    estimate.contact, estimate.customer = _customer(access, draft)
    estimate.note, estimate.tax_percent = draft.note, draft.tax_percent
    store(estimate, ["contact", "customer", "note", "tax_percent"])
    EstimateLine.objects.within(access.fleet).filter(estimate=estimate).delete()
    _store_lines(access, estimate, lines)
    return estimate


@transaction.atomic
def drop_estimate(access: Access, estimate: Estimate) -> None:
    """Throws a draft away. Planners and owners. Raises Conflict once it was sent: that is withdrawn instead."""
    access.require(Role.PLANNER)
    _require_draft(estimate)
    mine = Estimate.objects.within(access.fleet).filter(pk=estimate.pk, state=EstimateState.DRAFT)
    mine.delete()


def _require_draft(estimate: Estimate) -> None:
    if estimate.state != EstimateState.DRAFT:
        raise Conflict("It was sent: what it says stands. Withdraw it and draft another.", code="estimate-sent")


def _customer(access: Access, draft: Draft) -> tuple[Contact | None, str]:
    if draft.contact_id is None:
        return None, draft.customer
    contact = Contact.objects.within(access.fleet).filter(pk=draft.contact_id).first()
    if contact is None:
        raise InvalidInput.at("/contact", "unknown-contact", "There is no such contact in this fleet.")
    return contact, draft.customer or contact.name


@dataclass(frozen=True, slots=True)
class _Option:
    draft: OptionDraft
    title: str
    job: Job | None
    job_key: str
    positions: list[str]
    safety: bool
    before_driving: bool


@dataclass(frozen=True, slots=True)
class _Line:
    draft: LineDraft
    options: list[_Option]


def _resolved(access: Access, vehicle: Vehicle, lines: Sequence[LineDraft]) -> list[_Line]:
    """The lines with their jobs found; raises InvalidInput with every fault."""
    wanted = {option.job_id for line in lines for option in line.options if option.job_id is not None}
    rows = Job.objects.within(access.fleet).filter(vehicle=vehicle, state__in=LIVE_STATES, pk__in=wanted)
    jobs = {job.pk: job for job in rows} if wanted else {}
    dangerous = dangerous_places(access, vehicle)
    faults: list[Fault] = []
    resolved = []
    for number, line in enumerate(lines):
        options = []
        for index, draft in enumerate(line.options):
            try:
                options.append(_option(vehicle, draft, jobs, dangerous))
            except InvalidInput as error:
                faults += [fault.under(f"/lines/{number}/options/{index}") for fault in error.faults]
        resolved.append(_Line(line, options))
    raise_if_any(faults)
    return resolved


def _option(vehicle: Vehicle, draft: OptionDraft, jobs: dict[uuid.UUID, Job], dangerous: Places) -> _Option:
    if draft.job_id is not None:
        job = jobs.get(draft.job_id)
        if job is None:
            raise InvalidInput.at("/job_id", "unknown-job", "This vehicle has no such job to be done.")
        title = draft.title or job.title
        return _Option(draft, title, job, job.job_key, job.positions, job.safety, job.before_driving)
    if draft.job_key:
        entry = catalogue_job(draft.job_key)
        positions = places_of(vehicle, entry, draft.positions)
        first = is_dangerous(dangerous, entry.part.key, positions)
        title = draft.title or entry.job.title
        return _Option(draft, title, None, draft.job_key, positions, entry.part.safety, first)
    if not draft.title.strip():
        raise InvalidInput.at("/title", "required", "Name a job, or say in a title what would be done.")
    return _Option(draft, draft.title.strip(), None, "", [], safety=False, before_driving=False)


def _store_lines(access: Access, estimate: Estimate, lines: Sequence[_Line]) -> None:
    """Two statements, whatever the number, and what the fleet's prices take."""
    usual = UsualPrices(fleet_prices(access.fleet))
    rows, options = [], []
    for number, line in enumerate(lines):
        row = EstimateLine(
            fleet=access.fleet,
            estimate=estimate,
            line=number,
            title=line.draft.title.strip() or line.options[0].title,
            explanation=line.draft.explanation,
            safety=line.draft.safety or any(option.safety for option in line.options),
            before_driving=any(option.before_driving for option in line.options),
        )
        rows.append(row)
        options += [_option_row(access, row, index, each, usual) for index, each in enumerate(line.options)]
        if _is_known(line.options[0]):
            usual.charge(line.options[0].job_key, line.options[0].positions)
    EstimateLine.objects.bulk_create(rows)
    EstimateOption.objects.bulk_create(options)


def _option_row(access: Access, row: EstimateLine, index: int, option: _Option, usual: UsualPrices) -> EstimateOption:
    hours, parts_minor, labour_minor = _price(option, usual)
    return EstimateOption(
        fleet=access.fleet,
        estimate_line=row,
        option=index,
        title=option.title,
        job=option.job,
        job_key=option.job_key,
        positions=option.positions,
        hours=hours,
        parts_minor=parts_minor,
        labour_minor=labour_minor,
    )


def _price(option: _Option, usual: UsualPrices) -> tuple[Decimal | None, int, int]:
    """Hours, parts and labour as given; what the job usually takes in this fleet where neither price is."""
    draft = option.draft
    if not _is_known(option) or draft.parts_minor is not None or draft.labour_minor is not None:
        return draft.hours, draft.parts_minor or 0, draft.labour_minor or 0
    return usual.of(option.job_key, option.positions, draft.hours)


def _is_known(option: _Option) -> bool:
    return option.job_key in default_catalogue().jobs
