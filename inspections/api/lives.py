"""How long parts last in a fleet."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import FleetView
from inspections.api import conclusions
from inspections.services.lives import lives_of


class Lives(FleetView):
    @extend_schema(operation_id="list_lives", responses=conclusions.LivesOut)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return Response(lives_of(self.access))
