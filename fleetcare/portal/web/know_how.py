"""Know-how about a model of vehicle: read, added, corrected, taken away."""

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.forms import CharField, HiddenInput
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, words_of
from fleetcare.portal.web.entries import text as line
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.catalogue_choices import parts_by_system
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.know_how import KINDS, about, notes_shown
from fleetcare.portal.web.presenters.vehicles import vehicle_shown
from fleetcare.portal.web.typed import number
from fleetcare.support.versions import etag, require_match
from scheduling import selectors
from scheduling.api.know_how import KnowHowIn
from scheduling.services.know_how import (
    TORQUE_UNITS,
    add_know_how,
    change_know_how,
    drop_know_how,
    model_key_of,
)

if TYPE_CHECKING:
    from scheduling.models import KnowHow

NOTES_SHOWN = 300
_UNITS = ("", *TORQUE_UNITS, "h", "mm", "L")


class NoteForm(EntryForm):
    kind = choice(_("What it tells"), KINDS, initial="note")
    part = choice(_("About which part"), ())
    text = words_of(_("In your words"), 2000)
    value = line(_("Figure (hours it took, a tightening figure)"), inputmode="decimal", maxlength=12)
    unit = choice(_("Its unit"), [(unit, unit) for unit in _UNITS])
    source = line(_("Which data of the maker it is from"), maxlength=300)
    job = CharField(required=False, widget=HiddenInput)
    check = CharField(required=False, widget=HiddenInput)
    version = CharField(required=False, widget=HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["part"].choices = [("", _("none")), *parts_by_system()]  # type: ignore[attr-defined]

    def body(self) -> dict[str, Any]:
        """As the API takes it; what was emptied is said to be empty."""
        said = self.cleaned_data
        body = {name: said[name] for name in ("kind", "part", "text", "unit", "source", "job", "check")}
        return {**body, "value": number(said["value"]) if said["value"] else None}


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def notes(request: HttpRequest, access: Access, vehicle_id: uuid.UUID) -> HttpResponse:
    """What is known about vehicles of this make and model; an inspector adds to it."""
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    asked = {name: request.GET.get(name, "")[:100] for name in ("part", "job", "check")}
    form = NoteForm(request.POST if request.method == "POST" else None, initial=asked)
    if request.method == "POST":
        access.require(Role.INSPECTOR)
        if form.is_valid() and done(form, lambda: add_know_how(access, vehicle, **checked(KnowHowIn, form.body()))):
            messages.success(request, gettext("Kept: it is shown where it belongs, for every vehicle of this model."))
            return redirect("know-how", access.fleet.pk, vehicle.pk)
    key = model_key_of(vehicle)
    rows = selectors.know_how(access, [key] if key else []).order_by("part_key", "job_key", "check_key", "created_at")
    figures = Figures.of(access.fleet)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle_shown(figures, vehicle, today(access.fleet)),
        "notes": notes_shown(figures, rows[:NOTES_SHOWN], access.actor),
        "form": form,
        "about": about(job=_said(form, asked, "job"), check=_said(form, asked, "check")),
        "opens": any(asked.values()) or bool(form.errors),
        "of_a_model": bool(key),
        "may_work": access.role.includes(Role.INSPECTOR),
    }
    return render(request, "portal/vehicle/know_how.html", context, status=422 if form.errors else 200)


def _said(form: NoteForm, asked: dict[str, str], name: str) -> str:
    """What the form or the address says it is about."""
    return str(form.data.get(name, "")) if form.is_bound else asked[name]


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def note(request: HttpRequest, access: Access, vehicle_id: uuid.UUID, note_id: uuid.UUID) -> HttpResponse:
    """One note, corrected or taken away."""
    access.require(Role.INSPECTOR)
    vehicle = fleet_selectors.vehicle_of(access, vehicle_id)
    key = model_key_of(vehicle)
    found = selectors.know_how(access, [key] if key else []).one(pk=note_id)
    if request.method == "POST" and "remove" in request.POST:
        drop_know_how(access, found)
        messages.success(request, gettext("It is gone."))
        return redirect("know-how", access.fleet.pk, vehicle.pk)
    form = NoteForm(request.POST if request.method == "POST" else None, initial=_as_said(found))
    if request.method == "POST" and form.is_valid() and done(form, lambda: _change(access, found, form)):
        messages.success(request, gettext("Kept."))
        return redirect("know-how", access.fleet.pk, vehicle.pk)
    context = {
        "fleet": access.fleet,
        "vehicle": vehicle,
        "form": form,
        "title": about(part=found.part_key, job=found.job_key, check=found.check_key),
        "may_remove": found.entered_by == access.actor or access.role.includes(Role.PLANNER),
    }
    return render(request, "portal/vehicle/note.html", context, status=422 if form.errors else 200)


def _as_said(note: "KnowHow") -> dict[str, Any]:
    told = {name: getattr(note, name) for name in ("kind", "text", "unit", "source")}
    told |= {name: getattr(note, f"{name}_key") for name in ("part", "job", "check")}
    value = "" if note.value is None else f"{note.value.normalize():f}"
    return {**told, "value": value, "version": etag(note.version)}


def _change(access: Access, note: "KnowHow", form: NoteForm) -> None:
    require_match(form.cleaned_data["version"] or None, note.version)
    change_know_how(access, note, **checked(KnowHowIn, form.body()))
