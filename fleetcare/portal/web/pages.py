"""The pages: authorise, ask the selectors, render. Templates hold no rules and no arithmetic."""

import uuid
from datetime import date
from typing import TYPE_CHECKING, Any

from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import BooleanField, Count, ExpressionWrapper, F, Q, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.portal.record.charts import charts_of
from fleetcare.portal.record.series import series
from fleetcare.portal.record.timeline import Kind, entries
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.backlog import backlog_shown
from fleetcare.portal.web.presenters.condition import condition_shown
from fleetcare.portal.web.presenters.due import next_due
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.fitted import renewed_last
from fleetcare.portal.web.presenters.fleets import fleet_shown, fleet_summary
from fleetcare.portal.web.presenters.inspections import findings_shown, inspection_shown, results_shown
from fleetcare.portal.web.presenters.know_how import notes_shown
from fleetcare.portal.web.presenters.timeline import timeline_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from inspections import selectors as inspection_selectors
from inspections.services.assessment import current_condition
from scheduling import selectors as scheduling_selectors
from scheduling.services.backlog import current_backlog
from scheduling.services.jobs import with_jobs
from scheduling.services.know_how import model_key_of

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle
    from scheduling.models import DueItem

VEHICLES_A_PAGE = 50
NEXT_DUE = 8
FINDINGS_SHOWN, FINDINGS_LISTED = 12, 60
"""So many findings are spread out, and so many are on the page at all; the report has every one."""
JOBS_SHOWN = 8
ENTRIES_SHOWN = 8
PARTS_SHOWN = 6
NOTES_SHOWN = 5
_TELLING = (Kind.INSPECTION, Kind.JOB, Kind.SERVICE)
"""What the short history of a vehicle's page tells; the whole list stands on a page of its own."""
MOST_SEARCH_CHARACTERS = 100

_NEVER_SEEN = ExpressionWrapper(Q(standing__inspected_on=None), BooleanField())
ORDERS = {
    "condition": (_("Condition"), (_NEVER_SEEN, F("sort_score").asc())),
    "due": (_("Next due"), (F("standing__next_due_on").asc(nulls_last=True),)),
    "money": (_("Money waiting"), (F("standing__backlog_cost_minor").desc(),)),
    "inspected": (_("Inspected longest ago"), (F("standing__inspected_on").asc(nulls_first=True),)),
    "name": (_("Name"), ()),
}
"""Ways to order the vehicles of a fleet; the first is the default. What must not be driven comes first in each."""


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """The fleets one belongs to; straight on where there is one."""
    fleets = list(fleet_selectors.fleets_of(request.user))  # type: ignore[arg-type]
    if len(fleets) == 1:
        return redirect("fleet", fleet_id=fleets[0].pk)
    return render(request, "portal/home.html", {"fleets": [fleet_shown(row) for row in fleets]})


@fleet_page
def fleet(request: HttpRequest, access: Access) -> HttpResponse:
    """Every vehicle with where it stands; what must not be driven comes first."""
    figures, on = Figures.of(access.fleet), today(access.fleet)
    query = request.GET.get("q", "").replace("\0", "").strip()[:MOST_SEARCH_CHARACTERS]
    chosen = request.GET.get("order", "")
    order = chosen if chosen in ORDERS else next(iter(ORDERS))
    rows = fleet_selectors.vehicles(access, q=query, archived=False)
    totals = rows.aggregate(
        vehicles=Count("id"),
        banned=Count("id", filter=Q(standing__do_not_drive=True)),
        money=Sum("standing__backlog_cost_minor", default=0),
    )
    ordered = rows.order_by("-standing__do_not_drive", *ORDERS[order][1], "name", "id")
    paginator = Paginator(ordered, VEHICLES_A_PAGE)
    paginator.count = totals["vehicles"]
    page = paginator.get_page(request.GET.get("page"))
    context = {
        "fleet": access.fleet,
        "vehicles": [vehicle_shown(figures, row, on) for row in page.object_list],
        "summary": fleet_summary(figures, **totals),
        "may_plan": access.role.includes(Role.PLANNER),
        "orders": [(key, label, key == order) for key, (label, _fields) in ORDERS.items()],
        "order": order,
        "query": query,
        "page": page,
    }
    return render(request, "portal/fleet.html", context)


@fleet_page
def vehicle(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """One vehicle: the verdict, what it rests on, what is wrong, what to do first."""
    found = fleet_selectors.vehicle_of(access, vehicle_id, "assessment", "backlog")
    figures, on = Figures.of(access.fleet), today(access.fleet)
    open_findings = list(inspection_selectors.open_findings(access, found))
    looks = inspection_selectors.looks_at(found, open_findings)
    findings = findings_shown(figures, access.fleet.limit_scheme, open_findings, looks, on)
    examined = found.standing.inspected_on is not None
    condition = condition_shown(figures, current_condition(access, found), findings, examined=examined)
    backlog = with_jobs(access, current_backlog(access, found))
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, found, on),
        "condition": condition,
        "findings": findings[:FINDINGS_SHOWN],
        "findings_more": findings[FINDINGS_SHOWN:FINDINGS_LISTED],
        "findings_beyond": max(len(findings) - FINDINGS_LISTED, 0),
        "findings_count": len(findings),
        "backlog": backlog_shown(figures, backlog, on, most=JOBS_SHOWN),
        "jobs_count": len(backlog["items"]),
        "more_jobs": _more_jobs(backlog),
        "due": next_due(figures, _due(found), on),
        **_record(figures, access, found, on),
        "disclaimer": condition.disclaimer,
        "may_inspect": access.role.includes(Role.INSPECTOR),
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/vehicle.html", context)


def _due(vehicle: "Vehicle") -> "list[DueItem]":
    rows = scheduling_selectors.vehicle_due(vehicle).select_related("vehicle")
    return list(rows.order_by("-state", "due_on", "id")[:NEXT_DUE])


def _more_jobs(backlog: dict[str, Any]) -> str:
    """Where there are more jobs than the page shows: how many in all."""
    count = len(backlog["items"]) + len(backlog["can_wait"])
    if count <= JOBS_SHOWN:
        return ""
    return ngettext("All %(count)d job, and what moved", "All %(count)d jobs, and what moved", count) % {"count": count}


def _record(figures: Figures, access: Access, vehicle: "Vehicle", on: date) -> dict[str, Any]:
    """What was recorded of a vehicle in short: four queries."""
    key = model_key_of(vehicle)
    notes = scheduling_selectors.know_how(access, [key] if key else []).order_by("-changed_at", "id")[:NOTES_SHOWN]
    return {
        "charts": charts_of(figures, series(vehicle), on),
        "history": timeline_shown(figures, entries(vehicle, ENTRIES_SHOWN, kinds=_TELLING), {}),
        "parts": renewed_last(figures, inspection_selectors.fitted_parts(vehicle), PARTS_SHOWN),
        "notes": notes_shown(figures, notes, access.actor),
    }


@fleet_page
def inspection(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> HttpResponse:
    """One inspection: its results as they were recorded."""
    seen = fleet_selectors.vehicle_of(access, vehicle_id)
    found = inspection_selectors.inspections_with_results(seen).one(pk=inspection_id)
    figures = Figures.of(access.fleet)
    results = list(found.results.all())
    grades = [row.grade for row in results if row.grade is not None]
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, seen, today(access.fleet)),
        "inspection": inspection_shown(figures, found, len(results), max(grades, default=None)),
        "results": results_shown(figures, access.fleet.limit_scheme, results),
    }
    return render(request, "portal/inspection.html", context)
