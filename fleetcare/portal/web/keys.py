"""Keys of API clients: made, shown once, revoked."""

from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.dateparse import parse_date
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.api import inputs
from fleetcare.fleet.services.keys import create_key, revoke_key
from fleetcare.fleet.words import Role
from fleetcare.portal.web.entries import EntryForm, checked, choice, done, id_of, text
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.roles import role_choices, role_told

MOST_SHOWN = 200


class KeyForm(EntryForm):
    name = text(_("What it is for"), maxlength=80, required=True, autocomplete="off")
    role = choice(_("Role"), role_choices, initial=Role.VIEWER.value)
    expires_on = text(_("Works until the end of (empty: until revoked)"), kind="date")
    places = {"/expires_at": "expires_on"}


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def keys(request: HttpRequest, access: Access) -> HttpResponse:
    """The keys there are; POST makes one, whose text this answer shows and none after it, or revokes one."""
    access.require(Role.OWNER)
    if request.method == "POST" and "revoke" in request.POST:
        revoke_key(access, selectors.keys(access).one(pk=id_of(request.POST["revoke"])))
        messages.success(request, gettext("The key is refused from now on."))
        return redirect("keys", access.fleet.pk)
    form = KeyForm(request.POST if request.method == "POST" else None)
    made: list[str] = []
    if request.method == "POST" and form.is_valid() and done(form, lambda: made.append(_make(access, form))):
        form = KeyForm()
    rows = selectors.keys(access).filter(revoked_at=None).order_by("-created_at", "id")[:MOST_SHOWN]
    context = {
        "fleet": access.fleet,
        "keys": [(row, role_told(row.role)) for row in rows],
        "form": form,
        "made": made[0] if made else "",
    }
    return render(request, "portal/settings/keys.html", context, status=422 if form.errors else 200)


def _make(access: Access, form: KeyForm) -> str:
    body: dict[str, Any] = form.said("name", "role")
    said = form.cleaned_data["expires_on"]
    body["name"] = form.cleaned_data["name"]
    if said:
        body["expires_at"] = _end_of(said, access.fleet.time_zone)
    values = checked(inputs.KeyNew, body, access)
    key = create_key(access, name=values["name"], role=Role(values["role"]), expires_at=values.get("expires_at"))
    return key[1]


def _end_of(said: str, zone: str) -> str:
    """The last moment of a day where the fleet is; what is no day stays as it is, to be refused."""
    try:
        day = parse_date(said)
    except ValueError:
        day = None
    return said if day is None else datetime.combine(day, time.max, ZoneInfo(zone)).isoformat()
