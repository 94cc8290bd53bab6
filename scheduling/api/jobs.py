"""Jobs of a vehicle and of a fleet, their steps, and the kit list."""

from __future__ import annotations

import uuid
from functools import partial
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView, VehicleView
from fleetcare.fleet.words import Role
from scheduling import selectors
from scheduling.api import job_answers as answers
from scheduling.api import job_inputs as inputs
from scheduling.api.job_shapes import fleet_job_json, job_json
from scheduling.core.job_states import LIVE
from scheduling.services import jobs as services
from scheduling.services.jobs.kit import kit_list
from scheduling.words import JobOrigin

if TYPE_CHECKING:
    from scheduling.models import Job

INSPECTOR = Role.INSPECTOR
_LIVE = "live"
_STATES = {state: [state] for state in answers.JOB_STATES} | {_LIVE: [state.value for state in LIVE]}
_FILTER = OpenApiParameter("state", str, enum=list(_STATES), description="live: whatever is still to be done")


def _of_state(rows: Any, given: Any) -> Any:
    state = given.get("state")
    if state is None:
        return rows
    if state not in _STATES:
        raise ValidationError({"state": [ErrorDetail(f"One of: {', '.join(_STATES)}.", "choice")]})
    return rows.filter(state__in=_STATES[state])


class FleetJobs(FleetView):
    tag = "job"
    parameters = ("state",)

    @extend_schema(operation_id="list_fleet_jobs", parameters=[_FILTER], responses=page_of(answers.FleetJobOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        rows = _of_state(selectors.fleet_jobs(self.access), request.query_params)
        return self.page(rows, partial(fleet_job_json, self.access), ("-created_at", "-id"))


class VehicleJobs(VehicleView):
    tag = "job"
    roles = {"POST": INSPECTOR}
    parameters = ("state",)

    @extend_schema(operation_id="list_jobs", parameters=[_FILTER], responses=page_of(answers.JobOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rows = _of_state(selectors.jobs(self.vehicle), request.query_params)
        return self.page(rows, partial(job_json, self.access), ("-created_at", "-id"))

    @extend_schema(operation_id="open_job", request=inputs.JobNew, responses={200: answers.JobOut, 201: answers.JobOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.JobNew)
        job, created = services.open_job(
            self.access,
            self.vehicle,
            job_key=values.get("job", ""),
            title=values.get("title", ""),
            part_key=values.get("part", ""),
            positions=values.get("positions", ()),
            origin=JobOrigin(values["origin"]),
            note=values.get("note", ""),
            safety=values["safety"],
            key=values.get("id"),
        )
        body = job_json(self.access, selectors.job_of(self.vehicle, job.pk))
        return self.one(body, job.version, status=201 if created else 200, location=f"{request.path}{job.pk}/")


class JobView(VehicleView):
    """One job; `step` views take a body, call a use-case and answer the job as it then is."""

    tag = "job"

    def found(self, job_id: uuid.UUID) -> Job:
        job = selectors.job_of(self.vehicle, job_id)
        self.require_match(job)
        return job

    def answer(self, job_id: uuid.UUID) -> Response:
        job = selectors.job_of(self.vehicle, job_id)
        return self.one(job_json(self.access, job), job.version)


class OneJob(JobView):
    roles = {"PATCH": INSPECTOR}

    @extend_schema(operation_id="read_job", responses=answers.JobOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        return self.answer(job_id)

    @extend_schema(operation_id="change_job", request=inputs.JobChange, responses=answers.JobOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        services.change_job(self.access, self.found(job_id), **self.parsed(inputs.JobChange, partial=True))
        return self.answer(job_id)


class PlanJob(JobView):
    @extend_schema(operation_id="plan_job", request=inputs.JobPlanIn, responses=answers.JobOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        services.plan_job(self.access, self.found(job_id), **self.parsed(inputs.JobPlanIn))
        return self.answer(job_id)


class StartJob(JobView):
    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="start_job", request=inputs.JobStartIn, responses=answers.JobOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        services.start_job(self.access, self.found(job_id), **self.parsed(inputs.JobStartIn))
        return self.answer(job_id)


class DeclineJob(JobView):
    @extend_schema(operation_id="decline_job", request=inputs.JobDeclineIn, responses=answers.JobOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        services.decline_job(self.access, self.found(job_id), **self.parsed(inputs.JobDeclineIn))
        return self.answer(job_id)


class DeferJob(JobView):
    @extend_schema(operation_id="defer_job", request=inputs.JobDeferIn, responses=answers.JobOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        job = self.found(job_id)
        values = self.parsed(inputs.JobDeferIn)
        services.defer_job(self.access, job, until=values.pop("deferred_until"), **values)
        return self.answer(job_id)


class ReopenJob(JobView):
    @extend_schema(operation_id="reopen_job", request=None, responses=answers.JobOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        services.reopen_job(self.access, self.found(job_id))
        return self.answer(job_id)


class CloseJob(JobView):
    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="close_job", request=inputs.JobCloseIn, responses=answers.JobOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        job = self.found(job_id)
        services.close_job(self.access, job, inputs.closing_of(self.parsed(inputs.JobCloseIn)))
        return self.answer(job_id)


class UndoJob(JobView):
    """On the day of the closing, in the fleet's zone."""

    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="undo_job", request=None, responses=answers.JobOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, job_id: uuid.UUID) -> Response:
        services.undo_closing(self.access, self.found(job_id))
        return self.answer(job_id)


class JobKit(VehicleView):
    """What to lay out for jobs of this vehicle: those named, else those that are planned or begun."""

    tag = "job"
    parameters = ("jobs",)

    @extend_schema(
        operation_id="read_kit",
        parameters=[OpenApiParameter("jobs", str, description="Ids of jobs, with commas between them.")],
        responses=answers.KitOut,
    )
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        wanted = _ids(request.query_params.get("jobs", ""))
        return Response(kit_list(self.access, vehicle=self.vehicle, job_ids=wanted))


def _ids(text: str) -> list[uuid.UUID]:
    words = [word.strip() for word in text.split(",") if word.strip()]
    checked = inputs.KitIn(data={"jobs": words}) if words else None
    if checked is None:
        return []
    checked.is_valid(raise_exception=True)
    found: list[uuid.UUID] = checked.validated_data["jobs"]
    return found


class KitList(FleetView):
    """What to lay out for a visit, for jobs of one or several vehicles; nothing is stored."""

    tag = "job"
    roles = {"POST": Role.VIEWER}

    @extend_schema(operation_id="make_kit_list", request=inputs.KitIn, responses=answers.KitOut)
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return Response(kit_list(self.access, job_ids=self.parsed(inputs.KitIn)["jobs"]))
