"""Fuel fills of a vehicle."""

from __future__ import annotations

import uuid
from functools import partial
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet import selectors
from fleetcare.fleet.api import answers, inputs, shapes
from fleetcare.fleet.api.base import VehicleView
from fleetcare.fleet.services.fuel import delete_fuel, record_fuel
from fleetcare.fleet.words import Role


class Fuel(VehicleView):
    roles = {"POST": Role.INSPECTOR}

    @extend_schema(operation_id="list_fuel_fills", responses=answers.page_of(answers.FuelFillOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rows = selectors.fuel_fills(self.vehicle)
        return self.page(rows, partial(shapes.fill_json, self.access.fleet), ("-filled_on", "-id"))

    @extend_schema(
        operation_id="record_fuel",
        request=inputs.FuelFillNew,
        responses={200: answers.FuelFillOut, 201: answers.FuelFillOut},
    )
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.FuelFillNew)
        fill, created = record_fuel(
            self.access,
            self.vehicle,
            filled_on=values["filled_on"],
            litres=values["litres"],
            full=values["full"],
            missed_before=values["missed_before"],
            shown_km=values.get("shown_km"),
            price_minor=values.get("price"),
            note=values.get("note", ""),
            key=values.get("id"),
            litres_pointer=values["litres_pointer"],
            odometer_pointer=values.get("odometer_pointer", "/odometer_km"),
        )
        location = {"Location": f"{request.path}{fill.pk}/"}
        return Response(shapes.fill_json(self.access.fleet, fill), status=201 if created else 200, headers=location)


class OneFuelFill(VehicleView):
    @extend_schema(operation_id="read_fuel_fill", responses=answers.FuelFillOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, fill_id: uuid.UUID) -> Response:
        return Response(shapes.fill_json(self.access.fleet, selectors.fuel_fills(self.vehicle).one(pk=fill_id)))

    @extend_schema(operation_id="delete_fuel_fill", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, fill_id: uuid.UUID) -> Response:
        delete_fuel(self.access, self.vehicle, selectors.fuel_fills(self.vehicle).one(pk=fill_id))
        return Response(status=204)
