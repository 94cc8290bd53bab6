"""Plans: the best set of jobs for the visits there are."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import FleetView
from scheduling.api import answers, inputs
from scheduling.services.plans import VisitWish, make_plan


class Plans(FleetView):
    tag = "plan"

    @extend_schema(operation_id="make_plan", request=inputs.PlanNew, responses=answers.PlanOut)
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.PlanNew)
        wishes = [VisitWish(visit["date"], visit["hours"], visit["budget"]) for visit in values["visits"]]
        return Response(make_plan(self.access, values.get("vehicles", ()), wishes, exact=values["exact"]))
