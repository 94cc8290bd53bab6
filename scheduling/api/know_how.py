"""Know-how about a vehicle's make and model."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from fleetcare.fleet.api.answers import Answer, page_of
from fleetcare.fleet.api.base import Json, VehicleView
from fleetcare.fleet.api.inputs import NumberField
from fleetcare.fleet.words import Role
from fleetcare.support.strict import StrictSerializer
from scheduling import selectors
from scheduling.services.know_how import add_know_how, change_know_how, drop_know_how, model_key_of
from scheduling.words import NoteKind

if TYPE_CHECKING:
    from scheduling.models import KnowHow

_RENAMED = {"part": "part_key", "job": "job_key", "check": "check_key"}


class KnowHowIn(StrictSerializer):
    """A note about a part, a job or a check; a tightening figure takes value, unit (N·m or lb·ft) and source."""

    part = serializers.CharField(max_length=60, required=False, allow_blank=True)
    job = serializers.CharField(max_length=100, required=False, allow_blank=True)
    check = serializers.CharField(max_length=100, required=False, allow_blank=True)
    kind = serializers.ChoiceField(NoteKind.choices)
    text = serializers.CharField(max_length=2000)
    value = NumberField(required=False, allow_null=True)
    unit = serializers.CharField(max_length=12, required=False, allow_blank=True)
    source = serializers.CharField(max_length=300, required=False, allow_blank=True)  # type: ignore[assignment]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return {_RENAMED.get(name, name): value for name, value in attrs.items()}


class KnowHowOut(Answer):
    id = serializers.UUIDField()
    make = serializers.CharField()
    model = serializers.CharField()
    part = serializers.CharField(allow_null=True)
    job = serializers.CharField(allow_null=True)
    check = serializers.CharField(allow_null=True)
    kind = serializers.ChoiceField(NoteKind.choices)
    text = serializers.CharField()
    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField(allow_blank=True)
    source = serializers.CharField(allow_blank=True)  # type: ignore[assignment]
    author = serializers.CharField(allow_blank=True)
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()


def know_how_json(note: KnowHow) -> Json:
    """A note as the API answers it."""
    return {
        "id": note.pk,
        "make": note.make,
        "model": note.model,
        "part": note.part_key or None,
        "job": note.job_key or None,
        "check": note.check_key or None,
        "kind": note.kind,
        "text": note.text,
        "value": None if note.value is None else float(note.value),
        "unit": note.unit,
        "source": note.source,
        "author": note.author,
        "created_at": note.created_at,
        "changed_at": note.changed_at,
    }


class KnowHowView(VehicleView):
    tag = "know-how"

    def rows(self, part: str = "") -> Any:
        """The notes of this vehicle's make and model; none where either is not said."""
        key = model_key_of(self.vehicle)
        return selectors.know_how(self.access, [key] if key else [], part)


class VehicleKnowHow(KnowHowView):
    roles = {"POST": Role.INSPECTOR}
    parameters = ("part",)

    @extend_schema(
        operation_id="list_know_how", parameters=[OpenApiParameter("part", str)], responses=page_of(KnowHowOut)
    )
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rows = self.rows(request.query_params.get("part", ""))
        return self.page(rows, know_how_json, ("created_at", "id"))

    @extend_schema(operation_id="add_know_how", request=KnowHowIn, responses={201: KnowHowOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        note = add_know_how(self.access, self.vehicle, **self.parsed(KnowHowIn))
        return self.one(know_how_json(note), note.version, status=201, location=f"{request.path}{note.pk}/")


class OneKnowHow(KnowHowView):
    # Whoever wrote a note may take it away; the service decides.
    roles = {"PATCH": Role.INSPECTOR, "DELETE": Role.INSPECTOR}

    @extend_schema(operation_id="read_know_how", responses=KnowHowOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, know_how_id: uuid.UUID) -> Response:
        note = self.rows().one(pk=know_how_id)
        return self.one(know_how_json(note), note.version)

    @extend_schema(operation_id="change_know_how", request=KnowHowIn, responses=KnowHowOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, know_how_id: uuid.UUID) -> Response:
        note = self.rows().one(pk=know_how_id)
        self.require_match(note)
        change_know_how(self.access, note, **self.parsed(KnowHowIn, partial=True))
        return self.one(know_how_json(note), note.version)

    @extend_schema(operation_id="delete_know_how", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, know_how_id: uuid.UUID) -> Response:
        note = self.rows().one(pk=know_how_id)
        self.require_match(note)
        drop_know_how(self.access, note)
        return Response(status=204)
