"""From complaints and trouble codes to suspect parts; and the lists of both."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import VehicleView
from fleetcare.fleet.words import Role
from inspections.api import conclusions, inputs
from inspections.api.catalogue import CatalogueView, Json
from inspections.catalogue.signs import default_signs
from inspections.core.trouble_codes import TroubleCode
from inspections.services.suspects import code_json, suspects


class Suspects(VehicleView):
    """Asked by POST because the question has a body; nothing is stored."""

    roles = {"POST": Role.VIEWER}

    @extend_schema(operation_id="suspect_parts", request=inputs.SuspectsIn, responses={200: conclusions.SuspectsOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(suspects(self.access, self.vehicle, **self.parsed(inputs.SuspectsIn)))


class Complaints(CatalogueView):
    def items(self) -> list[Json]:
        return [{"key": key, "title": title} for key, title in default_signs().complaints.items()]

    @extend_schema(operation_id="list_complaints", responses=conclusions.ComplaintsOut)
    def get(self, request: Any) -> Response:
        return self.answer(request)


class Codes(CatalogueView):
    def items(self) -> list[Json]:
        return [code_json(TroubleCode(text)) for text in default_signs().meanings]

    @extend_schema(operation_id="list_codes", responses=conclusions.CodesOut)
    def get(self, request: Any) -> Response:
        return self.answer(request)
