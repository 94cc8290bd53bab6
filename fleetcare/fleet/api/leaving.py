"""Having a fleet erased, and stopping that."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from fleetcare.fleet.api import answers
from fleetcare.fleet.api.base import FleetView
from fleetcare.fleet.services.leaving import keep_fleet, leave_fleet, leaving_of
from fleetcare.fleet.words import Role
from fleetcare.support.strict import StrictSerializer


class LeavingIn(StrictSerializer):
    name = serializers.CharField(max_length=120, help_text="The fleet's name, so that no other is meant.")

    def validate_name(self, value: str) -> str:
        if value != self.context["access"].fleet.name:
            raise serializers.ValidationError("That is not this fleet's name.", code="other-name")
        return value


class LeavingOut(answers.Answer):
    asked_by = serializers.CharField(allow_null=True)
    asked_at = serializers.DateTimeField(allow_null=True)
    erase_after = serializers.DateTimeField(allow_null=True, help_text="Until then any owner can stop it.")


class Leaving(FleetView):
    """The fleet's erasure: asked for, read, and stopped; all empty while nobody has asked for it."""

    roles = {"GET": Role.OWNER, "POST": Role.OWNER, "DELETE": Role.OWNER}

    @extend_schema(operation_id="read_leaving", responses=LeavingOut)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return Response(_json(leaving_of(self.access)))

    @extend_schema(operation_id="leave", request=LeavingIn, responses={201: LeavingOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        self.parsed(LeavingIn)
        return Response(_json(leave_fleet(self.access)), status=201)

    @extend_schema(operation_id="stay", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID) -> Response:
        keep_fleet(self.access)
        return Response(status=204)


def _json(found: Any) -> dict[str, Any]:
    return {name: getattr(found, name, None) for name in ("asked_by", "asked_at", "erase_after")}
