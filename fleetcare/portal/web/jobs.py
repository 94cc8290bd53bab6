"""Acting: the list of jobs, one job with its steps, and what to lay out for a visit."""

import uuid
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST
from rest_framework.exceptions import ValidationError

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import DomainError, Fault
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.jobs_form import body_of
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.jobs import KitShown, job_shown, kit_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from fleetcare.support.problems import faults_of
from scheduling import selectors
from scheduling.api import job_inputs as inputs
from scheduling.api.job_shapes import fleet_job_json, job_json
from scheduling.core.job_states import LIVE
from scheduling.services import jobs as services
from scheduling.services.jobs.kit import kit_list
from scheduling.words import JobOrigin

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle
    from scheduling.models import Job

MOST_JOBS_SHOWN = 200
_Act = Callable[[Access, "Job", dict[str, Any]], Any]


def _plan(access: Access, job: "Job", values: dict[str, Any]) -> None:
    services.plan_job(access, job, **values)


def _start(access: Access, job: "Job", values: dict[str, Any]) -> None:
    services.start_job(access, job, **values)


def _decline(access: Access, job: "Job", values: dict[str, Any]) -> None:
    services.decline_job(access, job, **values)


def _defer(access: Access, job: "Job", values: dict[str, Any]) -> None:
    services.defer_job(access, job, until=values.pop("deferred_until"), **values)


def _close(access: Access, job: "Job", values: dict[str, Any]) -> None:
    services.close_job(access, job, inputs.closing_of(values))


def _reopen(access: Access, job: "Job", values: dict[str, Any]) -> None:
    services.reopen_job(access, job)


def _undo(access: Access, job: "Job", values: dict[str, Any]) -> None:
    services.undo_closing(access, job)


_ACTS: Mapping[str, tuple[Any, _Act]] = {
    "plan": (inputs.JobPlanIn, _plan),
    "start": (inputs.JobStartIn, _start),
    "decline": (inputs.JobDeclineIn, _decline),
    "defer": (inputs.JobDeferIn, _defer),
    "close": (inputs.JobCloseIn, _close),
    "reopen": (None, _reopen),
    "undo": (None, _undo),
}


@require_http_methods(["GET"])
@fleet_page
def jobs(request: HttpRequest, access: Access) -> HttpResponse:
    """What is still to be done in the fleet; what must be done before driving first."""
    figures = Figures.of(access.fleet)
    rows = selectors.fleet_jobs(access).filter(state__in=[state.value for state in LIVE])
    ordered = rows.order_by("-before_driving", "planned_on", "-created_at", "-id")[:MOST_JOBS_SHOWN]
    shown = [job_shown(figures, fleet_job_json(access, row)) for row in ordered]
    return render(request, "portal/desk/jobs.html", {"fleet": access.fleet, "jobs": shown})


@require_POST
@fleet_page
def open_one(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Put a job of the backlog on the list."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    positions = [place for place in request.POST.getlist("position") if place]
    origin = JobOrigin.BACKLOG
    job, _created = services.open_job(
        access, vehicle, job_key=request.POST.get("job", ""), positions=positions, origin=origin
    )
    return redirect("job", access.fleet.pk, vehicle.pk, job.pk)


@require_http_methods(["GET", "POST"])
@fleet_page
def job(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> HttpResponse:
    """One job: what it takes, and the steps there are."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    faults: list[Fault] = []
    if request.method == "POST":
        faults = _acted(request, access, selectors.job_of(vehicle, job_id))
        if not faults:
            return redirect("job", access.fleet.pk, vehicle.pk, job_id)
    return _page(request, access, vehicle, job_id, faults)


def _acted(request: HttpRequest, access: Access, found: "Job") -> list[Fault]:
    """Takes the step that the form names; what is wrong with it, if anything."""
    step = request.POST.get("step", "")
    if step not in _ACTS:
        raise Http404
    serializer, act = _ACTS[step]
    values: dict[str, Any] = {}
    try:
        if serializer is not None:
            checked = serializer(data=body_of(step, request.POST, access.fleet), context={"access": access})
            checked.is_valid(raise_exception=True)
            values = checked.validated_data
        act(access, found, values)
    except ValidationError as error:
        return list(faults_of(error.detail))
    except DomainError as error:
        if error.status in {403, 404}:
            raise
        return list(error.faults) or [Fault("", error.code, error.detail)]
    return []


def _page(
    request: HttpRequest, access: Access, vehicle: "Vehicle", job_id: uuid.UUID, faults: list[Fault]
) -> HttpResponse:
    figures, on = Figures.of(access.fleet), today(access.fleet)
    row = selectors.job_of(vehicle, job_id)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, on),
        "job": job_shown(figures, job_json(access, row)),
        "kit": _kit(figures, access, vehicle, row),
        "faults": [words.told(fault.detail) for fault in faults],
        "said": request.POST,
        "step": request.POST.get("step", ""),
        "today": on.isoformat(),
        "unit": access.fleet.distance_unit,
        "currency": access.fleet.currency,
        "may_work": access.role.includes(Role.INSPECTOR),
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/desk/job.html", context, status=422 if faults else 200)


def _kit(figures: Figures, access: Access, vehicle: "Vehicle", row: "Job") -> KitShown | None:
    """What to lay out for a job that is still to be done."""
    if row.state not in LIVE or vehicle.archived:
        return None
    return kit_shown(figures, kit_list(access, vehicle=vehicle, job_ids=[row.pk]))


@require_http_methods(["GET"])
@fleet_page
def kit(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """What to lay out for the jobs of a vehicle that are planned or begun, to print."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    figures = Figures.of(access.fleet)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, today(access.fleet)),
        "kit": kit_shown(figures, kit_list(access, vehicle=vehicle, job_ids=[])),
    }
    return render(request, "portal/desk/kit.html", context)
