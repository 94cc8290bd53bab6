"""The condition report as a PDF, and private links to it."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.utils import timezone, translation
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.response import Response

from fleetcare.fleet.api.answers import Answer, page_of
from fleetcare.fleet.api.base import Json, VehicleView
from fleetcare.portal.reports import links
from fleetcare.portal.reports.answering import address_of, pdf_response
from fleetcare.portal.reports.condition import condition_report
from fleetcare.portal.reports.papers import PAPERS
from fleetcare.portal.web.preferences import language_of
from fleetcare.support.negotiation import FilesAsTheyAre
from fleetcare.support.strict import StrictSerializer

if TYPE_CHECKING:
    from fleetcare.portal.models import SharedLink

LINK_STATES = ["open", "expired", "revoked"]


class LinkIn(StrictSerializer):
    days = serializers.IntegerField(min_value=1, max_value=links.LONGEST_DAYS, default=links.USUAL_DAYS)
    note = serializers.CharField(max_length=120, required=False, allow_blank=True)


class LinkOut(Answer):
    id = serializers.UUIDField()
    note = serializers.CharField(allow_blank=True)
    state = serializers.ChoiceField(LINK_STATES)
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    revoked_at = serializers.DateTimeField(allow_null=True)


class NewLinkOut(LinkOut):
    url = serializers.URLField(help_text="Told only now: of its secret nothing but a digest is stored.")


_LINKS = page_of(LinkOut)


def link_json(link: SharedLink) -> Json:
    return {
        "id": link.pk,
        "note": link.note,
        "state": links.state_of(link, timezone.now()),
        "created_at": link.created_at,
        "expires_at": link.expires_at,
        "revoked_at": link.revoked_at,
    }


class ReportPdf(VehicleView):
    parameters = ("paper",)
    costly = frozenset({"GET"})

    content_negotiation_class = FilesAsTheyAre

    @extend_schema(
        operation_id="read_report_pdf",
        parameters=[OpenApiParameter("paper", str, enum=list(PAPERS))],
        responses={(200, "application/pdf"): OpenApiTypes.BINARY},
    )
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> HttpResponse:
        paper = request.query_params.get("paper", "a4")
        if paper not in PAPERS:
            raise ValidationError({"paper": [ErrorDetail(f"One of {', '.join(PAPERS)}.", "choice")]})
        with translation.override(language_of(request)):
            return pdf_response(condition_report(self.access, self.vehicle), paper, address_of(request, self.vehicle))


class Links(VehicleView):
    @extend_schema(operation_id="list_report_links", responses=_LINKS)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return self.page(links.links_of(self.access, self.vehicle), link_json, ("-created_at", "-id"))

    @extend_schema(operation_id="share_report", request=LinkIn, responses={201: NewLinkOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(LinkIn)
        link, token = links.share_report(self.access, self.vehicle, days=values["days"], note=values.get("note", ""))
        return Response({**link_json(link), "url": links.url_of(request, token)}, status=201)


class OneLink(VehicleView):
    @extend_schema(operation_id="read_report_link", responses=LinkOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, report_link_id: uuid.UUID) -> Response:
        return Response(link_json(links.links_of(self.access, self.vehicle).one(pk=report_link_id)))

    @extend_schema(operation_id="revoke_report_link", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, report_link_id: uuid.UUID) -> Response:
        links.revoke_link(self.access, links.links_of(self.access, self.vehicle).one(pk=report_link_id))
        return Response(status=204)
