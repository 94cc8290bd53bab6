"""How a member or a contact is reminded, what the next mail to them will say, and the calendars that they read."""

import uuid
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from fleetcare.fleet import selectors as fleet_selectors
from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.portal.web.entries import EntryForm, checked, done, id_of, text
from fleetcare.portal.web.fleet_page import fleet_page
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.reminders import calendars_shown, person_of
from fleetcare.portal.web.reminder_form import ReminderForm, said_of
from fleetcare.support.versions import require_match
from scheduling import selectors
from scheduling.api import sending_inputs as inputs
from scheduling.services import choices
from scheduling.services.calendar_links import make_calendar_link, revoke_calendar_link
from scheduling.services.letters.preview import next_digest

MOST_VEHICLES = 300
MOST_PEOPLE = 200


class CalendarForm(EntryForm):
    name = text(_("For which device or program"), maxlength=80, autocomplete="off")


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def own(request: HttpRequest, access: Access) -> HttpResponse:
    """One's own reminders, and for planners the way to everybody's."""
    return _page(request, access, choices.own_membership(access, "/member"))


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def of_member(request: HttpRequest, access: Access, member_id: uuid.UUID) -> HttpResponse:
    """A member's reminders: their own business and planners'."""
    return _page(request, access, choices.member_of(access, member_id))


@require_http_methods(["GET", "HEAD", "POST"])
@fleet_page
def of_contact(request: HttpRequest, access: Access, contact_id: uuid.UUID) -> HttpResponse:
    """A contact's reminders: planners' business."""
    return _page(request, access, choices.contact_of(access, contact_id))


def _page(request: HttpRequest, access: Access, person: choices.Person) -> HttpResponse:
    choices.require_own_or_planner(access, person)
    act = request.POST.get("act", "") if request.method == "POST" else ""
    choice = choices.choice_of(access, person)
    setattr(choice, "contact" if fleet_selectors.is_contact(person) else "membership", person)
    vehicles = [] if fleet_selectors.is_contact(person) else _vehicles(access)
    said = said_of(choice, vehicles, selectors.unwanted_vehicles(access, choice))
    form = ReminderForm(vehicles, request.POST if act == "choose" else None, initial=said)
    calendar = CalendarForm(request.POST if act == "calendar" else None, auto_id="calendar_%s")
    made: list[str] = []
    if act == "revoke":
        revoke_calendar_link(access, selectors.calendar_links(access).one(pk=id_of(request.POST.get("link", ""))))
        messages.success(request, gettext("The address opens nothing from now on."))
        return redirect(request.path)
    if act == "choose" and form.is_valid() and done(form, lambda: _choose(access, person, choice.version, form)):
        messages.success(request, gettext("Kept."))
        return redirect(request.path)
    if (
        act == "calendar"
        and calendar.is_valid()
        and done(calendar, lambda: made.append(_make(access, person, calendar)))
    ):
        calendar = CalendarForm(auto_id="calendar_%s")
    context = {**_shown(access, person, choice), "form": form, "calendar": calendar, "made": "".join(made)}
    status = 422 if form.errors or calendar.errors else 200
    return render(request, "portal/settings/reminders.html", context, status=status)


def _vehicles(access: Access) -> list[tuple[str, str]]:
    rows = fleet_selectors.vehicles(access, archived=False).order_by("name", "id")[:MOST_VEHICLES]
    return [(str(row.pk), row.name) for row in rows]


def _choose(access: Access, person: choices.Person, version: int, form: ReminderForm) -> None:
    require_match(form.cleaned_data["version"] or None, version)
    choices.change_choice(access, person, **checked(inputs.ReminderChoiceIn, form.body(), access))


def _make(access: Access, person: choices.Person, form: CalendarForm) -> str:
    whose = {"contact" if fleet_selectors.is_contact(person) else "member": person.pk}
    values = checked(inputs.CalendarLinkNew, {"name": form.cleaned_data["name"], **whose}, access)
    return make_calendar_link(access, **values)[1]


def _shown(access: Access, person: choices.Person, choice: Any) -> dict[str, Any]:
    """What stands around the form: the next mail, the calendars, for a planner the other people."""
    figures, zone = Figures.of(access.fleet), ZoneInfo(access.fleet.time_zone)
    preview = next_digest(access, choice)
    links = selectors.calendar_links(access).filter(reader_id=choice.pk, revoked_at=None)
    links = links.select_related("reader__membership__user", "reader__contact").order_by("-created_at", "id")
    name, address = person_of(choice)
    mine = choices.is_own(access, person)
    may_plan = access.role.includes(Role.PLANNER)
    return {
        "fleet": access.fleet,
        "name": name or address,
        "address": address,
        "mine": mine,
        "contact": person if fleet_selectors.is_contact(person) else None,
        "told_about": _told_about(access, person),
        "refused": choices.bounced_for_good(choice),
        "preview": preview,
        "preview_on": figures.day(preview.on),
        "calendars": calendars_shown(figures, zone, links),
        "people": _people(access, person) if may_plan and mine else [],
        "may_plan": may_plan,
    }


def _told_about(access: Access, person: choices.Person) -> list[str]:
    """The vehicles that a contact is told about."""
    if not fleet_selectors.is_contact(person):
        return []
    linked = person.links.within(access.fleet).values("vehicle")
    return list(fleet_selectors.vehicles(access, pk__in=linked).order_by("name").values_list("name", flat=True))


def _people(access: Access, person: choices.Person) -> list[tuple[str, uuid.UUID, str]]:
    """The other members and the contacts: the address' name, the key and the name of each."""
    members = fleet_selectors.memberships(access).exclude(pk=person.pk).order_by("user__name", "id")[:MOST_PEOPLE]
    contacts = fleet_selectors.contacts(access).prefetch_related(None).order_by("name", "id")[:MOST_PEOPLE]
    return [
        *(("reminders-member", row.pk, row.user.name or row.user.email) for row in members),
        *(("reminders-contact", row.pk, row.name) for row in contacts),
    ]
