"""How far a vehicle went and what it burnt: listed, and mistyped figures corrected or taken back."""

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.api import inputs
from fleetcare.fleet.clock import today
from fleetcare.fleet.services.fuel import delete_fuel
from fleetcare.fleet.services.odometer import correct_reading, delete_reading
from fleetcare.fleet.words import Role
from fleetcare.kernel.units import from_km
from fleetcare.portal.record.charts import charts_of
from fleetcare.portal.record.series import series
from fleetcare.portal.web.entries import EntryForm, checked, done, id_of, text
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.road import fills_shown, readings_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from fleetcare.portal.web.typed import distance

if TYPE_CHECKING:
    from fleetcare.fleet.models import OdometerReading, Vehicle

ROWS_SHOWN = 200


class ReadingForm(EntryForm):
    odometer = text("", inputmode="decimal", required=True)
    read_on = text(_("On"), kind="date", required=True)

    def __init__(self, unit: str, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.unit = unit
        self.fields["odometer"].label = _("The odometer showed, in %(unit)s") % {"unit": unit}

    def body(self) -> dict[str, Any]:
        """As the API takes it."""
        said = self.cleaned_data
        return {"odometer": {"value": distance(said["odometer"]), "unit": self.unit}, "read_on": said["read_on"]}


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def road(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Readings and fills, the latest first; a planner takes one back."""
    vehicle = selectors.vehicle_of(access, vehicle_id)
    if request.method == "POST":
        return _taken_back(request, access, vehicle)
    figures, on = Figures.of(access.fleet), today(access.fleet)
    readings = selectors.readings(vehicle).order_by("-read_on", "-total_km", "-id")[:ROWS_SHOWN]
    fills = selectors.fuel_fills(vehicle).order_by("-filled_on", "-id")[:ROWS_SHOWN]
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, on),
        "readings": readings_shown(figures, readings),
        "fills": fills_shown(figures, fills),
        "charts": [chart for chart in charts_of(figures, series(vehicle), on) if chart.key == "fuel"],
        "may_inspect": access.role.includes(Role.INSPECTOR),
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/vehicle/road.html", context)


def _taken_back(request: HttpRequest, access: Access, vehicle: "Vehicle") -> HttpResponse:
    act, key = request.POST.get("act", ""), id_of(request.POST.get("row", ""))
    if act == "reading":
        delete_reading(access, vehicle, selectors.readings(vehicle).one(pk=key))
        messages.success(request, gettext("The reading is taken back."))
    elif act == "fill":
        delete_fuel(access, vehicle, selectors.fuel_fills(vehicle).one(pk=key))
        messages.success(request, gettext("The fill is taken back."))
    else:
        raise Http404
    return redirect("road", access.fleet.pk, vehicle.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def reading(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, reading_id: uuid.UUID) -> HttpResponse:
    """One reading, corrected."""
    access.require(Role.PLANNER)
    vehicle = selectors.vehicle_of(access, vehicle_id)
    found, unit = selectors.readings(vehicle).one(pk=reading_id), access.fleet.distance_unit
    told = {"odometer": f"{from_km(found.shown_km, unit).normalize():f}", "read_on": found.read_on.isoformat()}
    form = ReadingForm(unit, request.POST if request.method == "POST" else None, initial=told)
    if request.method == "POST" and form.is_valid() and done(form, lambda: _correct(access, vehicle, found, form)):
        messages.success(request, gettext("The reading is corrected."))
        return redirect("road", access.fleet.pk, vehicle.pk)
    context = {"fleet": access.fleet, "vehicle": vehicle, "form": form, "reading": found}
    return render(request, "portal/vehicle/reading.html", context, status=422 if form.errors else 200)


def _correct(access: Access, vehicle: "Vehicle", reading: "OdometerReading", form: ReadingForm) -> None:
    values = checked(inputs.OdometerNew, form.body(), access)
    correct_reading(
        access,
        vehicle,
        reading,
        read_on=values["read_on"],
        shown_km=values["shown_km"],
        pointer=values["odometer_pointer"],
    )
