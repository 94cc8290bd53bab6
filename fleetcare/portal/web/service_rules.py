"""What is to be done on a vehicle every so far or so often, and what runs out on a day."""

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.portal.web.entries import checked, done
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.rules import done_shown, rules_shown, templates_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from fleetcare.portal.web.service_rule_forms import DayForm, DoneForm, WorkForm, form_of
from fleetcare.support.versions import require_match
from inspections.catalogue.conditions import all_hold, parse_all
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.service_templates import ServiceTemplate, service_templates
from scheduling import selectors
from scheduling.api import due_inputs
from scheduling.services.due import add_from_templates, add_rule, change_rule, drop_rule, fits, mark_done

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle
    from scheduling.models import ServiceRule

TIMES_SHOWN = 40
_CATALOGUE, _WORK, _DAY = "catalogue", "work", "day"


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def rules(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Every rule about a vehicle with its last time and its next; a planner adds some."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    what = request.POST.get("what") if request.method == "POST" else ""
    fleet, data = access.fleet, request.POST
    work = WorkForm(fleet, data if what == _WORK else None, auto_id="work_%s", with_reach=True)
    day = DayForm(fleet, data if what == _DAY else None, auto_id="day_%s", with_reach=True)
    if request.method == "POST":
        access.require(Role.PLANNER)
        if what == _CATALOGUE:
            add_from_templates(access, vehicle, data.getlist("template"))
            messages.success(request, gettext("Taken over. Set each to what the maker’s book says."))
            return redirect("rules", fleet.pk, vehicle.pk)
        form = work if what == _WORK else day
        if form.is_valid() and done(form, lambda: _add(access, vehicle, form)):
            messages.success(request, gettext("Kept."))
            return redirect("rules", fleet.pk, vehicle.pk)
    context = {**_listed(access, vehicle), "work": work, "day": day}
    return render(request, "portal/vehicle/rules.html", context, status=422 if work.errors or day.errors else 200)


def _add(access: Access, vehicle: "Vehicle", form: WorkForm | DayForm) -> None:
    whole_fleet = form.cleaned_data["reach"] == "fleet"
    add_rule(access, None if whole_fleet else vehicle, **checked(due_inputs.RuleNew, form.body(), access))


def _listed(access: Access, vehicle: "Vehicle") -> dict[str, Any]:
    """What the list shows: three queries."""
    figures, on = Figures.of(access.fleet), today(access.fleet)
    about = [rule for rule in selectors.rules_about(access, vehicle).order_by("title", "id") if fits(rule, vehicle)]
    record = selectors.done_on_vehicle(access, vehicle)
    due = selectors.vehicle_due(vehicle, source__startswith="rule:").select_related("vehicle")
    templates = templates_shown(figures, _fitting(vehicle), about)
    return {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, on),
        "rules": rules_shown(figures, about, record, due, on),
        "templates": [entry for entry in templates if not entry.used],
        "today": on.isoformat(),
        "unit": access.fleet.distance_unit,
        "may_work": access.role.includes(Role.INSPECTOR),
        "may_plan": access.role.includes(Role.PLANNER),
    }


def _fitting(vehicle: "Vehicle") -> list[ServiceTemplate]:
    """The catalogue's templates for a vehicle with these traits."""
    traits = default_catalogue().with_defaults(vehicle.traits)
    return [entry for entry in service_templates().values() if all_hold(parse_all(entry.needs), traits)]


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def rule(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, rule_id: uuid.UUID) -> HttpResponse:
    """One rule: when it was done, done again, changed, rested, taken away."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    found = selectors.rule_of(access, rule_id, vehicle)
    act = request.POST.get("act", "") if request.method == "POST" else ""
    form = form_of(found, access.fleet, request.POST if act == "change" else None)
    asks = not (found.every_km or found.every_months)
    said = request.POST if act == "done" else None
    day = {"done_on": today(access.fleet).isoformat()}
    entry = DoneForm(access.fleet, said, asks_next_end=asks, auto_id="done_%s", initial=day)
    if act in {"pause", "resume", "drop"}:
        return _settle(request, access, vehicle, found, act)
    if act == "done" and entry.is_valid() and done(entry, lambda: _done(access, vehicle, found, entry)):
        messages.success(request, gettext("It is on record."))
        return redirect("rules", access.fleet.pk, vehicle.pk)
    if act == "change" and form.is_valid() and done(form, lambda: _change(access, found, form)):
        messages.success(request, gettext("Kept."))
        return redirect("rules", access.fleet.pk, vehicle.pk)
    context = {**_one(access, vehicle, found), "form": form, "entry": entry}
    return render(request, "portal/vehicle/rule.html", context, status=422 if form.errors or entry.errors else 200)


def _settle(request: HttpRequest, access: Access, vehicle: "Vehicle", rule: "ServiceRule", act: str) -> HttpResponse:
    if act == "drop":
        drop_rule(access, rule)
        messages.success(request, gettext("The rule and its record are gone."))
    else:
        change_rule(access, rule, active=act == "resume")
        told = gettext("It rests: nothing of it falls due.") if act == "pause" else gettext("It counts again.")
        messages.success(request, told)
    return redirect("rules", access.fleet.pk, vehicle.pk)


def _done(access: Access, vehicle: "Vehicle", rule: "ServiceRule", entry: DoneForm) -> None:
    values = checked(due_inputs.RuleDoneNew, entry.body(), access)
    names = ("shown_km", "next_ends_on", "note")
    mark_done(
        access, rule, vehicle, done_on=values["done_on"], **{name: values[name] for name in names if name in values}
    )


def _change(access: Access, rule: "ServiceRule", form: Any) -> None:
    require_match(form.cleaned_data["version"] or None, rule.version)
    change_rule(access, rule, **checked(due_inputs.RuleChange, form.body(), access))


def _one(access: Access, vehicle: "Vehicle", rule: "ServiceRule") -> dict[str, Any]:
    figures, on = Figures.of(access.fleet), today(access.fleet)
    record = list(selectors.service_record(access, rule, vehicle).order_by("-done_on", "-id")[:TIMES_SHOWN])
    due = selectors.vehicle_due(vehicle, source=f"rule:{rule.pk}").select_related("vehicle")
    (told,) = rules_shown(figures, [rule], reversed(record), due, on)
    return {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, on),
        "rule": told,
        "record": [done_shown(figures, row) for row in record],
        "title": _("A rule of the whole fleet") if told.of_fleet else _("Rule"),
        "may_work": access.role.includes(Role.INSPECTOR),
        "may_plan": access.role.includes(Role.PLANNER),
    }
