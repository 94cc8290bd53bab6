"""Keep a vehicle or replace it."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import VehicleView
from fleetcare.fleet.words import Role
from scheduling.api import answers_keeping as answers
from scheduling.api import keeping_inputs as inputs
from scheduling.services.keep_or_replace import compare


class KeepOrReplace(VehicleView):
    """Asked by POST because the question has a body; nothing is stored."""

    tag = "plan"
    roles = {"POST": Role.VIEWER}
    costly = frozenset({"POST"})

    @extend_schema(
        operation_id="keep_or_replace", request=inputs.KeepOrReplaceIn, responses={200: answers.KeepOrReplaceOut}
    )
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.KeepOrReplaceIn)
        keep, other = inputs.keep_ask(values["keep"]), inputs.replace_ask(values["replace"])
        interest = float(values.get("interest_fraction", 0))
        price = float(values["fuel_price"]) if "fuel_price" in values else None
        body = compare(self.access, self.vehicle, keep, other, interest_fraction=interest, fuel_price_minor=price)
        return Response(body)
