"""Condition of one vehicle, its history, what to expect, and what every figure rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import VehicleView
from inspections import selectors
from inspections.api import answers, shapes
from inspections.services.assessment import current_condition
from inspections.services.forecast import explanation, part_forecasts

if TYPE_CHECKING:
    import uuid


class Condition(VehicleView):
    @extend_schema(operation_id="read_condition", responses=answers.ConditionOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(current_condition(self.access, self.vehicle))


class ConditionHistory(VehicleView):
    @extend_schema(operation_id="list_score_history", responses=page_of(answers.ScorePointOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return self.page(selectors.score_history(self.vehicle), shapes.score_point_json, ("-as_of", "-id"))


class Forecast(VehicleView):
    @extend_schema(operation_id="read_forecast", responses=answers.ForecastOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(part_forecasts(self.access, self.vehicle))


class Explanation(VehicleView):
    parameters = ("part", "position")

    @extend_schema(
        operation_id="explain",
        parameters=[OpenApiParameter("part", str, required=True), OpenApiParameter("position", str)],
        responses=answers.ExplanationOut,
    )
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        given = request.query_params
        if not given.get("part"):
            raise ValidationError({"part": [ErrorDetail("Name the part to explain.", "required")]})
        return Response(explanation(self.access, self.vehicle, given["part"], given.get("position", "")))
