"""Vehicles and their odometer."""

from __future__ import annotations

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.response import Response

from fleetcare.fleet import selectors
from fleetcare.fleet.api import answers, inputs, shapes
from fleetcare.fleet.api.base import FleetView, Json, VehicleView
from fleetcare.fleet.services.odometer import delete_reading, record_odometer
from fleetcare.fleet.services.vehicles import add_vehicle, change_vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import NotFound
from fleetcare.kernel.grades import GRADE_WORDS, Grade

_ORDERINGS = {
    "name": ("name", "id"),
    "-name": ("-name", "-id"),
    "score": ("sort_score", "id"),
    "-score": ("-sort_score", "-id"),
    "created_at": ("created_at", "id"),
    "-created_at": ("-created_at", "-id"),
}
_FILTERS = [
    OpenApiParameter("q", str, description="Words in name, plate, VIN, make or model."),
    OpenApiParameter("ordering", str, enum=list(_ORDERINGS)),
    OpenApiParameter("worst_grade", str, enum=GRADE_WORDS),
    OpenApiParameter("do_not_drive", bool),
    OpenApiParameter("archived", bool, description="false where absent"),
    OpenApiParameter("limit", int),
    OpenApiParameter("cursor", str),
]
_TRUTH = {"true": True, "false": False}
_LONGEST_SEARCH, _MOST_WORDS = 200, 10


def _choice(parameters: Any, name: str, choices: dict[str, Any], *, default: Any = None) -> Any:
    if name not in parameters:
        return default
    if parameters[name] not in choices:
        raise ValidationError({name: [ErrorDetail(f"One of: {', '.join(choices)}.", "choice")]})
    return choices[parameters[name]]


def _search(parameters: Any) -> str:
    text: str = parameters.get("q", "")
    if len(text) > _LONGEST_SEARCH or len(text.split()) > _MOST_WORDS:
        sentence = f"At most {_MOST_WORDS} words with {_LONGEST_SEARCH} characters in all."
        raise ValidationError({"q": [ErrorDetail(sentence, "too-long")]})
    return text


class Vehicles(FleetView):
    tag = "vehicle"
    parameters = ("q", "ordering", "worst_grade", "do_not_drive", "archived")

    @extend_schema(operation_id="list_vehicles", parameters=_FILTERS, responses=answers.page_of(answers.VehicleOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        given = request.query_params
        if not given:
            items = [self._shape(row) for row in selectors.first_vehicles(self.access)]
            return self.first_page(items, _ORDERINGS["name"])
        conditions: Json = {"archived": _choice(given, "archived", _TRUTH, default=False)}
        if "do_not_drive" in given:
            conditions["standing__do_not_drive"] = _choice(given, "do_not_drive", _TRUTH)
        if "worst_grade" in given:
            words = {grade.word: int(grade) for grade in Grade}
            conditions["standing__worst_grade"] = _choice(given, "worst_grade", words)
        rows = selectors.vehicles(self.access, q=_search(given), **conditions)
        ordering = _choice(given, "ordering", _ORDERINGS, default=_ORDERINGS["name"])
        return self.page(rows.values_list(*selectors.VEHICLE_COLUMNS, "sort_score", named=True), self._shape, ordering)

    def _shape(self, row: Any) -> Json:
        return shapes.vehicle_json(self.access.fleet, row[: len(selectors.VEHICLE_COLUMNS)])

    @extend_schema(operation_id="add_vehicle", request=inputs.VehicleNew, responses={201: answers.VehicleOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.VehicleNew)
        vehicle = add_vehicle(self.access, key=values.pop("id", None), **values)
        row = selectors.vehicle_columns(self.access, vehicle.pk)
        return self.one(self._shape(row), vehicle.version, status=201, location=f"{request.path}{vehicle.pk}/")


class OneVehicle(FleetView):
    tag = "vehicle"

    def _answer(self, vehicle_id: uuid.UUID, status: int = 200) -> Response:
        row = selectors.vehicle_columns(self.access, vehicle_id)
        return self.one(shapes.vehicle_json(self.access.fleet, row), row[-1], status=status)

    @extend_schema(operation_id="read_vehicle", responses=answers.VehicleOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return self._answer(vehicle_id)

    @extend_schema(
        operation_id="put_vehicle",
        request=inputs.VehicleIn,
        responses={200: answers.VehicleOut, 201: answers.VehicleOut},
    )
    def put(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.VehicleIn)
        try:
            vehicle = selectors.vehicle_of(self.access, vehicle_id)
        except NotFound:
            add_vehicle(self.access, key=vehicle_id, **values)
            return self._answer(vehicle_id, status=201)
        # The same again changes nothing and needs no leave: the first answer may have been lost.
        if any(getattr(vehicle, name) != value for name, value in values.items()):
            self.require_match(vehicle)
            change_vehicle(self.access, vehicle, **values)
        return self._answer(vehicle_id)

    @extend_schema(operation_id="change_vehicle", request=inputs.VehicleIn, responses=answers.VehicleOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        vehicle = selectors.vehicle_of(self.access, vehicle_id)
        self.require_match(vehicle)
        change_vehicle(self.access, vehicle, **self.parsed(inputs.VehicleIn, partial=True))
        return self._answer(vehicle_id)


class Odometer(VehicleView):
    roles = {"POST": Role.INSPECTOR}

    @extend_schema(operation_id="list_readings", responses=answers.page_of(answers.ReadingOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return self.page(selectors.readings(self.vehicle), shapes.reading_json, ("-read_on", "-total_km", "-id"))

    @extend_schema(operation_id="record_odometer", request=inputs.OdometerNew, responses={201: answers.ReadingOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.OdometerNew)
        reading = record_odometer(
            self.access,
            self.vehicle,
            read_on=values["read_on"],
            shown_km=values["shown_km"],
            replacement=values["replacement"],
            pointer=values["odometer_pointer"],
        )
        return Response(shapes.reading_json(reading), status=201)


class OneReading(VehicleView):
    @extend_schema(operation_id="read_reading", responses=answers.ReadingOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, reading_id: uuid.UUID) -> Response:
        return Response(shapes.reading_json(selectors.readings(self.vehicle).one(pk=reading_id)))

    @extend_schema(operation_id="delete_reading", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, reading_id: uuid.UUID) -> Response:
        delete_reading(self.access, self.vehicle, selectors.readings(self.vehicle).one(pk=reading_id))
        return Response(status=204)
