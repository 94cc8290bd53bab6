"""When to look at each part of a vehicle again."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import VehicleView
from scheduling.api import answers_looks as answers
from scheduling.services.looks_to_come import looks_to_come


class LookAgain(VehicleView):
    tag = "plan"

    @extend_schema(operation_id="read_looks_to_come", responses=answers.LooksToComeOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(looks_to_come(self.access, self.vehicle))
