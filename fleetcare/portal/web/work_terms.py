"""Who does what in this fleet, with which tools, and what an hour counts for."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Doer, Raising, Role
from fleetcare.kernel.money import Money
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, text, tick
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.tools import tool_groups
from fleetcare.portal.web.typed import number, ungrouped
from fleetcare.support.versions import etag, require_match
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import tool_words
from scheduling.api.price_inputs import WorkTermsIn
from scheduling.services import prices as services

if TYPE_CHECKING:
    from fleetcare.fleet.models import WorkTerms

_HOURS = ("own_hour", "workshop_hour")


class TermsForm(EntryForm):
    """Who does what; the tools stand beside it as boxes to tick."""

    done_by = choice(
        _("What can be done here is done by"),
        [(Doer.OWN.value, _("own hands")), (Doer.WORKSHOP.value, _("a workshop"))],
    )
    own_hour = text(_("An hour of your own counts as (empty: the fleet’s labour rate)"), inputmode="decimal")
    workshop_hour = text(_("A workshop’s hour costs (empty: what is usual)"), inputmode="decimal")
    hardest_own = choice(
        _("The hardest work you do yourselves"),
        [
            ("0", _("none at all")),
            ("1", _("a first job")),
            ("2", _("easy with common tools")),
            ("3", _("what needs practice")),
            ("4", _("hard work")),
            ("5", _("whatever a workshop does")),
        ],
    )
    licensed_here = tick(_("Somebody here is licensed for restricted work (high voltage, airbags, refrigerant)"))
    raising = choice(
        _("To get a vehicle off the ground and keep it there"),
        [
            (Raising.NONE.value, _("nothing safe: a jack alone does not count")),
            (Raising.STANDS.value, _("a jack and axle stands")),
            (Raising.LIFT.value, _("a lift")),
        ],
    )
    version = forms.CharField(required=False, widget=forms.HiddenInput)

    def body(self, currency: str, here: set[str]) -> dict[str, Any]:
        """As the API takes it."""
        said = self.cleaned_data
        body: dict[str, Any] = {name: said[name] for name in ("done_by", "licensed_here", "raising")}
        body["hardest_own"] = number(said["hardest_own"])
        for name in _HOURS:
            if said[name]:
                body[name] = {"amount": ungrouped(said[name]), "currency": currency}
        return {**body, **_tools_said(here)}


def _tools_said(here: set[str]) -> dict[str, Any]:
    """Few missing: those are named, and a tool that the catalogue learns later counts as here. Else the list of all."""
    known = tool_words(default_catalogue())
    lacking = sorted(known - here)
    if len(lacking) <= len(known) // 2:
        return {"tools": None, "tools_lacking": lacking}
    return {"tools": sorted(here & known)}


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def work_terms(request: HttpRequest, access: Access) -> HttpResponse:
    """Read by everybody, said by planners. Two buttons tick or untick all tools and store nothing."""
    row, fleet = services.work_terms(access), access.fleet
    here = set(request.POST.getlist("tool")) if request.method == "POST" else _here(row)
    form = TermsForm(request.POST if request.method == "POST" else None, initial=_said(row, access))
    ticking = request.POST.get("tick", "")
    if ticking:
        here = set(tool_words(default_catalogue())) if ticking == "all" else set()
    elif request.method == "POST" and form.is_valid() and done(form, lambda: _keep(access, row, form, here)):
        messages.success(request, gettext("Kept. Backlogs follow."))
        return redirect("work-terms", fleet.pk)
    terms, figures = services.prices_here(access).terms, Figures.of(fleet)
    context = {
        "fleet": fleet,
        "form": form,
        "groups": tool_groups(figures, here),
        "open_tools": bool(ticking),
        "currency": fleet.currency,
        "own_hour": figures.money(round(terms.own_minor_per_hour)),
        "workshop_hour": figures.money(round(terms.workshop_minor_per_hour)),
        "labour_rate": figures.money(fleet.labour_per_hour_minor),
        "may_plan": access.role.includes(Role.PLANNER),
        "owner": access.role.includes(Role.OWNER),
    }
    return render(request, "portal/settings/work_terms.html", context, status=422 if form.errors else 200)


def _keep(access: Access, row: "WorkTerms", form: TermsForm, here: set[str]) -> None:
    access.require(Role.PLANNER)
    require_match(form.cleaned_data["version"] or None, row.version)
    said = checked(WorkTermsIn, form.body(access.fleet.currency, here), access)
    for name in _HOURS:
        said[f"{name}_minor"] = said.pop(name, None)
    services.set_terms(access, row, **said)


def _here(row: "WorkTerms") -> set[str]:
    there = tool_words(default_catalogue()) if row.tools is None else row.tools
    return set(there) - set(row.tools_lacking)


def _said(row: "WorkTerms", access: Access) -> dict[str, Any]:
    amounts = {name: getattr(row, f"{name}_minor") for name in _HOURS}
    told: dict[str, Any] = {
        name: Money(minor, access.fleet.currency).as_json()["amount"]
        for name, minor in amounts.items()
        if minor is not None
    }
    words = {name: getattr(row, name) for name in ("done_by", "licensed_here", "raising")}
    return {**told, **words, "hardest_own": str(row.hardest_own), "version": etag(row.version)}
