"""Secret addresses of calendars: listed, made, revoked."""

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
from scheduling.services.calendar_links import (
    make_calendar_link,
    own_links_of,
    revoke_calendar_link,
    sees_all_links,
)

if TYPE_CHECKING:
    from scheduling.models import CalendarLink

Json = dict[str, Any]


def link_json(link: CalendarLink) -> Json:
    return {
        "id": link.pk,
        "name": link.name,
        "member": link.reader.membership_id,
        "contact": link.reader.contact_id,
        "created_at": link.created_at,
        "last_read_at": link.last_read_at,
        "revoked_at": link.revoked_at,
    }


class CalendarLinks(FleetView):
    """One's own links; for planners those of everybody."""

    tag = "reminder"
    roles = {"POST": Role.VIEWER}

    @extend_schema(operation_id="list_calendar_links", responses=page_of(answers.CalendarLinkOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        rows = selectors.calendar_links(self.access)
        if not sees_all_links(self.access):
            rows = rows.filter(**own_links_of(self.access))
        return self.page(rows, link_json, ("-created_at", "id"))

    @extend_schema(
        operation_id="make_calendar_link",
        request=inputs.CalendarLinkNew,
        responses={201: answers.NewCalendarLinkOut},
    )
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        link, url = make_calendar_link(self.access, **self.parsed(inputs.CalendarLinkNew))
        return Response({**link_json(link), "url": url}, status=201)


class OneCalendarLink(FleetView):
    tag = "reminder"
    roles = {"DELETE": Role.VIEWER}

    @extend_schema(operation_id="revoke_calendar_link", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, link_id: uuid.UUID) -> Response:
        revoke_calendar_link(self.access, selectors.calendar_links(self.access).one(pk=link_id))
        return Response(status=204)
