"""The audit trail in the reader's words."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from fleetcare.fleet.services.audit_trail import values_of

_LONGEST = 120
_WHAT: Mapping[str, str | Promise] = {
    "account": _("sign-in and account"),
    "fleet.ApiKey": _("API key"),
    "fleet.Contact": _("contact"),
    "fleet.ContactVehicle": _("who is told about a vehicle"),
    "fleet.Fleet": _("fleet"),
    "fleet.FleetLeaving": _("erasing of the fleet"),
    "fleet.FuelFill": _("fuel"),
    "fleet.Invitation": _("invitation"),
    "fleet.JobPrice": _("price of a job"),
    "fleet.Membership": _("membership"),
    "fleet.OdometerReading": _("odometer reading"),
    "fleet.Vehicle": _("vehicle"),
    "fleet.WorkTerms": _("who does what"),
    "inspections.Finding": _("finding"),
    "inspections.FittedPart": _("fitted part"),
    "inspections.Inspection": _("inspection"),
    "inspections.Photo": _("photo"),
    "inspections.Result": _("result of an inspection"),
    "portal.ExchangeJob": _("export, import or restore"),
    "portal.SharedLink": _("link to a report"),
    "scheduling.CalendarLink": _("link to a calendar"),
    "scheduling.DueItem": _("due item"),
    "scheduling.Estimate": _("estimate"),
    "scheduling.EstimateLine": _("line of an estimate"),
    "scheduling.EstimateOption": _("option of an estimate"),
    "scheduling.Job": _("job"),
    "scheduling.JobPart": _("part of a job"),
    "scheduling.KnowHow": _("know-how"),
    "scheduling.ReminderChoice": _("choice of reminders"),
    "scheduling.ServiceDone": _("service done"),
    "scheduling.ServiceRule": _("service rule"),
    "scheduling.StoredPlan": _("plan"),
    "scheduling.UnwantedVehicle": _("choice of reminders"),
    "scheduling.WebhookEndpoint": _("webhook"),
}
_ACTIONS: Mapping[str, str | Promise] = {
    "created": _("made"),
    "changed": _("changed"),
    "deleted": _("deleted"),
    "signed-in": _("signed in"),
    "signed-out": _("signed out"),
    "sign-in-failed": _("a sign-in failed"),
    "password-changed": _("password changed"),
    "password-reset": _("password set anew by mail"),
    "address-changed": _("address changed"),
    "second-step-added": _("passkey or codes added"),
    "second-step-removed": _("passkey or codes removed"),
    "second-step-reset": _("codes made anew"),
    "leaving": _("erasing the account was asked for"),
    "staying": _("erasing the account was stopped"),
}
_ACTORS: Mapping[str, str | Promise] = {
    "system": _("fleetcare itself"),
    "stranger": _("by a link, or not signed in"),
    "database": _("past the application"),
}


@dataclass(frozen=True, slots=True)
class ColumnShown:
    """A column with what was there and what is."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class EntryShown:
    """One thing that was done."""

    at: str
    who: str
    address: str
    what: str
    action: str
    columns: list[ColumnShown]


def entries_shown(fleet: Any, rows: Iterable[Any], names: Mapping[str, str]) -> list[EntryShown]:
    """Entries with their day and hour where the fleet is."""
    zone = ZoneInfo(fleet.time_zone)
    return [
        EntryShown(
            date_format(row.at.astimezone(zone), "SHORT_DATETIME_FORMAT"),
            _who(row.actor, names),
            row.address,
            str(_WHAT.get(row.what, row.what)),
            str(_ACTIONS.get(row.action, row.action)),
            _columns(row),
        )
        for row in rows
    ]


def _who(actor: str, names: Mapping[str, str]) -> str:
    if actor in _ACTORS:
        return str(_ACTORS[actor])
    kind, _sep, _key = actor.partition(":")
    name = names.get(actor)
    if kind == "key":
        return gettext("key “%(name)s”") % {"name": name} if name else gettext("a key that is gone")
    return name or gettext("somebody whose account is gone")


def _columns(row: Any) -> list[ColumnShown]:
    before, after = values_of(row.what, row.before) or {}, values_of(row.what, row.after) or {}
    told = [
        ColumnShown(name.replace("_", " "), _text(before.get(name)), _text(after.get(name))) for name in before | after
    ]
    return [each for each in told if each.before or each.after]


def _text(value: Any) -> str:
    if value is None or value in ("", [], {}):
        return ""
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else str(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"
