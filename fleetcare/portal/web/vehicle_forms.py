"""Adding a vehicle and correcting what was said of one."""

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.forms import CharField, HiddenInput
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.api import inputs
from fleetcare.fleet.services.vehicles import add_vehicle, change_vehicle
from fleetcare.fleet.words import Role
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, text, tick, words_of
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.support.versions import etag, require_match

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle

_WORDS = ("name", "plate", "vin", "make", "model", "first_used_on", "note")


class VehicleForm(EntryForm):
    """What is said of a vehicle, and its traits as the catalogue names them."""

    name = text(_("Name"), maxlength=80, required=True)
    plate = text(_("Plate"), maxlength=20, autocapitalize="characters")
    vin = text(_("VIN"), maxlength=25, autocapitalize="characters", spellcheck="false")
    make = text(_("Make"), maxlength=60)
    model = text(_("Model"), maxlength=60)
    model_year = text(_("Model year"), inputmode="numeric", maxlength=4)
    first_used_on = text(_("First used on"), kind="date", required=True)
    note = words_of(_("Note"), 4000)
    version = CharField(required=False, widget=HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.places = {}
        for trait in words.catalogue().traits.values():
            usual = next(value.title for value in trait.values if value.key == trait.default)
            values = [("", gettext("not said (usually: %(value)s)") % {"value": usual})]
            values += [(value.key, value.title) for value in trait.values]
            self.fields[f"trait-{trait.key}"] = choice(trait.title, values)
            self.places[f"/traits/{trait.key}"] = f"trait-{trait.key}"

    def body(self) -> dict[str, Any]:
        """As the API takes it; what was emptied is said to be empty."""
        said = self.cleaned_data
        traits = {
            name.removeprefix("trait-"): said[name]
            for name in self.fields
            if name.startswith("trait-") and said.get(name)
        }
        year = said["model_year"]
        return {**{name: said[name] for name in _WORDS}, "model_year": year or None, "traits": traits}


class ChangedVehicleForm(VehicleForm):
    archived = tick(_("Gone: sold or scrapped; its record is kept"))


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def add(request: HttpRequest, access: Access) -> HttpResponse:
    """A new vehicle."""
    access.require(Role.PLANNER)
    form = VehicleForm(request.POST if request.method == "POST" else None)
    kept: list[Vehicle] = []

    def act() -> None:
        kept.append(add_vehicle(access, **checked(inputs.VehicleNew, form.body(), access)))

    if request.method == "POST" and form.is_valid() and done(form, act):
        messages.success(request, gettext("The vehicle is there. Say what its odometer shows, then look it over."))
        return redirect("vehicle", access.fleet.pk, kept[0].pk)
    context = {"fleet": access.fleet, "form": form, "title": _("Add a vehicle"), "button": _("Add the vehicle")}
    return render(request, "portal/settings/form.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def change(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """What is said of a vehicle, corrected. Refused where somebody else corrected it meanwhile."""
    access.require(Role.PLANNER)
    vehicle = selectors.vehicle_of(access, vehicle_id)
    form = ChangedVehicleForm(request.POST if request.method == "POST" else None, initial=_said(vehicle))
    if request.method == "POST" and form.is_valid():

        def act() -> None:
            require_match(form.cleaned_data["version"] or None, vehicle.version)
            body = {**form.body(), "archived": form.cleaned_data["archived"]}
            change_vehicle(access, vehicle, **checked(inputs.VehicleIn, body, access))

        if done(form, act):
            messages.success(request, gettext("Kept."))
            return redirect("vehicle", access.fleet.pk, vehicle.pk)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle,
        "form": form,
        "title": _("Change the vehicle"),
        "button": _("Keep"),
    }
    return render(request, "portal/settings/form.html", context, status=422 if form.errors else 200)


def _said(vehicle: "Vehicle") -> dict[str, Any]:
    told = {name: getattr(vehicle, name) for name in (*_WORDS, "model_year", "archived")}
    told |= {f"trait-{name}": value for name, value in vehicle.traits.items()}
    return {**told, "first_used_on": vehicle.first_used_on.isoformat(), "version": etag(vehicle.version)}
