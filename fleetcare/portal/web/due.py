"""What is due: the fleet's list, put off or done."""

import uuid
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST
from rest_framework.exceptions import ValidationError

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import DomainError
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.due import due_groups
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.typed import distance
from fleetcare.support.problems import faults_of
from scheduling import selectors
from scheduling.api.due_inputs import DoneIn, DueChange
from scheduling.services.due import close_item, snooze_item

MOST_ITEMS = 300


@require_http_methods(["GET"])
@fleet_page
def due(request: HttpRequest, access: Access) -> HttpResponse:
    """Everything open, the most pressing first."""
    return _list(request, access, [])


def _list(request: HttpRequest, access: Access, faults: list[str]) -> HttpResponse:
    figures, on = Figures.of(access.fleet), today(access.fleet)
    rows = selectors.due_items(access).select_related("vehicle").order_by("-state", "due_on", "id")[: MOST_ITEMS + 1]
    found = list(rows)
    context = {
        "fleet": access.fleet,
        "groups": due_groups(figures, found[:MOST_ITEMS], on),
        "most": MOST_ITEMS if len(found) > MOST_ITEMS else None,
        "faults": faults,
        "today": on.isoformat(),
        "unit": access.fleet.distance_unit,
        "may_work": access.role.includes(Role.INSPECTOR),
        "may_plan": access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/desk/due.html", context, status=422 if faults else 200)


@require_POST
@fleet_page
def act(request: HttpRequest, access: Access, due_id: uuid.UUID) -> HttpResponse:
    """Put an item off, or say that it is done."""
    item = selectors.due_items(access, open_only=False).select_related("vehicle__standing").one(pk=due_id)
    try:
        if request.POST.get("act") == "done":
            close_item(access, item, **_done(request, access))
        else:
            snooze_item(access, item, until=_until(request))
    except ValidationError as error:
        return _list(request, access, [words.told(fault.detail) for fault in faults_of(error.detail)])
    except DomainError as error:
        if error.status in {403, 404}:
            raise
        told = [words.told(fault.detail) for fault in error.faults]
        return _list(request, access, told or [words.told(error.detail)])
    return redirect("due", access.fleet.pk)


def _done(request: HttpRequest, access: Access) -> dict[str, Any]:
    form = request.POST
    body: dict[str, Any] = {"done_on": form.get("done_on", "")}
    if form.get("odometer", "").strip():
        body["odometer"] = {"value": distance(form["odometer"]), "unit": access.fleet.distance_unit}
    if form.get("next_ends_on"):
        body["next_ends_on"] = form["next_ends_on"]
    checked = DoneIn(data=body, context={"access": access})
    checked.is_valid(raise_exception=True)
    values = checked.validated_data
    return {name: values[name] for name in ("done_on", "shown_km", "next_ends_on") if name in values}


def _until(request: HttpRequest) -> date | None:
    checked = DueChange(data={"snoozed_until": request.POST.get("until") or None})
    checked.is_valid(raise_exception=True)
    until: date | None = checked.validated_data["snoozed_until"]
    return until
