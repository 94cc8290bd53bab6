"""Who did what in the fleet, when and from where; for owners."""

from datetime import datetime
from typing import TYPE_CHECKING

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleetcare.fleet.access import Access
from fleetcare.fleet.services.audit_trail import actor_names, entries
from fleetcare.kernel.errors import NotFound
from fleetcare.portal.web.entries import id_of
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.keyset import cursor, cut, place
from fleetcare.portal.web.presenters.audit import entries_shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleetcare.fleet.models import AuditEntry

ENTRIES_A_PAGE = 50


@require_safe
@fleet_page
def trail(request: HttpRequest, access: Access) -> HttpResponse:
    """The latest first."""
    rows, last = cut(_entries(access, request.GET.get("after", "")), ENTRIES_A_PAGE)
    context = {
        "fleet": access.fleet,
        "entries": entries_shown(access.fleet, rows, actor_names(access, rows)),
        "more": cursor(last.at.isoformat(), str(last.pk)) if last else "",
        "later": bool(request.GET.get("after")),
    }
    return render(request, "portal/settings/audit.html", context)


def _entries(access: Access, after: str) -> "Sequence[AuditEntry]":
    rows = entries(access).order_by("-at", "-id")
    found = place(after, 2)
    if found is not None:
        try:
            at = datetime.fromisoformat(found[0])
        except ValueError as error:
            raise NotFound from error
        rows = rows.filter(Q(at__lt=at) | Q(at=at, pk__lt=id_of(found[1])))
    return list(rows[: ENTRIES_A_PAGE + 1])
