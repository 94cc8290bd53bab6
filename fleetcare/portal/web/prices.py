"""What each job of the catalogue costs in this fleet: found, said, and taken back."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Doer, Role
from fleetcare.kernel.money import Money
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, text, words_of
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.prices import price_shown, prices_shown, sources_shown
from fleetcare.portal.web.typed import number, ungrouped
from fleetcare.support.versions import etag, require_match
from scheduling.api.price_inputs import JobPriceIn
from scheduling.services import prices as services

if TYPE_CHECKING:
    from fleetcare.fleet.models import JobPrice
    from inspections.catalogue.catalogue import PartJob
    from inspections.catalogue.prices import PriceBook

JOBS_A_PAGE = 40
MOST_SEARCH_CHARACTERS = 100
OWN, LEARNED = "own", "learned"
_BOUNDS = ("low", "typical", "high")


class PriceForm(EntryForm):
    """What the fleet says of a job; what is left empty, the catalogue says."""

    typical = text(_("Parts, usually"), inputmode="decimal", maxlength=16)
    low = text(_("Parts, at least"), inputmode="decimal", maxlength=16)
    high = text(_("Parts, at most"), inputmode="decimal", maxlength=16)
    hours = text(_("Hours of the job itself, without taking off wheels and the like"), inputmode="decimal", maxlength=8)
    done_by = choice(
        _("Who does it"),
        [("", _("as the work terms say")), (Doer.OWN.value, _("own hands")), (Doer.WORKSHOP.value, _("a workshop"))],
    )
    note = words_of(_("Note"), 500)
    version = forms.CharField(required=False, widget=forms.HiddenInput)

    def body(self, currency: str) -> dict[str, Any]:
        """As the API takes it: empty fields are left to the catalogue."""
        said = self.cleaned_data
        body: dict[str, Any] = {"note": said["note"], "done_by": said["done_by"] or None}
        parts = {name: {"amount": ungrouped(said[name]), "currency": currency} for name in _BOUNDS if said[name]}
        if parts:
            body["parts"] = parts
        if said["hours"]:
            body["hours"] = number(said["hours"])
        return body


@require_http_methods(["GET", "HEAD"])
@fleet_page
def prices(request: HttpRequest, access: Access) -> HttpResponse:
    """Every job of the catalogue with what it is reckoned to take here; searched, by system, the own ones alone."""
    book, figures = services.prices_here(access), Figures.of(access.fleet)
    query = request.GET.get("q", "").replace("\0", "").strip()[:MOST_SEARCH_CHARACTERS]
    system, only = request.GET.get("system", ""), request.GET.get("only", "")
    page = Paginator(_found(book, query, system, only), JOBS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "fleet": access.fleet,
        "jobs": prices_shown(figures, book, page.object_list),
        "page": page,
        "query": query,
        "systems": [(each.key, each.title, each.key == system) for each in words.catalogue().systems.values()],
        "system": system,
        "shows": [
            ("", _("all jobs"), only not in {OWN, LEARNED}),
            (OWN, _("with your own figures"), only == OWN),
            (LEARNED, _("sharpened by closed jobs"), only == LEARNED),
        ],
        "only": only,
        "own_count": len(book.own),
        "own_hour": figures.money(round(book.terms.own_minor_per_hour)),
        "workshop_hour": figures.money(round(book.terms.workshop_minor_per_hour)),
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/settings/prices.html", context)


def _found(book: "PriceBook", query: str, system: str, only: str) -> "list[PartJob]":
    """Jobs whose title, part or tool holds every word asked for."""
    catalogue, asked = words.catalogue(), query.casefold().split()
    kept = {OWN: book.own, LEARNED: book.taken}.get(only)
    return [
        entry
        for entry in catalogue.jobs.values()
        if (kept is None or entry.key in kept)
        and (system not in catalogue.systems or catalogue.system_of_part[entry.part.key] == system)
        and all(word in f"{entry.job.title} {entry.part.title}".casefold() for word in asked)
    ]


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def price(request: HttpRequest, access: Access, job_key: str) -> HttpResponse:
    """One job: the catalogue's figure, what closed jobs took, and the fleet's own word."""
    row = services.job_price(access, job_key)
    form = PriceForm(request.POST if request.method == "POST" else None, initial=_said(row, access))
    if request.method == "POST" and form.is_valid() and done(form, lambda: _keep(request, access, row, form)):
        dropped = "drop" in request.POST
        told = gettext("The catalogue’s figures hold again.") if dropped else gettext("Kept. Backlogs follow.")
        messages.success(request, told)
        return redirect("price", access.fleet.pk, job_key)
    book, figures = services.prices_here(access), Figures.of(access.fleet)
    entry = words.catalogue().jobs[services.known_job(job_key).key]
    context = {
        "fleet": access.fleet,
        "job": price_shown(figures, book, entry),
        "sources": sources_shown(figures, book, entry),
        "tools": entry.job.tools,
        "note": row.note,
        "form": form,
        "own": row.version > 0,
        "currency": access.fleet.currency,
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/settings/price.html", context, status=422 if form.errors else 200)


def _keep(request: HttpRequest, access: Access, row: "JobPrice", form: PriceForm) -> None:
    access.require(Role.PLANNER)
    require_match(form.cleaned_data["version"] or None, row.version)
    if "drop" in request.POST:
        services.drop_price(access, row)
        return
    said = checked(JobPriceIn, form.body(access.fleet.currency), access)
    parts = said.pop("parts", None) or {}
    said |= {f"parts_{name}_minor": value for name, value in parts.items()}
    services.set_price(access, row, **{**said, "done_by": said["done_by"] or ""})


def _said(row: "JobPrice", access: Access) -> dict[str, Any]:
    """What the fleet said so far, as it is typed."""
    amounts = {name: getattr(row, f"parts_{name}_minor") for name in _BOUNDS}
    told = {
        name: Money(minor, access.fleet.currency).as_json()["amount"]
        for name, minor in amounts.items()
        if minor is not None
    }
    hours = "" if row.hours is None else f"{row.hours.normalize():f}"
    return {**told, "hours": hours, "done_by": row.done_by, "note": row.note, "version": etag(row.version)}
