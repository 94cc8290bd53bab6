"""Everything that happened to a vehicle, in pages."""

import uuid
from datetime import date
from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.kernel.errors import NotFound
from fleetcare.portal.record.timeline import Kind, Place, changes_of, entries
from fleetcare.portal.web.entries import id_of
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.keyset import cursor, cut, place
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.timeline import FILTERS, timeline_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown

if TYPE_CHECKING:
    from fleetcare.portal.record.timeline import Entry

ENTRIES_A_PAGE = 60


@require_safe
@fleet_page
def history(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """One dated list, the latest first, narrowed to one kind where that is asked for."""
    vehicle = selectors.vehicle_of(access, vehicle_id)
    only = request.GET.get("only", "")
    if only not in FILTERS:
        raise NotFound
    after = _after(request.GET.get("after", ""))
    rows, last = cut(entries(vehicle, ENTRIES_A_PAGE + 1, after, FILTERS[only][1]), ENTRIES_A_PAGE)
    changes = changes_of(vehicle, [row.id for row in rows if row.kind == Kind.INSPECTION])
    figures = Figures.of(access.fleet)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, today(access.fleet)),
        "entries": timeline_shown(figures, rows, changes),
        "filters": [(key, title, key == only) for key, (title, _kinds) in FILTERS.items()],
        "only": only,
        "more": _cursor(last) if last else "",
        "later": after is not None,
    }
    return render(request, "portal/vehicle/history.html", context)


def _cursor(entry: "Entry") -> str:
    return cursor(entry.day.isoformat(), str(int(entry.kind)), str(entry.id))


def _after(text: str) -> Place | None:
    found = place(text, 3)
    if found is None:
        return None
    try:
        return Place(date.fromisoformat(found[0]), Kind(int(found[1])), id_of(found[2]))
    except ValueError as error:
        raise NotFound from error
