"""One part: everything the figures about it rest on."""

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.portal.reports.wear import wear_shown
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.explained import explained
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.fitted import parts_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from inspections import selectors
from inspections.services.forecast import explanation


@require_http_methods(["GET", "HEAD"])
@fleet_page
def fitted(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Every part on record with those before it, by system."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    figures = Figures.of(access.fleet)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, today(access.fleet)),
        "parts": parts_shown(figures, selectors.fitted_parts(vehicle)),
    }
    return render(request, "portal/vehicle/parts.html", context)


@require_http_methods(["GET"])
@fleet_page
def part(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, part_key: str) -> HttpResponse:
    """Looks, life, clock, costs and forecast of one part at one place."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    figures = Figures.of(access.fleet)
    document = explanation(access, vehicle, part_key, request.GET.get("position", ""))
    wear = []
    if document["measured"] is not None:
        fitted = {
            (row.part_key, row.position): row.fitted_on
            for row in selectors.fitted_parts(vehicle)
            if row.removed_on is None
        }
        forecast = {"usage": document["usage"], "items": [document]}
        wear = wear_shown(figures, forecast, selectors.measured_values(vehicle), fitted)
    told = explained(figures, document)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, today(access.fleet)),
        "part": told,
        "wear": wear,
        "groups": (
            (_("What is to be expected"), told.expected),
            (_("How long such a part lasts"), told.life),
            (_("Its clock: distance and age counted together"), told.clock),
            (_("How the vehicle is used"), told.usage),
            (_("What it costs"), told.costs),
        ),
    }
    return render(request, "portal/desk/part.html", context)
