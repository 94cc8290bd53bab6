"""What was sent to whom and why, and what was refused."""

from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import NotFound
from fleetcare.portal.web.entries import id_of
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.keyset import cursor, cut, place
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.reminders import letters_shown
from scheduling import selectors

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scheduling.models import Letter

LETTERS_A_PAGE = 50


@require_safe
@fleet_page
def log(request: HttpRequest, access: Access) -> HttpResponse:
    """Every mail, the latest first; addresses for planners only."""
    rows, last = cut(_letters(access, request.GET.get("after", "")), LETTERS_A_PAGE)
    subjects = [each.item or each.event for row in rows for each in row.deliveries.all()]
    ids = {subject.vehicle_id for subject in subjects if subject is not None}
    names = dict(fleet_selectors.vehicles(access, pk__in=ids).values_list("pk", "name"))
    zone, planner = ZoneInfo(access.fleet.time_zone), access.role.includes(Role.PLANNER)
    context = {
        "fleet": access.fleet,
        "letters": letters_shown(Figures.of(access.fleet), zone, rows, names, with_address=planner),
        "more": cursor(last.made_at.isoformat(), str(last.pk)) if last else "",
        "later": bool(request.GET.get("after")),
    }
    return render(request, "portal/settings/reminder_log.html", context)


def _letters(access: Access, after: str) -> "Sequence[Letter]":
    rows = selectors.letters(access).order_by("-made_at", "-id")
    found = place(after, 2)
    if found is not None:
        try:
            made_at = datetime.fromisoformat(found[0])
        except ValueError as error:
            raise NotFound from error
        rows = rows.filter(Q(made_at__lt=made_at) | Q(made_at=made_at, pk__lt=id_of(found[1])))
    return list(rows[: LETTERS_A_PAGE + 1])
