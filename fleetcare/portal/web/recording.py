"""Quick entry beside the vehicle: what the odometer shows, and a fill of fuel."""

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
from fleetcare.fleet.clock import today
from fleetcare.fleet.services.fuel import record_fuel
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from fleetcare.kernel.ids import new_id
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, text, tick
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.typed import distance, number, ungrouped

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle


_VOLUMES = {"gal_us": _("gallons (US)"), "gal_imperial": _("gallons (imperial)")}


class OdometerForm(EntryForm):
    odometer = text(_("The odometer shows"), inputmode="decimal", required=True)
    read_on = text(_("On"), kind="date", required=True)
    replacement = tick(_("It is a new odometer; the distance so far goes on"))

    def body(self, unit: str) -> dict[str, Any]:
        """As the API takes it."""
        said = self.cleaned_data
        value = {"value": distance(said["odometer"]), "unit": unit}
        return {"odometer": value, "read_on": said["read_on"], "replacement": said["replacement"]}


class FuelForm(EntryForm):
    volume = text(_("Filled"), inputmode="decimal", required=True)
    unit = choice(_("Unit"), [(unit, _VOLUMES.get(unit, unit)) for unit in inputs.VOLUME_UNITS], initial="L")
    filled_on = text(_("On"), kind="date", required=True)
    odometer = text(_("The odometer shows"), inputmode="decimal")
    price = text(_("Paid in all"), inputmode="decimal")
    full = tick(_("Filled to the top"))
    missed_before = tick(_("A fill before this one was not written down"))
    note = text(_("Note"), maxlength=2000)
    id = CharField(required=False, widget=HiddenInput)
    places = {"/litres": "volume"}

    def body(self, unit: str, currency: str) -> dict[str, Any]:
        """As the API takes it; the form's own id makes sending it twice the same fill."""
        said = self.cleaned_data
        body = {
            **self.said("filled_on", "note", "id"),
            "volume": {"value": number(said["volume"]), "unit": said["unit"]},
            "full": said["full"],
            "missed_before": said["missed_before"],
        }
        if said["odometer"]:
            body["odometer"] = {"value": distance(said["odometer"]), "unit": unit}
        if said["price"]:
            body["price"] = {"amount": ungrouped(said["price"]), "currency": currency}
        return body


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def record(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """An odometer reading or a fill of fuel."""
    access.require(Role.INSPECTOR)
    vehicle = selectors.vehicle_of(access, vehicle_id)
    what = request.POST.get("what") if request.method == "POST" else None
    day = today(access.fleet).isoformat()
    odometer = OdometerForm(
        request.POST if what == "odometer" else None, auto_id="odometer_%s", initial={"read_on": day}
    )
    fuel = FuelForm(
        request.POST if what == "fuel" else None, auto_id="fuel_%s", initial={"filled_on": day, "id": new_id()}
    )
    if what == "odometer" and odometer.is_valid() and done(odometer, lambda: _odometer(access, vehicle, odometer)):
        messages.success(request, gettext("The reading is recorded."))
        return redirect("vehicle", access.fleet.pk, vehicle.pk)
    if what == "fuel" and fuel.is_valid() and done(fuel, lambda: _fuel(access, vehicle, fuel)):
        messages.success(request, gettext("The fill is recorded."))
        return redirect("vehicle", access.fleet.pk, vehicle.pk)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle,
        "odometer": odometer,
        "fuel": fuel,
        "burns": vehicle.traits.get("fuel") != "electric",
        "unit": access.fleet.distance_unit,
        "currency": access.fleet.currency,
    }
    refused = what is not None and (odometer.errors or fuel.errors)
    return render(request, "portal/settings/record.html", context, status=422 if refused else 200)


def _odometer(access: Access, vehicle: "Vehicle", form: OdometerForm) -> None:
    values = checked(inputs.OdometerNew, form.body(access.fleet.distance_unit), access)
    record_odometer(
        access,
        vehicle,
        read_on=values["read_on"],
        shown_km=values["shown_km"],
        replacement=values["replacement"],
        pointer=values["odometer_pointer"],
    )


def _fuel(access: Access, vehicle: "Vehicle", form: FuelForm) -> None:
    values = checked(inputs.FuelFillNew, form.body(access.fleet.distance_unit, access.fleet.currency), access)
    record_fuel(
        access,
        vehicle,
        filled_on=values["filled_on"],
        litres=values["litres"],
        full=values["full"],
        missed_before=values["missed_before"],
        shown_km=values.get("shown_km"),
        price_minor=values.get("price"),
        note=values.get("note", ""),
        key=values.get("id"),
        litres_pointer=values["litres_pointer"],
        odometer_pointer=values.get("odometer_pointer", "/odometer_km"),
    )
