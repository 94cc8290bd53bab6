"""The pages: authorise, ask the selectors, render. Templates hold no rules and no arithmetic."""

import uuid

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access, fleet_access
from fleetcare.kernel.errors import NotFound
from fleetcare.portal.web import views_of
from inspections import selectors as inspection_selectors
from inspections.services.assessment import current_condition
from scheduling.services.backlog import current_backlog


def _access(request: HttpRequest, fleet_id: uuid.UUID) -> Access:
    try:
        return fleet_access(None, request.user, fleet_id)
    except NotFound as error:
        raise Http404 from error


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """The fleets one belongs to; straight on where there is one."""
    fleets = list(fleet_selectors.fleets_of(request.user))  # type: ignore[arg-type]
    if len(fleets) == 1:
        return redirect("fleet", fleet_id=fleets[0].pk)
    return render(request, "portal/home.html", {"fleets": fleets})


@login_required
def fleet(request: HttpRequest, fleet_id: uuid.UUID) -> HttpResponse:
    """Every vehicle with where it stands; what must not be driven comes first."""
    access = _access(request, fleet_id)
    rows = fleet_selectors.vehicles(access, archived=False).order_by("-standing__do_not_drive", "sort_score", "name")
    context = {"fleet": access.fleet, "vehicles": [views_of.vehicle_row(access, row) for row in rows]}
    return render(request, "portal/fleet.html", context)


@login_required
def vehicle(request: HttpRequest, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> HttpResponse:
    """One vehicle: the verdict, what it rests on, what is wrong, what to do first."""
    access = _access(request, fleet_id)
    try:
        found = fleet_selectors.vehicle_of(access, vehicle_id)
    except NotFound as error:
        raise Http404 from error
    context = {
        "fleet": access.fleet,
        "vehicle": views_of.vehicle_row(access, found),
        "condition": views_of.condition(current_condition(access, found)),
        "findings": [views_of.finding(row) for row in inspection_selectors.open_findings(access, found)],
        "backlog": views_of.backlog(current_backlog(access, found)),
        "inspections": inspection_selectors.inspections(found).order_by("-inspected_on")[:10],
    }
    return render(request, "portal/vehicle.html", context)
