"""Endpoints that are told what happens, and what was told to them."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView
from fleetcare.fleet.words import Role
from scheduling import selectors
from scheduling.api import sending_answers as answers
from scheduling.api import sending_inputs as inputs
from scheduling.services import webhooks as services
from scheduling.services.hooks import message_id

if TYPE_CHECKING:
    from scheduling.models import WebhookDelivery, WebhookEndpoint

Json = dict[str, Any]
_OWNERS = {"GET": Role.OWNER, "POST": Role.OWNER, "PATCH": Role.OWNER, "DELETE": Role.OWNER}


def endpoint_json(endpoint: WebhookEndpoint) -> Json:
    return {
        "id": endpoint.pk,
        "url": endpoint.url,
        "kinds": endpoint.kinds,
        "description": endpoint.description,
        "disabled": endpoint.disabled_at is not None,
        "disabled_at": endpoint.disabled_at,
        "disabled_because": endpoint.disabled_because,
        "created_at": endpoint.created_at,
    }


def delivery_json(row: WebhookDelivery) -> Json:
    return {
        "id": row.pk,
        "event": message_id(row.event),
        "kind": row.event.kind,
        "state": row.state,
        "status": row.status,
        "answer": row.answer,
        "refusals": row.refusals,
        "made_at": row.made_at,
        "not_before": row.not_before,
        "ended_at": row.ended_at,
    }


class Webhooks(FleetView):
    tag = "webhook"
    roles = _OWNERS

    @extend_schema(operation_id="list_webhooks", responses=page_of(answers.WebhookOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(selectors.webhook_endpoints(self.access), endpoint_json, ("created_at", "id"))

    @extend_schema(operation_id="add_webhook", request=inputs.WebhookIn, responses={201: answers.NewWebhookOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.WebhookIn)
        values.pop("disabled", None)
        endpoint, secret = services.add_endpoint(self.access, **values)
        return self.one({**endpoint_json(endpoint), "secret": secret}, endpoint.version, status=201)


class OneWebhook(FleetView):
    tag = "webhook"
    roles = _OWNERS

    @extend_schema(operation_id="read_webhook", responses=answers.WebhookOut)
    def get(self, request: Any, fleet_id: uuid.UUID, webhook_id: uuid.UUID) -> Response:
        endpoint = selectors.webhook_endpoints(self.access).one(pk=webhook_id)
        return self.one(endpoint_json(endpoint), endpoint.version)

    @extend_schema(operation_id="change_webhook", request=inputs.WebhookIn, responses=answers.WebhookOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, webhook_id: uuid.UUID) -> Response:
        endpoint = selectors.webhook_endpoints(self.access).one(pk=webhook_id)
        self.require_match(endpoint)
        endpoint = services.change_endpoint(self.access, endpoint, **self.parsed(inputs.WebhookIn, partial=True))
        return self.one(endpoint_json(endpoint), endpoint.version)

    @extend_schema(operation_id="delete_webhook", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, webhook_id: uuid.UUID) -> Response:
        endpoint = selectors.webhook_endpoints(self.access).one(pk=webhook_id)
        self.require_match(endpoint)
        services.drop_endpoint(self.access, endpoint)
        return Response(status=204)


class WebhookSecret(FleetView):
    tag = "webhook"
    roles = _OWNERS

    @extend_schema(operation_id="rotate_webhook_secret", request=None, responses=answers.WebhookSecretOut)
    def post(self, request: Any, fleet_id: uuid.UUID, webhook_id: uuid.UUID) -> Response:
        endpoint = selectors.webhook_endpoints(self.access).one(pk=webhook_id)
        return Response({"secret": services.rotate_secret(self.access, endpoint)})


class WebhookTest(FleetView):
    tag = "webhook"
    roles = _OWNERS

    @extend_schema(operation_id="test_webhook", request=None, responses={202: answers.WebhookDeliveryOut})
    def post(self, request: Any, fleet_id: uuid.UUID, webhook_id: uuid.UUID) -> Response:
        endpoint = selectors.webhook_endpoints(self.access).one(pk=webhook_id)
        return Response(delivery_json(services.try_endpoint(self.access, endpoint)), status=202)


class WebhookDeliveries(FleetView):
    tag = "webhook"
    roles = _OWNERS

    @extend_schema(operation_id="list_webhook_deliveries", responses=page_of(answers.WebhookDeliveryOut))
    def get(self, request: Any, fleet_id: uuid.UUID, webhook_id: uuid.UUID) -> Response:
        endpoint = selectors.webhook_endpoints(self.access).one(pk=webhook_id)
        return self.page(selectors.webhook_deliveries(endpoint), delivery_json, ("-made_at", "-id"))


class WebhookReplay(FleetView):
    tag = "webhook"
    roles = _OWNERS

    @extend_schema(operation_id="replay_webhook_delivery", request=None, responses={202: answers.WebhookDeliveryOut})
    def post(self, request: Any, fleet_id: uuid.UUID, webhook_id: uuid.UUID, delivery_id: uuid.UUID) -> Response:
        endpoint = selectors.webhook_endpoints(self.access).one(pk=webhook_id)
        delivery = selectors.webhook_deliveries(endpoint).one(pk=delivery_id)
        return Response(delivery_json(services.replay(self.access, delivery)), status=202)
