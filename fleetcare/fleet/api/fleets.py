"""Fleets, members, keys, contacts."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet import selectors
from fleetcare.fleet.access import signed_in_person
from fleetcare.fleet.api import answers, inputs, shapes
from fleetcare.fleet.api.base import FleetView
from fleetcare.fleet.api.view import ApiView
from fleetcare.fleet.services import fleets as services
from fleetcare.fleet.services.keys import create_key, revoke_key
from fleetcare.fleet.words import Role
from fleetcare.support.pages import CursorPages
from fleetcare.support.strict import refuse_unknown_parameters

OWNER = Role.OWNER


class Fleets(ApiView):
    """The fleets of whoever asks."""

    tag = "fleet"

    @extend_schema(operation_id="list_fleets", responses=answers.page_of(answers.FleetOut))
    def get(self, request: Any) -> Response:
        refuse_unknown_parameters(request.query_params, ("limit", "cursor"))
        if request.auth is not None:
            rows = [request.auth.fleet]
            return Response({"items": [shapes.fleet_json(row) for row in rows], "next": None, "previous": None})
        pages = CursorPages()
        pages.ordering = ("name", "id")
        found = pages.paginate_queryset(selectors.fleets_of(signed_in_person(request.user)), request, view=self)
        return pages.get_paginated_response([shapes.fleet_json(row) for row in found or ()])

    @extend_schema(operation_id="create_fleet", request=inputs.FleetNew, responses={201: answers.FleetOut})
    def post(self, request: Any) -> Response:
        user = signed_in_person(request.user)
        checked = inputs.FleetNew(data=request.data)
        checked.is_valid(raise_exception=True)
        fleet = services.create_fleet(user, **checked.validated_data).fleet
        return Response(shapes.fleet_json(fleet), status=201, headers={"Location": f"{request.path}{fleet.pk}/"})


class OneFleet(FleetView):
    roles = {"PATCH": OWNER}

    @extend_schema(operation_id="read_fleet", responses=answers.FleetOut)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.one(shapes.fleet_json(self.access.fleet), self.access.fleet.version)

    @extend_schema(operation_id="change_fleet", request=inputs.FleetChange, responses=answers.FleetOut)
    def patch(self, request: Any, fleet_id: uuid.UUID) -> Response:
        self.require_match(self.access.fleet)
        values = self.parsed(inputs.FleetChange, partial=True)
        fleet = services.change_fleet(self.access, **values)
        return self.one(shapes.fleet_json(fleet), fleet.version)


class Members(FleetView):
    roles = {"POST": OWNER}

    @extend_schema(operation_id="list_members", responses=answers.page_of(answers.MemberOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(selectors.memberships(self.access), shapes.member_json, ("created_at", "id"))

    @extend_schema(operation_id="add_member", request=inputs.MemberNew, responses={201: answers.MemberOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.MemberNew)
        member = services.add_member(self.access, email=values["email"], role=Role(values["role"]))
        return Response(shapes.member_json(member), status=201)


class OneMember(FleetView):
    roles = {"PATCH": OWNER, "DELETE": Role.VIEWER}

    @extend_schema(operation_id="read_member", responses=answers.MemberOut)
    def get(self, request: Any, fleet_id: uuid.UUID, member_id: uuid.UUID) -> Response:
        return Response(shapes.member_json(selectors.memberships(self.access).one(pk=member_id)))

    @extend_schema(operation_id="change_member", request=inputs.MemberChange, responses=answers.MemberOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, member_id: uuid.UUID) -> Response:
        member = selectors.memberships(self.access).one(pk=member_id)
        role = Role(self.parsed(inputs.MemberChange)["role"])
        return Response(shapes.member_json(services.change_member(self.access, member, role=role)))

    @extend_schema(operation_id="remove_member", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, member_id: uuid.UUID) -> Response:
        services.remove_member(self.access, selectors.memberships(self.access).one(pk=member_id))
        return Response(status=204)


class Keys(FleetView):
    roles = {"GET": OWNER, "POST": OWNER}

    @extend_schema(operation_id="list_keys", responses=answers.page_of(answers.KeyOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(selectors.keys(self.access), shapes.key_json, ("created_at", "id"))

    @extend_schema(operation_id="create_key", request=inputs.KeyNew, responses={201: answers.NewKeyOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.KeyNew)
        key, text = create_key(
            self.access, name=values["name"], role=Role(values["role"]), expires_at=values.get("expires_at")
        )
        return Response({**shapes.key_json(key), "key": text}, status=201)


class OneKey(FleetView):
    roles = {"GET": OWNER, "DELETE": OWNER}

    @extend_schema(operation_id="read_key", responses=answers.KeyOut)
    def get(self, request: Any, fleet_id: uuid.UUID, key_id: uuid.UUID) -> Response:
        return Response(shapes.key_json(selectors.keys(self.access).one(pk=key_id)))

    @extend_schema(operation_id="revoke_key", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, key_id: uuid.UUID) -> Response:
        revoke_key(self.access, selectors.keys(self.access).one(pk=key_id))
        return Response(status=204)


class Contacts(FleetView):
    @extend_schema(operation_id="list_contacts", responses=answers.page_of(answers.ContactOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self.page(selectors.contacts(self.access), shapes.contact_json, ("created_at", "id"))

    @extend_schema(operation_id="create_contact", request=inputs.ContactIn, responses={201: answers.ContactOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.ContactIn)
        contact = services.save_contact(self.access, None, vehicles=values.pop("vehicles", None), **values)
        return self.one(shapes.contact_json(contact), contact.version, status=201)


class OneContact(FleetView):
    @extend_schema(operation_id="read_contact", responses=answers.ContactOut)
    def get(self, request: Any, fleet_id: uuid.UUID, contact_id: uuid.UUID) -> Response:
        contact = selectors.contacts(self.access).one(pk=contact_id)
        return self.one(shapes.contact_json(contact), contact.version)

    @extend_schema(operation_id="change_contact", request=inputs.ContactIn, responses=answers.ContactOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, contact_id: uuid.UUID) -> Response:
        contact = selectors.contacts(self.access).one(pk=contact_id)
        self.require_match(contact)
        values = self.parsed(inputs.ContactIn, partial=True)
        services.save_contact(self.access, contact, vehicles=values.pop("vehicles", None), **values)
        contact = selectors.contacts(self.access).one(pk=contact_id)
        return self.one(shapes.contact_json(contact), contact.version)

    @extend_schema(operation_id="delete_contact", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, contact_id: uuid.UUID) -> Response:
        contact = selectors.contacts(self.access).one(pk=contact_id)
        self.require_match(contact)
        contact.delete()
        return Response(status=204)
