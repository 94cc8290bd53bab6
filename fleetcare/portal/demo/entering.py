"""Enters a fleet's jobs, services, know-how and what is still to be decided, as its people would."""

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Contact, Vehicle
from fleetcare.fleet.words import FleetKind
from fleetcare.portal.demo.events import Service, Work
from fleetcare.portal.demo.fixtures import DemoEstimate, DemoNote, DemoPlanned, DemoService
from inspections.catalogue.books import renewing_job
from inspections.catalogue.loader import default_catalogue
from inspections.models import Finding
from inspections.services.costs import fleet_prices
from inspections.words import Removal
from scheduling.models import DueItem, Job, ServiceRule
from scheduling.services.due import add_rule, close_item, fits, mark_done
from scheduling.services.estimates.drafting import Draft, LineDraft, OptionDraft, draft_estimate
from scheduling.services.estimates.sending import send_estimate
from scheduling.services.estimates.usual import UsualPrices
from scheduling.services.jobs import Closing, PartLine, close_job, open_job, plan_job
from scheduling.services.know_how import add_know_how
from scheduling.words import RuleKind

_HOUR = Decimal("0.25")
_WARRANTY = timedelta(days=730)
_GUARANTEED_FROM_MINOR = 9_000
_FOLLOWED_WITHIN = timedelta(days=6)
_USED_PART = 0.4
"""Of the price of a new one."""


def enter_work(access: Access, vehicle: Vehicle, work: Work, usual: UsualPrices, today: date) -> None:
    """A job, opened and closed with hours, costs and the part it took; what follows is done but for the latest."""
    entry = default_catalogue().jobs[work.job_key]
    job, _ = open_job(access, vehicle, job_key=work.job_key, positions=work.positions)
    usual_hours, usual_parts_minor, usual_labour_minor = usual.of(work.job_key, work.positions, None)
    hours = max((usual_hours * Decimal(str(work.hours_factor)) / _HOUR).to_integral_value(ROUND_HALF_UP) * _HOUR, _HOUR)
    parts_minor = round(usual_parts_minor * work.parts_factor)
    line = PartLine(
        description=work.description or entry.part.title,
        price_minor=parts_minor,
        warranty_until=work.on + _WARRANTY if _is_guaranteed(access, parts_minor) else None,
        fitted=True,
    )
    closing = Closing(
        done_on=work.on,
        shown_km=work.shown_km,
        hours=hours,
        labour_minor=round(usual_labour_minor * work.hours_factor) or None,
        removal=Removal(work.removal),
        parts=(line,) if parts_minor else (),
    )
    close_job(access, job, closing)
    # A job of long ago has nothing left to do; only what came due lately is still open.
    followed = DueItem.objects.within(access.fleet).filter(source__startswith=f"follow-up:{job.pk}:")
    for item in followed.filter(limit_on__lt=today - _FOLLOWED_WITHIN):
        close_item(access, item, done_on=item.limit_on or work.on)


def _is_guaranteed(access: Access, parts_minor: int) -> bool:
    return access.fleet.kind == FleetKind.WORKSHOP and parts_minor >= _GUARANTEED_FROM_MINOR


def enter_rules(access: Access, services: Iterable[DemoService]) -> list[ServiceRule]:
    """Rules for the whole fleet; each is about the vehicles it fits."""
    rules = []
    for each in services:
        own = (
            {}
            if each.template
            else {"title": each.title, "every_months": each.every_months, "kind": RuleKind.STATUTORY}
        )
        rules.append(add_rule(access, None, template=each.template, **own))
    return rules


def enter_service(access: Access, vehicle: Vehicle, service: Service, rules: Iterable[ServiceRule]) -> None:
    """Says that the work of a rule was done on a vehicle, where the rule is about it."""
    for rule in rules:
        if service.key in {rule.template, rule.title} and fits(rule, vehicle):
            mark_done(access, rule, vehicle, done_on=service.on, shown_km=service.shown_km)


def enter_note(access: Access, vehicle: Vehicle, note: DemoNote) -> None:
    """A piece of know-how about the vehicle's model."""
    add_know_how(
        access,
        vehicle,
        kind=note.kind,
        text=note.text,
        part_key=note.part,
        job_key=note.job,
        check_key=note.check,
        value=note.value,
        unit=note.unit,
        source=note.source,
    )


def enter_planned(access: Access, vehicle: Vehicle, planned: DemoPlanned, on: date) -> None:
    """Takes on jobs for the worst findings."""
    for job_key, positions in _worst_jobs(access, vehicle, planned.jobs):
        job, _ = open_job(access, vehicle, job_key=job_key, positions=positions)
        day = on + timedelta(days=planned.in_days)
        plan_job(access, job, planned_on=day, assigned_to=planned.assigned_to)


def enter_estimate(access: Access, vehicle: Vehicle, estimate: DemoEstimate) -> None:
    """Drafts an estimate for the worst findings and sends it."""
    jobs = _worst_jobs(access, vehicle, estimate.lines)
    ways = [[OptionDraft(job_key=job_key, positions=positions)] for job_key, positions in jobs]
    if ways:
        ways[0].append(_with_a_used_part(access, *jobs[0], estimate.worn_alternative))
    lines = [LineDraft(options=tuple(options)) for options in ways]
    contact = Contact.objects.within(access.fleet).get(name=estimate.contact)
    draft = Draft(tuple(lines), contact_id=contact.pk, note=estimate.note, tax_percent=estimate.tax_percent)
    send_estimate(access, draft_estimate(access, vehicle, draft))


def _with_a_used_part(access: Access, job_key: str, positions: tuple[str, ...], title: str) -> OptionDraft:
    hours, parts_minor, labour_minor = UsualPrices(fleet_prices(access.fleet)).of(job_key, positions, None)
    return OptionDraft(title=title, hours=hours, parts_minor=round(parts_minor * _USED_PART), labour_minor=labour_minor)


def _worst_jobs(access: Access, vehicle: Vehicle, most: int) -> list[tuple[str, tuple[str, ...]]]:
    """The renewing jobs of the worst open findings with one position each, the worst first, none twice."""
    catalogue = default_catalogue()
    taken = set(Job.objects.within(access.fleet).filter(vehicle=vehicle).exclude(state="done").values_list("part_key"))
    rows = Finding.objects.within(access.fleet).filter(vehicle=vehicle, closed_on=None)
    found: dict[str, tuple[str, ...]] = {}
    for part_key, position in rows.order_by("-grade", "part_key", "position").values_list("part_key", "position"):
        if (part_key,) not in taken:
            found.setdefault(renewing_job(catalogue, part_key).key, (position,) if position else ())
    return list(found.items())[:most]
