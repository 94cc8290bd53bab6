"""Keep a vehicle or replace it: the user's figures in, both yearly costs and the break-even bill out."""

import uuid
from typing import TYPE_CHECKING, Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.portal.web.entries import checked, done
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.keep_form import KeepForm
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.keeping import KeepingShown, keeping_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from scheduling.api import keeping_inputs as inputs
from scheduling.services.keep_or_replace import compare

if TYPE_CHECKING:
    from fleetcare.fleet.models import Vehicle

USUAL = {"keep_years": "3", "replace_years": "6", "interest": "2"}
"""What the form begins with: years people think ahead, and what money brings elsewhere. Common practice, no source."""


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def keep(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """Everybody may ask; nothing is stored, so the answer stands on the page that asked."""
    vehicle, fleet = selectors.vehicle_of(access, vehicle_id), access.fleet
    figures = Figures.of(fleet)
    form = KeepForm(fleet.distance_unit, request.POST if request.method == "POST" else None, initial=USUAL)
    answers: list[KeepingShown] = []
    if request.method == "POST" and form.is_valid():
        done(form, lambda: answers.append(_answered(access, vehicle, figures, form)))
    context = {
        "fleet": fleet,
        "vehicle": vehicle_shown(figures, vehicle, today(fleet)),
        "form": form,
        "keep_fields": [form[name] for name in form.fields if name.startswith("keep_")],
        "replace_fields": [form[name] for name in form.fields if name.startswith("replace_")],
        "both_fields": [form["fuel_price"], form["interest"]],
        "answer": answers[0] if answers else None,
        "currency": fleet.currency,
        "unit": fleet.distance_unit,
    }
    return render(request, "portal/desk/keep.html", context, status=422 if form.errors else 200)


def _answered(access: Access, vehicle: "Vehicle", figures: Figures, form: KeepForm) -> KeepingShown:
    values: dict[str, Any] = checked(inputs.KeepOrReplaceIn, form.body(access.fleet.currency), access)
    document = compare(
        access,
        vehicle,
        inputs.keep_ask(values["keep"]),
        inputs.replace_ask(values["replace"]),
        interest_fraction=float(values.get("interest_fraction", 0)),
        fuel_price_minor=float(values["fuel_price"]) if "fuel_price" in values else None,
    )
    return keeping_shown(figures, document, values)
