"""The ranked backlog of a vehicle and of a fleet."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import FleetView, VehicleView
from scheduling.api import answers
from scheduling.services.backlog import current_backlog, fleet_backlog


class VehicleBacklog(VehicleView):
    @extend_schema(operation_id="read_backlog", responses=answers.BacklogOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(current_backlog(self.access, self.vehicle))


class FleetBacklog(FleetView):
    @extend_schema(operation_id="read_fleet_backlog", responses=answers.FleetBacklogOut)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return Response(fleet_backlog(self.access))
