"""Invitations to a fleet."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet import selectors
from fleetcare.fleet.api import answers, inputs, shapes
from fleetcare.fleet.api.base import FleetView
from fleetcare.fleet.services.invitations import invite, revoke_invitation
from fleetcare.fleet.words import Role


class Invitations(FleetView):
    roles = {"GET": Role.OWNER, "POST": Role.OWNER}

    @extend_schema(operation_id="list_invitations", responses=answers.page_of(answers.InvitationOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(selectors.invitations(self.access), shapes.invitation_json, ("-created_at", "-id"))

    @extend_schema(operation_id="invite", request=inputs.InvitationNew, responses={201: answers.InvitationOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.InvitationNew)
        invitation = invite(self.access, email=values["email"], role=Role(values["role"]))
        location = {"Location": f"{request.path}{invitation.pk}/"}
        return Response(shapes.invitation_json(invitation), status=201, headers=location)


class OneInvitation(FleetView):
    roles = {"GET": Role.OWNER, "DELETE": Role.OWNER}

    @extend_schema(operation_id="read_invitation", responses=answers.InvitationOut)
    def get(self, request: Any, fleet_id: uuid.UUID, invitation_id: uuid.UUID) -> Response:
        return Response(shapes.invitation_json(selectors.invitations(self.access).one(pk=invitation_id)))

    @extend_schema(operation_id="revoke_invitation", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, invitation_id: uuid.UUID) -> Response:
        revoke_invitation(self.access, selectors.invitations(self.access).one(pk=invitation_id))
        return Response(status=204)
