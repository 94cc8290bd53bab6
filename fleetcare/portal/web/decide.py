"""The decide page: money and hours in, the best set of jobs out, and what each further amount would buy."""

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST
from rest_framework.exceptions import ValidationError

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import FleetKind, Role
from fleetcare.kernel.errors import Fault, InvalidInput
from fleetcare.portal.web.decide_form import FIRST_VISITS, VISITS, body_of, people_shown, rows_shown, week_of
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.plan_week import week_shown
from fleetcare.portal.web.presenters.plans import frontier_shown, plan_shown, summaries_shown
from fleetcare.support.problems import faults_of
from scheduling.api.plan_inputs import PlanNew, ask_of
from scheduling.core.planner.frontier import Of
from scheduling.selectors import plans_listed
from scheduling.services import plans

LAST_PLANS = 10
MOST_VEHICLES = 500
FRONTIER_STEPS = 6


@require_http_methods(["GET", "POST"])
@fleet_page
def decide(request: HttpRequest, access: Access) -> HttpResponse:
    """Ask for a plan: which vehicles, which visits."""
    access.require(Role.PLANNER)
    faults: list[Fault] = []
    if request.method == "POST" and "week" not in request.POST:
        try:
            plan = plans.make_plan(access, ask_of(_asked(request, access)), exact=True)
        except InvalidInput as error:
            faults = list(error.faults)
        else:
            return redirect("plan", access.fleet.pk, plan.pk)
    return render(request, "portal/desk/decide.html", _context(request, access, faults), status=422 if faults else 200)


def _asked(request: HttpRequest, access: Access) -> dict[str, Any]:
    """The question as the API would be asked; raises InvalidInput with the places of the form."""
    checked = PlanNew(data=body_of(request.POST, access.fleet.currency), context={"access": access})
    try:
        checked.is_valid(raise_exception=True)
    except ValidationError as error:
        raise InvalidInput.of(faults_of(error.detail)) from error
    values: dict[str, Any] = checked.validated_data
    return values


def _context(request: HttpRequest, access: Access, faults: list[Fault]) -> dict[str, Any]:
    figures, on = Figures.of(access.fleet), today(access.fleet)
    form = week_of(request.POST, on) if "week" in request.POST else request.POST
    visits = rows_shown(form, faults, on, VISITS)
    chosen = set(form.getlist("vehicle") or request.GET.getlist("vehicle"))
    rows = fleet_selectors.vehicles(access, archived=False).order_by("name", "id")[:MOST_VEHICLES]
    listed = list(plans_listed(access).order_by("-created_at", "-id")[:LAST_PLANS])
    return {
        "fleet": access.fleet,
        "vehicles": [
            {
                "id": str(row.pk),
                "name": row.name,
                "plate": row.plate,
                "money": figures.money(row.standing.backlog_cost_minor),
                "chosen": str(row.pk) in chosen,
                "do_not_drive": row.standing.do_not_drive,
            }
            for row in rows
        ],
        "rows": visits[:FIRST_VISITS],
        "more_rows": visits[FIRST_VISITS:],
        "more_open": any(row["date"] for row in visits[FIRST_VISITS:]),
        "people": people_shown(form),
        "people_open": any(person["name"] for person in people_shown(form)),
        "levels": [(str(level), words.difficulty(level)) for level in range(5, 0, -1)],
        "carry_over": not form or form.get("carry_over") == "on",
        "currency": access.fleet.currency,
        "workshop": access.fleet.kind == FleetKind.WORKSHOP,
        "faults": [words.told(fault.detail) for fault in faults],
        "plans": summaries_shown(figures, plans.plan_summaries(access, listed)),
        "today": on.isoformat(),
    }


@require_http_methods(["GET"])
@fleet_page
def plan(request: HttpRequest, access: Access, plan_id: uuid.UUID) -> HttpResponse:
    """One plan: its visits, what is left out and why, and what more would buy."""
    row = plans.plan_of(access, plan_id)
    figures = Figures.of(access.fleet)
    document = plans.plan_json(access, row)
    names = dict(fleet_selectors.vehicles(access).values_list("pk", "name"))
    shown = plan_shown(figures, document, {str(key): name for key, name in names.items()})
    may_plan = access.role.includes(Role.PLANNER)
    of: Of = "minutes" if request.GET.get("more") == "hours" else "money"
    more = None
    if may_plan and request.GET.get("more") in {"hours", "money"} and not shown.past:
        asked = plans.PlanAsk.of_json(row.asked)
        more = frontier_shown(figures, plans.plan_frontier(access, asked, of=of, steps=FRONTIER_STEPS), shown.names)
    context = {
        "fleet": access.fleet,
        "plan": shown,
        "week": week_shown(figures, document, row.asked),
        "plan_id": row.pk,
        "more": more,
        "may_plan": may_plan,
    }
    return render(request, "portal/desk/plan.html", context)


@require_POST
@fleet_page
def renew(request: HttpRequest, access: Access, plan_id: uuid.UUID) -> HttpResponse:
    """The same question asked again on what is known today."""
    old = plans.plan_of(access, plan_id)
    try:
        fresh = plans.renew_plan(access, old, exact=True)
    except InvalidInput as error:
        context = {**_context(request, access, list(error.faults))}
        context["faults"] = [_("It cannot be asked again as it was; ask anew."), *context["faults"]]
        return render(request, "portal/desk/decide.html", context, status=422)
    return redirect("plan", access.fleet.pk, fresh.pk)


@require_POST
@fleet_page
def forget(request: HttpRequest, access: Access, plan_id: uuid.UUID) -> HttpResponse:
    """Take a plan away; what it planned is untouched."""
    plans.delete_plan(access, plans.plan_of(access, plan_id))
    return redirect("decide", access.fleet.pk)
