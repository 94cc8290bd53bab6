"""Rules of scheduled work: of a vehicle, of all vehicles they fit, and the catalogue's templates."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response
from rest_framework.views import APIView

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView, VehicleView
from fleetcare.fleet.words import Role
from fleetcare.support.strict import refuse_unknown_parameters
from inspections.catalogue.service_templates import ServiceTemplate, service_templates
from scheduling import selectors
from scheduling.api import due_answers, due_inputs
from scheduling.services.due import add_rule, change_rule, drop_rule, mark_done

if TYPE_CHECKING:
    from scheduling.models import ServiceDone, ServiceRule

Json = dict[str, Any]


def rule_json(rule: ServiceRule) -> Json:
    """A rule as the API answers it."""
    return {
        "id": rule.pk,
        "vehicle": rule.vehicle_id,
        "kind": rule.kind,
        "template": rule.template or None,
        "title": rule.title,
        "part": rule.part_key or None,
        "every_km": rule.every_km,
        "every_months": rule.every_months,
        "ends_on": rule.ends_on,
        "ends_odometer_km": None if rule.ends_total_km is None else float(rule.ends_total_km),
        "needs": rule.needs,
        "make": rule.make,
        "model": rule.model,
        "lead_days": rule.lead_days,
        "safety": rule.safety,
        "source": rule.source,
        "note": rule.note,
        "active": rule.active,
    }


def _done_json(done: ServiceDone) -> Json:
    return {
        "id": done.pk,
        "rule": done.rule_id,
        "done_on": done.done_on,
        "total_km": None if done.total_km is None else float(done.total_km),
        "job": done.job_id,
        "note": done.note,
    }


def _template_json(entry: ServiceTemplate) -> Json:
    return {
        "key": entry.key,
        "title": entry.title,
        "part": entry.part or None,
        "every_km": entry.every_km,
        "every_months": entry.every_months,
        "needs": list(entry.needs),
        "source": entry.source,
    }


class ServiceTemplates(APIView):
    """Templates to copy; each is common practice and gives way to the maker's book."""

    tag = "catalogue"

    @extend_schema(operation_id="list_service_templates", responses=due_answers.ServiceTemplatesOut)
    def get(self, request: Any) -> Response:
        refuse_unknown_parameters(request.query_params, ())
        return Response({"items": [_template_json(entry) for entry in service_templates().values()]})


class FleetRules(FleetView):
    tag = "due"

    @extend_schema(operation_id="list_fleet_service_rules", responses=page_of(due_answers.ServiceRuleOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(selectors.service_rules(self.access), rule_json, ("created_at", "id"))

    @extend_schema(
        operation_id="add_fleet_service_rule", request=due_inputs.RuleNew, responses={201: due_answers.ServiceRuleOut}
    )
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        rule = add_rule(self.access, None, **self.parsed(due_inputs.RuleNew))
        return self.one(rule_json(rule), rule.version, status=201, location=f"{request.path}{rule.pk}/")


class OneFleetRule(FleetView):
    tag = "due"

    def _rule(self, rule_id: uuid.UUID) -> ServiceRule:
        return selectors.service_rules(self.access).one(pk=rule_id)

    @extend_schema(operation_id="read_fleet_service_rule", responses=due_answers.ServiceRuleOut)
    def get(self, request: Any, fleet_id: uuid.UUID, rule_id: uuid.UUID) -> Response:
        rule = self._rule(rule_id)
        return self.one(rule_json(rule), rule.version)

    @extend_schema(
        operation_id="change_fleet_service_rule", request=due_inputs.RuleChange, responses=due_answers.ServiceRuleOut
    )
    def patch(self, request: Any, fleet_id: uuid.UUID, rule_id: uuid.UUID) -> Response:
        rule = self._rule(rule_id)
        self.require_match(rule)
        change_rule(self.access, rule, **self.parsed(due_inputs.RuleChange, partial=True))
        return self.one(rule_json(rule), rule.version)

    @extend_schema(operation_id="drop_fleet_service_rule", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, rule_id: uuid.UUID) -> Response:
        rule = self._rule(rule_id)
        self.require_match(rule)
        drop_rule(self.access, rule)
        return Response(status=204)


class VehicleRules(VehicleView):
    tag = "due"

    @extend_schema(operation_id="list_service_rules", responses=page_of(due_answers.ServiceRuleOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return self.page(selectors.service_rules(self.access, self.vehicle), rule_json, ("created_at", "id"))

    @extend_schema(
        operation_id="add_service_rule", request=due_inputs.RuleNew, responses={201: due_answers.ServiceRuleOut}
    )
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rule = add_rule(self.access, self.vehicle, **self.parsed(due_inputs.RuleNew))
        return self.one(rule_json(rule), rule.version, status=201, location=f"{request.path}{rule.pk}/")


class OneVehicleRule(VehicleView):
    tag = "due"

    def _rule(self, rule_id: uuid.UUID) -> ServiceRule:
        return selectors.service_rules(self.access, self.vehicle).one(pk=rule_id)

    @extend_schema(operation_id="read_service_rule", responses=due_answers.ServiceRuleOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, vehicle_rule_id: uuid.UUID) -> Response:
        rule = self._rule(vehicle_rule_id)
        return self.one(rule_json(rule), rule.version)

    @extend_schema(
        operation_id="change_service_rule", request=due_inputs.RuleChange, responses=due_answers.ServiceRuleOut
    )
    def patch(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, vehicle_rule_id: uuid.UUID) -> Response:
        rule = self._rule(vehicle_rule_id)
        self.require_match(rule)
        change_rule(self.access, rule, **self.parsed(due_inputs.RuleChange, partial=True))
        return self.one(rule_json(rule), rule.version)

    @extend_schema(operation_id="drop_service_rule", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, vehicle_rule_id: uuid.UUID) -> Response:
        rule = self._rule(vehicle_rule_id)
        self.require_match(rule)
        drop_rule(self.access, rule)
        return Response(status=204)


class RuleDone(VehicleView):
    """When a rule's work was done on this vehicle; the rule may be the vehicle's or the fleet's."""

    tag = "due"
    roles = {"POST": Role.INSPECTOR}

    @extend_schema(operation_id="list_service_done", responses=page_of(due_answers.ServiceDoneOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, vehicle_rule_id: uuid.UUID) -> Response:
        rule = selectors.rule_of(self.access, vehicle_rule_id, self.vehicle)
        rows = selectors.service_record(self.access, rule, self.vehicle)
        return self.page(rows, _done_json, ("-done_on", "-id"))

    @extend_schema(
        operation_id="record_service_done", request=due_inputs.RuleDoneNew, responses={201: due_answers.ServiceDoneOut}
    )
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, vehicle_rule_id: uuid.UUID) -> Response:
        rule = selectors.rule_of(self.access, vehicle_rule_id, self.vehicle)
        values = self.parsed(due_inputs.RuleDoneNew)
        done = mark_done(
            self.access,
            rule,
            self.vehicle,
            done_on=values["done_on"],
            shown_km=values.get("shown_km"),
            next_ends_on=values.get("next_ends_on"),
            note=values.get("note", ""),
        )
        return Response(_done_json(done), status=201)
