"""Making a fleet, and how it reckons."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet.access import Access, signed_in_person
from fleetcare.fleet.api import inputs
from fleetcare.fleet.services.fleets import change_fleet, create_fleet
from fleetcare.fleet.words import DistanceUnit, FleetKind, LimitScheme, Role
from fleetcare.kernel.money import Money
from fleetcare.portal.web.accounts import zones
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, text
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.typed import number, ungrouped

_KINDS = [
    (FleetKind.HOUSEHOLD.value, _("Household")),
    (FleetKind.CLUB.value, _("Club")),
    (FleetKind.WORKSHOP.value, _("Workshop")),
]
_UNITS = [(DistanceUnit.KM.value, _("Kilometres")), (DistanceUnit.MILES.value, _("Miles"))]
_LIMITS = [
    (LimitScheme.EU.value, _("European Union")),
    (LimitScheme.UK.value, _("United Kingdom")),
    (LimitScheme.US.value, _("United States")),
]


class SettingsForm(EntryForm):
    name = text(_("Name of the fleet"), maxlength=120, required=True)
    distance_unit = choice(_("Distances in"), _UNITS)
    time_zone = choice(_("Time zone"), zones)
    limit_scheme = choice(_("Limits of measurements as in"), _LIMITS)
    labour_per_hour = text(_("An hour of work counts as (empty: usual for this kind)"), inputmode="decimal")
    price_factor = text(_("What costs 1 EUR elsewhere costs here (empty: a rough figure)"), inputmode="decimal")

    def body(self, currency: str) -> dict[str, Any]:
        """As the API takes it."""
        body = self.said("name", "distance_unit", "time_zone", "limit_scheme")
        body["name"] = self.cleaned_data["name"]
        if self.cleaned_data["labour_per_hour"]:
            amount = ungrouped(self.cleaned_data["labour_per_hour"])
            body["labour_per_hour"] = {"amount": amount, "currency": currency}
        if self.cleaned_data["price_factor"]:
            body["price_factor"] = number(self.cleaned_data["price_factor"])
        return body


class NewFleetForm(SettingsForm):
    kind = choice(_("Kind"), _KINDS)
    currency = text(_("Currency (three letters, it stays)"), maxlength=3, required=True, autocapitalize="characters")
    field_order = ["name", "kind", "currency"]

    def body(self, currency: str) -> dict[str, Any]:
        """As the API takes it."""
        return {**super().body(currency), "currency": currency, "kind": self.cleaned_data["kind"]}


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def make(request: HttpRequest) -> HttpResponse:
    """A fleet of one's own."""
    user = signed_in_person(request.user)
    usual = {"currency": "EUR", "kind": FleetKind.HOUSEHOLD.value, "time_zone": user.time_zone}
    form = NewFleetForm(request.POST if request.method == "POST" else None, initial=usual)
    made: list[Access] = []
    if request.method == "POST" and form.is_valid():
        body = form.body(form.cleaned_data["currency"].upper())
        if done(form, lambda: made.append(create_fleet(user, **checked(inputs.FleetNew, body)))):
            messages.success(request, gettext("The fleet is there. Add its first vehicle."))
            return redirect("fleet", made[0].fleet.pk)
    context = {"form": form, "title": _("Make a fleet"), "button": _("Make the fleet")}
    return render(request, "portal/settings/form.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def settings(request: HttpRequest, access: Access) -> HttpResponse:
    """How the fleet reckons, and the ways to its members, contacts and keys."""
    fleet = access.fleet
    owner = access.role.includes(Role.OWNER)
    told = {name: getattr(fleet, name) for name in ("name", "distance_unit", "time_zone", "limit_scheme")}
    told["labour_per_hour"] = Money(fleet.labour_per_hour_minor, fleet.currency).as_json()["amount"]
    told["price_factor"] = f"{fleet.price_factor.normalize():f}"
    form = SettingsForm(request.POST if request.method == "POST" else None, initial=told)
    if request.method == "POST":
        access.require(Role.OWNER)
        body = form.body(fleet.currency) if form.is_valid() else {}
        if form.is_valid() and done(form, lambda: change_fleet(access, **checked(inputs.FleetChange, body, access))):
            messages.success(request, gettext("Kept."))
            return redirect("fleet-settings", fleet.pk)
    context = {"fleet": fleet, "form": form, "owner": owner}
    return render(request, "portal/settings/settings.html", context, status=422 if form.errors else 200)
