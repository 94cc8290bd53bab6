"""The audit trail of a fleet, for its owners."""

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from fleetcare.fleet.api import answers
from fleetcare.fleet.api.base import FleetView
from fleetcare.fleet.services.audit_trail import actor_names, entries, entry_json
from fleetcare.fleet.words import Role
from fleetcare.support.pages import CursorPages
from fleetcare.support.strict import StrictSerializer


class AuditEntryOut(answers.Answer):
    id = serializers.UUIDField()
    at = serializers.DateTimeField()
    actor = serializers.RegexField(
        r"^(user:.+|key:.+|system|stranger|database)$",
        help_text="`system` is the software itself, `stranger` whoever holds a link, `database` somebody past both.",
    )
    actor_name = serializers.CharField(allow_blank=True, help_text="Empty where nobody of that id is left.")
    address = serializers.CharField(allow_blank=True, help_text="An IPv4 address, or the /64 network of an IPv6 one.")
    request_id = serializers.CharField(allow_blank=True)
    action = serializers.CharField(help_text="`created`, `changed`, `deleted`, or what happened to an account.")
    what = serializers.CharField(help_text="The kind of thing; `account` for what concerns a login.")
    subject_id = serializers.UUIDField(allow_null=True)
    before = serializers.DictField(allow_null=True, help_text="The columns that changed; all where it was deleted.")
    after = serializers.DictField(allow_null=True, help_text="The columns that changed; all where it was created.")


class AuditAsk(StrictSerializer):
    what = serializers.CharField(required=False, max_length=48)
    actor = serializers.CharField(required=False, max_length=48)
    action = serializers.CharField(required=False, max_length=24)
    subject_id = serializers.UUIDField(required=False)


class Audit(FleetView):
    """Who did what, when and from where: the latest first, append-only."""

    roles = {"GET": Role.OWNER}
    parameters = ("what", "actor", "action", "subject_id")

    @extend_schema(
        operation_id="read_audit_trail",
        parameters=[
            OpenApiParameter("what", str),
            OpenApiParameter("actor", str),
            OpenApiParameter("action", str),
            OpenApiParameter("subject_id", uuid.UUID),
        ],
        responses=answers.page_of(AuditEntryOut),
    )
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        asked = AuditAsk(data={name: value for name, value in request.query_params.items() if name in self.parameters})
        asked.is_valid(raise_exception=True)
        pages = CursorPages()
        pages.ordering = ("-at", "-id")
        rows = pages.paginate_queryset(entries(self.access).filter(**asked.validated_data), request, view=self) or ()
        names = actor_names(self.access, rows)
        return pages.get_paginated_response([entry_json(row, names) for row in rows])
