"""Estimates at the desk: drafted from the list of jobs, changed, looked at, sent, followed and taken back."""

import uuid
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST
from rest_framework.exceptions import ValidationError

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import DomainError, Fault
from fleetcare.portal.web.entries import checked
from fleetcare.portal.web.estimate_form import NEW, DraftBody, chosen_body, draft_body
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.drafts import Typed, rows_shown, state_word
from fleetcare.portal.web.presenters.estimates import estimate_shown
from fleetcare.portal.web.presenters.figures import Day, Figures
from fleetcare.portal.web.presenters.offers import Offer, offers_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from fleetcare.support.problems import faults_of
from scheduling import selectors
from scheduling.api.estimate_inputs import EstimateIn, SendIn
from scheduling.api.estimates import draft_of
from scheduling.core.job_states import LIVE
from scheduling.services import estimates as services
from scheduling.services.backlog import current_backlog
from scheduling.services.jobs import with_jobs
from scheduling.words import EstimateState

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle
    from scheduling.models import Estimate

ESTIMATES_A_PAGE = 50
MOST_CONTACTS = 500


@require_http_methods(["GET", "HEAD"])
@fleet_page
def estimates(request: HttpRequest, access: Access) -> HttpResponse:
    """Every estimate, the newest first."""
    rows = selectors.estimates(access).order_by("-created_at", "-id")
    page = Paginator(rows, ESTIMATES_A_PAGE).get_page(request.GET.get("page"))
    figures = Figures.of(access.fleet)
    context = {
        "fleet": access.fleet,
        "estimates": rows_shown(figures, access.fleet, page.object_list),
        "page": page,
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/estimate/list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def new(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Choose what it is about; the draft can be changed before anybody sees it."""
    access.require(Role.PLANNER)
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    offers, faults = _offers(request, access, vehicle), {}
    if request.method == "POST":
        reasons = {offer.value: offer.why for offer in offers}
        made = DraftBody(chosen_body(request.POST, reasons))
        kept: list[Estimate] = []

        def act(values: dict[str, Any]) -> None:
            kept.append(services.draft_estimate(access, vehicle, draft_of(values)))

        faults = _refused(made, act, access)
        if not faults:
            return redirect("estimate-desk", access.fleet.pk, kept[0].pk)
    typed = Typed(access.fleet.currency, request.POST, faults)
    context = {
        **_head(access, typed, None),
        "vehicle": vehicle_shown(Figures.of(access.fleet), vehicle, today(access.fleet)),
        "offers": [offer for offer in offers if not offer.can_wait],
        "can_wait": [offer for offer in offers if offer.can_wait],
        "faults": list(faults.values()),
    }
    return render(request, "portal/estimate/new.html", context, status=422 if faults else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def desk(request: HttpRequest, access: Access, estimate_id: uuid.UUID) -> HttpResponse:
    """One estimate: a draft as the form that changes it, a sent one with the state of each line."""
    estimate = selectors.estimates(access).one(pk=estimate_id)
    if request.method != "POST":
        return _desk(request, access, estimate)
    access.require(Role.PLANNER)
    made = draft_body(request.POST, estimate, access.fleet.currency)
    faults = _refused(made, lambda values: services.change_estimate(access, estimate, draft_of(values)), access)
    if faults:
        return _desk(request, access, selectors.estimates(access).one(pk=estimate_id), faults)
    messages.success(request, _("Kept."))
    return redirect("estimate-preview" if "preview" in request.POST else "estimate-desk", access.fleet.pk, estimate.pk)


@require_http_methods(["GET", "HEAD"])
@fleet_page
def preview(request: HttpRequest, access: Access, estimate_id: uuid.UUID) -> HttpResponse:
    """As the customer reads it, on the screen and on paper; nothing can be answered here."""
    estimate = selectors.estimates(access).one(pk=estimate_id)
    context = {"fleet": access.fleet, "estimate": estimate_shown(access.fleet, estimate), "preview": True}
    context["desk"] = estimate.pk
    return render(request, "portal/estimate/preview.html", context)


@require_POST
@fleet_page
def send(request: HttpRequest, access: Access, estimate_id: uuid.UUID) -> HttpResponse:
    """Makes the private link, mails it where that is asked, and shows it this once."""
    estimate = selectors.estimates(access).one(pk=estimate_id)
    said = {"valid_until": request.POST["valid_until"]} if request.POST.get("valid_until") else {}
    try:
        values = checked(SendIn, said, access)
        _sent, token = services.send_estimate(access, estimate, **values)
    except ValidationError as error:
        return _desk(request, access, estimate, {"valid_until": words.told(next(iter(faults_of(error.detail))).detail)})
    except DomainError as error:
        if error.status in {403, 404}:
            raise
        return _desk(request, access, estimate, {"valid_until": words.told(_details(error)[0].detail)})
    path = reverse("estimate", args=[token])
    mailed, fault = "", ""
    if request.POST.get("mail") == "on":
        try:
            mailed = services.mail_estimate(access, estimate, settings.SITE_URL + path)
        except DomainError as error:
            fault = words.told(_details(error)[0].detail)
    stored = selectors.estimates(access).one(pk=estimate_id)
    return _desk(request, access, stored, link=request.build_absolute_uri(path), mailed=mailed, mail_fault=fault)


@require_POST
@fleet_page
def end(request: HttpRequest, access: Access, estimate_id: uuid.UUID) -> HttpResponse:
    """Throws a draft away, or takes back the link of one that was sent."""
    estimate = selectors.estimates(access).one(pk=estimate_id)
    if estimate.state == EstimateState.DRAFT:
        services.drop_estimate(access, estimate)
        messages.success(request, _("The draft is thrown away."))
        return redirect("estimates", access.fleet.pk)
    services.withdraw_estimate(access, estimate)
    messages.success(request, _("The link opens nothing from now on."))
    return redirect("estimate-desk", access.fleet.pk, estimate.pk)


def _offers(request: HttpRequest, access: Access, vehicle: "Vehicle") -> list[Offer]:
    document = with_jobs(access, current_backlog(access, vehicle))
    live = selectors.jobs(vehicle).filter(state__in=[state.value for state in LIVE]).order_by("created_at", "id")
    chosen, others = set(request.POST.getlist("line")), set(request.POST.getlist("also"))
    return offers_shown(Figures.of(access.fleet), document, live, chosen, others)


def _refused(made: DraftBody, act: Any, access: Access) -> dict[str, str]:
    """What the API has against a body, by field of the form; empty where the act went through."""
    try:
        act(checked(EstimateIn, made.body, access))
    except ValidationError as error:
        return made.faults_at(faults_of(error.detail))
    except DomainError as error:
        if error.status in {403, 404}:
            raise
        return made.faults_at(_details(error))
    return {}


def _details(error: DomainError) -> list[Fault]:
    return list(error.faults) or [Fault("", error.code, error.detail)]


def _head(access: Access, typed: Typed, estimate: "Estimate | None") -> dict[str, Any]:
    """Whom it is for: the fields that a new estimate and a draft share."""
    contacts = fleet_selectors.contacts(access).prefetch_related(None).order_by("name", "id")[:MOST_CONTACTS]
    stored = str(estimate.contact_id or "") if estimate else ""
    tax = f"{estimate.tax_percent.normalize():f}" if estimate and estimate.tax_percent is not None else ""
    contact = typed.field("contact", stored)
    return {
        "fleet": access.fleet,
        "currency": access.fleet.currency,
        "customer": typed.field("customer", estimate.customer if estimate else ""),
        "contact": contact,
        "contacts": [(str(row.pk), row.name, row.email, str(row.pk) == contact.value) for row in contacts],
        "note": typed.field("note", estimate.note if estimate else ""),
        "tax_percent": typed.field("tax_percent", tax),
    }


def _desk(
    request: HttpRequest, access: Access, estimate: "Estimate", faults: dict[str, str] | None = None, **told: Any
) -> HttpResponse:
    if access.role.includes(Role.PLANNER) and estimate.state == EstimateState.DRAFT:
        page, context = "portal/estimate/draft.html", _draft(request, access, estimate, faults or {})
    else:
        page, context = "portal/estimate/sent.html", {"shown": estimate_shown(access.fleet, estimate)}
    context |= {
        "fleet": access.fleet,
        "estimate": estimate,
        "state": state_word(estimate),
        "state_key": services.state_of(estimate),
        "may_plan": access.role.includes(Role.PLANNER),
        "today": today(access.fleet).isoformat(),
        "mailed_on": _day(access, estimate.mailed_at),
        "send_fault": (faults or {}).get("valid_until", ""),
        **told,
    }
    return render(request, page, context, status=422 if faults else 200)


def _day(access: Access, at: datetime | None) -> Day | None:
    """The day of an instant where the fleet is."""
    return Figures.of(access.fleet).day(at.astimezone(ZoneInfo(access.fleet.time_zone)).date()) if at else None


def _draft(request: HttpRequest, access: Access, estimate: "Estimate", faults: dict[str, str]) -> dict[str, Any]:
    form = {} if "valid_until" in faults else request.POST
    typed = Typed(access.fleet.currency, form, faults)
    on_it = {str(option.job_id) for line in estimate.lines.all() for option in line.options.all() if option.job_id}
    named = {(option.job_key, *option.positions) for line in estimate.lines.all() for option in line.options.all()}
    offers = [
        offer
        for offer in _offers(request, access, estimate.vehicle)
        if offer.value.split(" ")[-1] not in on_it and tuple(offer.value.split(" ")) not in named
    ]
    return {
        **_head(access, typed, estimate),
        "lines": [typed.line(line) for line in estimate.lines.all()],
        "added": typed.way(NEW),
        "added_explanation": typed.field(f"explanation-{NEW}"),
        "offers": offers,
        "add": typed.field("add"),
        "fault": faults.get("", ""),
        "faulty": bool(faults) and "valid_until" not in faults,
    }
