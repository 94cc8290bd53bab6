"""What is due: of the fleet, of a vehicle; snoozed or done."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView, VehicleView
from fleetcare.fleet.words import Role
from scheduling import selectors
from scheduling.api import due_answers, due_inputs
from scheduling.api.due_parameters import FILTERS, conditions_of
from scheduling.core.due import State
from scheduling.services.due import close_item, snooze_item

if TYPE_CHECKING:
    from scheduling.models import DueItem

Json = dict[str, Any]
_ORDER = ("due_on", "id")
_PARAMETERS = [
    OpenApiParameter("state", enum=due_answers.DUE_STATES, many=True, description="One or more states."),
    OpenApiParameter("kind", description="One kind of due item."),
    OpenApiParameter("closed", bool, description="true: those that are closed instead of the open ones."),
]


def due_json(item: DueItem) -> Json:
    """A due item as the API answers it."""
    return {
        "id": item.pk,
        "vehicle": item.vehicle_id,
        "vehicle_name": item.vehicle.name,
        "kind": item.kind,
        "what": item.what,
        "part": item.part_key or None,
        "position": item.position or None,
        "safety": item.safety,
        "due_on": item.due_on,
        "due_odometer_km": None if item.due_shown_km is None else float(item.due_shown_km),
        "earliest_on": item.earliest_on,
        "latest_on": item.latest_on,
        "state": State(item.state).word,
        "source": item.source,
        "snoozed_until": item.snoozed_until,
        "closed_on": item.closed_on,
        "closed_because": item.closed_because or None,
    }


class FleetDue(FleetView):
    tag = "due"
    parameters = FILTERS

    @extend_schema(operation_id="list_fleet_due", parameters=_PARAMETERS, responses=page_of(due_answers.DueItemOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        rows = selectors.due_items(self.access, **conditions_of(request.query_params))
        return self.page(rows.select_related("vehicle"), due_json, _ORDER)


class VehicleDue(VehicleView):
    tag = "due"
    parameters = FILTERS

    @extend_schema(operation_id="list_vehicle_due", parameters=_PARAMETERS, responses=page_of(due_answers.DueItemOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rows = selectors.vehicle_due(self.vehicle, **conditions_of(request.query_params))
        return self.page(rows.select_related("vehicle"), due_json, _ORDER)


class _ItemView(FleetView):
    tag = "due"

    def _item(self, due_id: uuid.UUID) -> DueItem:
        return selectors.due_items(self.access, open_only=False).select_related("vehicle__standing").one(pk=due_id)


class OneDueItem(_ItemView):
    @extend_schema(operation_id="read_due_item", responses=due_answers.DueItemOut)
    def get(self, request: Any, fleet_id: uuid.UUID, due_id: uuid.UUID) -> Response:
        item = self._item(due_id)
        return self.one(due_json(item), item.version)

    @extend_schema(operation_id="snooze_due_item", request=due_inputs.DueChange, responses=due_answers.DueItemOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, due_id: uuid.UUID) -> Response:
        item = self._item(due_id)
        self.require_match(item)
        snooze_item(self.access, item, until=self.parsed(due_inputs.DueChange)["snoozed_until"])
        return self.one(due_json(item), item.version)


class DueDone(_ItemView):
    roles = {"POST": Role.INSPECTOR}

    @extend_schema(operation_id="close_due_item", request=due_inputs.DoneIn, responses=due_answers.DueItemOut)
    def post(self, request: Any, fleet_id: uuid.UUID, due_id: uuid.UUID) -> Response:
        item = self._item(due_id)
        values = self.parsed(due_inputs.DoneIn)
        close_item(
            self.access,
            item,
            done_on=values["done_on"],
            shown_km=values.get("shown_km"),
            next_ends_on=values.get("next_ends_on"),
        )
        return self.one(due_json(item), item.version)
