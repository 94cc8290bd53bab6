"""People told about vehicles who need not have a login."""

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.api import inputs
from fleetcare.fleet.services.fleets import remove_contact, save_contact
from fleetcare.fleet.services.persons import LANGUAGES
from fleetcare.fleet.words import Role
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, text
from fleetcare.portal.web.fleet_page import fleet_page

MOST_SHOWN = 500
_WORDS = ("name", "email", "phone", "language")


class ContactForm(EntryForm):
    name = text(_("Name"), maxlength=120, required=True)
    email = text(_("E-mail address"), kind="email", autocapitalize="none", required=True)
    phone = text(_("Phone"), kind="tel", maxlength=40)
    language = choice(_("Language of the mails"), list(LANGUAGES.items()), initial="en")

    def __init__(self, vehicles: list[tuple[str, str]], *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["vehicles"] = forms.MultipleChoiceField(
            label=_("Is told about"), choices=vehicles, required=False, widget=forms.CheckboxSelectMultiple
        )


def _vehicles(access: Access) -> list[tuple[str, str]]:
    rows = selectors.vehicles(access, archived=False).order_by("name", "id")[:MOST_SHOWN]
    return [(str(row.pk), row.name) for row in rows]


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def contacts(request: HttpRequest, access: Access) -> HttpResponse:
    """Everybody who is told; a planner adds somebody."""
    vehicles = _vehicles(access)
    form = ContactForm(vehicles, request.POST if request.method == "POST" else None)
    if request.method == "POST":
        access.require(Role.PLANNER)
        if form.is_valid() and done(form, lambda: _keep(access, None, form)):
            messages.success(request, gettext("Kept."))
            return redirect("contacts", access.fleet.pk)
    names = dict(vehicles)
    rows = selectors.contacts(access).order_by("name", "id")[:MOST_SHOWN]
    context = {
        "fleet": access.fleet,
        "contacts": [_shown(row, names) for row in rows],
        "may_plan": access.role.includes(Role.PLANNER),
        "form": form,
    }
    return render(request, "portal/settings/contacts.html", context, status=422 if form.errors else 200)


def _shown(contact: Any, names: dict[str, str]) -> dict[str, Any]:
    told = [names[str(link.vehicle_id)] for link in contact.links.all() if str(link.vehicle_id) in names]
    return {"id": contact.pk, "name": contact.name, "email": contact.email, "vehicles": ", ".join(sorted(told))}


def _keep(access: Access, contact: Any, form: ContactForm) -> None:
    said = form.cleaned_data
    body = {**{name: said[name] for name in _WORDS}, "vehicles": said["vehicles"]}
    if not said["language"]:
        del body["language"]
    values = checked(inputs.ContactIn, body, access)
    save_contact(access, contact, vehicles=values.pop("vehicles"), **values)


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def contact(request: HttpRequest, access: Access, contact_id: uuid.UUID) -> HttpResponse:
    """One contact, changed or taken off."""
    access.require(Role.PLANNER)
    found = selectors.contacts(access).one(pk=contact_id)
    told = {name: getattr(found, name) for name in _WORDS}
    told["vehicles"] = [str(link.vehicle_id) for link in found.links.all()]
    form = ContactForm(_vehicles(access), request.POST if request.method == "POST" else None, initial=told)
    if request.method == "POST" and "remove" in request.POST:
        remove_contact(access, found)
        messages.success(request, gettext("The contact is removed."))
        return redirect("contacts", access.fleet.pk)
    if request.method == "POST" and form.is_valid() and done(form, lambda: _keep(access, found, form)):
        messages.success(request, gettext("Kept."))
        return redirect("contacts", access.fleet.pk)
    context = {"fleet": access.fleet, "form": form, "title": _("Change the contact"), "button": _("Keep")}
    context["remove"] = _("Remove the contact")
    return render(request, "portal/settings/form.html", context, status=422 if form.errors else 200)
