"""What people type into the pages of the walk, read as they mean it."""

import re
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from fleetcare.kernel.errors import DomainError
from fleetcare.kernel.units import to_km
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.words import NOT_EXAMINED
from inspections.catalogue.loader import default_catalogue
from inspections.services.entries import Given

_GROUPED = re.compile(r"\d{1,3}(?:[.,'\s]\d{3})+")
_SPACES = re.compile(r"[\s'’]")
MOST_ODOMETER_CHARACTERS = 20
_FIELDS = {"odometer_km": "odometer", "read_on": "inspected_on"}
"""Fields of the forms by the first part of a fault's place, where the two differ."""


def decimal_of(text: str) -> Decimal | None:
    """A figure with a comma or a dot; None where it is no number."""
    try:
        found = Decimal(_SPACES.sub("", text).replace(",", "."))
    except InvalidOperation:
        return None
    return found if found.is_finite() else None


def distance_of(text: str) -> Decimal | None:
    """What an odometer shows: "187 450", "187.450" and "187,450" are whole, "187450,5" has a tenth."""
    if _GROUPED.fullmatch(text.strip()):
        return Decimal(re.sub(r"\D", "", text))
    return decimal_of(text)


class OdometerField(forms.CharField):
    """What the odometer shows, in the fleet's unit; cleans to km."""

    unit = "km"

    def clean(self, value: Any) -> Decimal:
        text = super().clean(value)
        found = distance_of(text)
        if found is None:
            raise forms.ValidationError(gettext("Only what the odometer shows: a number like 187450."))
        return to_km(found, self.unit)


class HeadingForm(forms.Form):
    """Day, odometer and name, which both the start and the end of a walk ask for."""

    inspected_on = forms.DateField(error_messages={"invalid": _("A day, for example 2026-10-03.")})
    odometer = OdometerField(max_length=MOST_ODOMETER_CHARACTERS)
    inspector = forms.CharField(max_length=120, required=False)

    def __init__(self, unit: str, data: QueryDict | None = None) -> None:
        super().__init__(data)
        self.fields["odometer"].unit = unit  # type: ignore[attr-defined]

    def refuse(self, error: DomainError) -> None:
        """Puts a refusal of the domain beside the fields it names, or above the form."""
        if not error.faults:
            self.add_error(None, words.told(error.detail))
        for fault in error.faults:
            name = fault.pointer.strip("/").partition("/")[0]
            name = _FIELDS.get(name, name)
            self.add_error(name if name in self.fields else None, words.told(fault.detail))


class StartForm(HeadingForm):
    """Which sheet, and the start's own id so that two taps start one walk."""

    sheet = forms.ChoiceField(choices=lambda: [(key, key) for key in default_catalogue().sheets])
    key = forms.UUIDField(required=False)
    anew = forms.BooleanField(required=False)


class FinishForm(HeadingForm):
    """What is said of the inspection as a whole."""

    note = forms.CharField(max_length=4000, required=False)
    trouble_codes = forms.CharField(max_length=500, required=False)
    because_open = forms.CharField(max_length=200, required=False)

    def clean_trouble_codes(self) -> list[str]:
        return [code for code in re.split(r"[\s,;]+", self.cleaned_data["trouble_codes"]) if code]


def entry_of(data: QueryDict) -> tuple[Given, list[str]]:
    """The form of one check as the service takes it, and what is wrong with it before the service looks."""
    given: dict[str, Any] = {"check": data.get("check", ""), "position": data.get("position", "")}
    faults: list[str] = []
    if data.get("grade") == NOT_EXAMINED:
        given["not_examined"] = (_text(data, "other_reason") or _text(data, "not_examined"))[:200]
        if not given["not_examined"]:
            faults.append(gettext("Say why it was not examined."))
    elif data.get("grade") in {"sound", "minor", "major", "dangerous"}:
        given["grade"] = data["grade"]
    if data.getlist("observations"):
        given["observations"] = data.getlist("observations")
    if _text(data, "value"):
        _measured(given, faults, data)
    if _text(data, "note"):
        given["note"] = _text(data, "note")[:2000]
    return given, faults


def _text(data: QueryDict, name: str) -> str:
    return str(data.get(name, "")).strip()


def _measured(given: dict[str, Any], faults: list[str], data: QueryDict) -> None:
    value = decimal_of(_text(data, "value"))
    if value is None:
        faults.append(gettext("The figure is no number."))
    else:
        given["measurement"] = {"value": float(value), "unit": _text(data, "unit")}


def says_nothing(given: Given) -> bool:
    """Whether a form came back as empty as it went out: the check is passed over."""
    return not any(name in given for name in ("grade", "observations", "measurement", "not_examined", "note"))


def as_sent(data: QueryDict, faults: list[str]) -> dict[str, Any]:
    """The form of one check as it was sent, for showing it again with what is wrong."""
    return {
        "check": data.get("check", ""),
        "position": data.get("position", ""),
        "grade": data.get("grade", ""),
        "value": data.get("value", ""),
        "unit": data.get("unit", ""),
        "observations": data.getlist("observations"),
        "note": data.get("note", ""),
        "not_examined": data.get("other_reason") or data.get("not_examined", ""),
        "faults": faults,
    }
