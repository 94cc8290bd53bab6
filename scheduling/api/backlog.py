"""The ranked backlog of a vehicle and of a fleet."""

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import FleetView, VehicleView
from fleetcare.support.ranked import Mark, RankedPages, no_such_cursor
from scheduling.api import answers
from scheduling.core.fleet_order import Place
from scheduling.services.backlog import current_backlog
from scheduling.services.backlog_changes import backlog_changes
from scheduling.services.fleet_backlog import fleet_backlog
from scheduling.services.jobs import fleet_with_jobs, with_jobs

PAGES = [OpenApiParameter("limit", int), OpenApiParameter("cursor", str)]


class VehicleBacklog(VehicleView):
    @extend_schema(operation_id="read_backlog", responses=answers.BacklogOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(with_jobs(self.access, current_backlog(self.access, self.vehicle)))


class VehicleBacklogChanges(VehicleView):
    @extend_schema(operation_id="read_backlog_changes", responses=answers.BacklogChangesOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(backlog_changes(self.access, self.vehicle))


class FleetBacklog(FleetView):
    @extend_schema(operation_id="read_fleet_backlog", parameters=PAGES, responses=answers.FleetBacklogOut)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        pages = RankedPages(request)
        body, end = fleet_backlog(self.access, limit=pages.limit, after=_place(pages.after))
        body = fleet_with_jobs(self.access, body)
        return pages.answer(body, None if end is None else [end.worth, str(end.vehicle), end.rank])


def _place(mark: Mark | None) -> Place | None:
    """Where the page before ended; ValidationError for a cursor that says something else."""
    match mark:
        case None:
            return None
        case [None | float() | int() as worth, str() as vehicle, int() as rank]:
            try:
                return Place(worth, uuid.UUID(vehicle), rank)
            except ValueError as error:
                raise no_such_cursor() from error
    raise no_such_cursor()
