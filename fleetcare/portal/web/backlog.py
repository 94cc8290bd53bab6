"""A vehicle's list of jobs on a page of its own: the jobs, what goes together, and what moved since because of what."""

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.backlog import backlog_shown
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.moved import steps_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from scheduling.services.backlog import current_backlog
from scheduling.services.backlog_changes import backlog_changes
from scheduling.services.jobs import with_jobs


@require_http_methods(["GET", "HEAD"])
@fleet_page
def backlog(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Everything that is known of what to do on a vehicle."""
    vehicle, figures, on = selectors.vehicle_of(access, vehicle_id), Figures.of(access.fleet), today(access.fleet)
    changes = backlog_changes(access, vehicle)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, on),
        "backlog": backlog_shown(figures, with_jobs(access, current_backlog(access, vehicle)), on),
        "steps": steps_shown(figures, changes),
        "since": figures.day(changes["since"]),
        "may_inspect": access.role.includes(Role.INSPECTOR),
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/desk/backlog.html", context)
