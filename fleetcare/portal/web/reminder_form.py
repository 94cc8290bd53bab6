"""How a person wants to be reminded, as a form and as a body of the API."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleetcare.fleet.services.persons import LANGUAGES
from fleetcare.portal.web.accounts import zones
from fleetcare.portal.web.entries import EntryForm, choice, text, tick
from fleetcare.portal.web.presenters.reminders import DUE_KINDS, RHYTHMS, WEEKDAYS
from fleetcare.portal.web.typed import number
from fleetcare.support.versions import etag

if TYPE_CHECKING:
    from scheduling.models import ReminderChoice

_HOURS = [(str(hour), f"{hour:02d}:00") for hour in range(24)]
_NUMBERS = ("weekday", "month_day", "hour", "quiet_from_hour", "quiet_to_hour", "first_lead_days", "second_lead_days")
_MAY_BE_EMPTY = {"first_lead_days", "second_lead_days"}
Vehicles = list[tuple[str, str]]


class ReminderForm(EntryForm):
    """Ticked is what one wants to hear of; the API is told of the rest."""

    safety_at_once = tick(_("What concerns safety at once, not gathered"))
    rhythm = choice(_("Gathered into one mail"), RHYTHMS)
    weekday = choice(_("Weekly: on"), WEEKDAYS)
    month_day = choice(_("Monthly: on day"), [(str(day), str(day)) for day in range(1, 32)])
    hour = choice(_("From this hour on"), _HOURS)
    quiet_from_hour = choice(_("No mail from"), _HOURS)
    quiet_to_hour = choice(_("until (the same: no quiet hours)"), _HOURS)
    first_lead_days = text(
        _("Told first so many days before (empty: as each rule says)"), inputmode="numeric", maxlength=3
    )
    second_lead_days = text(_("Told again so many days before (empty: not again)"), inputmode="numeric", maxlength=3)
    language = choice(_("Language of the mails"), [("", _("as in the account")), *LANGUAGES.items()])
    time_zone = choice(_("Time zone"), lambda: [("", _("as in the account")), *zones()])
    kinds = forms.MultipleChoiceField(
        label=_("About what"), choices=DUE_KINDS, required=False, widget=forms.CheckboxSelectMultiple
    )
    version = forms.CharField(required=False, widget=forms.HiddenInput)
    places = {"/unwanted_kinds": "kinds", "/unwanted_vehicles": "vehicles"}

    def __init__(self, vehicles: Vehicles, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.vehicles = vehicles
        if vehicles:
            self.fields["vehicles"] = forms.MultipleChoiceField(
                label=_("About which vehicles (do not drive is told of every one)"),
                choices=vehicles,
                required=False,
                widget=forms.CheckboxSelectMultiple,
            )

    def body(self) -> dict[str, Any]:
        """As the API takes it."""
        said = self.cleaned_data
        body: dict[str, Any] = {name: said[name] for name in ("rhythm", "safety_at_once", "language", "time_zone")}
        for name in _NUMBERS:
            if said[name] or name in _MAY_BE_EMPTY:
                body[name] = number(said[name]) if said[name] else None
        body["unwanted_kinds"] = [key for key, _title in DUE_KINDS if key not in said["kinds"]]
        if self.vehicles:
            body["unwanted_vehicles"] = [key for key, _name in self.vehicles if key not in said["vehicles"]]
        return body


def said_of(choice: "ReminderChoice", vehicles: Vehicles, unwanted: list[Any]) -> dict[str, Any]:
    """The form's fields as the choice stands."""
    told: dict[str, Any] = {
        name: getattr(choice, name) for name in ("rhythm", "safety_at_once", "language", "time_zone")
    }
    told |= {name: getattr(choice, name) for name in _NUMBERS}
    not_wanted = choice.unwanted_kinds.split(",")
    told["kinds"] = [key for key, _title in DUE_KINDS if key not in not_wanted]
    unwanted_keys = {str(key) for key in unwanted}
    told["vehicles"] = [key for key, _name in vehicles if key not in unwanted_keys]
    return {**told, "version": etag(choice.version)}
