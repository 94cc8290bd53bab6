"""The form of keeping or replacing as a body of the API; a figure may be typed as a range, "3000-4500"."""

import re
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _

from fleetcare.kernel.errors import Fault
from fleetcare.kernel.money import minor_digits
from fleetcare.kernel.units import to_km
from fleetcare.portal.web.entries import EntryForm, text
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.typed import distance, number, ungrouped

_RANGE = re.compile(r"^\s*([\d.,]+)\s*(?:-|–|…|\.\.)\s*([\d.,]+)\s*$")
KEEP_SUMS = ("worth_now", "worth_then", "other_per_year", "fuel_per_year", "jobs_per_year", "risk_per_year")
OTHER_SUMS = ("price", "worth_then", "other_per_year", "fuel_per_year", "jobs_per_year", "risk_per_year")
OTHER_NUMBERS = ("litres_per_100_km", "age_years")
_FIELDS = {"/interest_fraction": "interest", "/replace/odometer_km": "replace_odometer"}
_TOLD = {
    ("replace_jobs_per_year", "required"): _("Say its age and odometer, or what its repairs cost a year."),
    ("replace_fuel_per_year", "required"): _("Say what it burns, or what its fuel or current costs a year."),
    ("keep_fuel_per_year", "required"): _("No full fills are on record; say what its fuel or current costs a year."),
    ("fuel_price", "required"): _("No fill on record says what it cost; say what a litre costs."),
    ("replace_litres_per_100_km", "twice"): _("Say what it burns, or what that costs a year, not both."),
    ("replace_age_years", "twice"): _("Say what its repairs cost a year, or its age and odometer, not both."),
    ("replace_risk_per_year", "alone"): _("Only beside its repairs a year; otherwise both are reckoned."),
}
"""Faults of the API that name its fields, in the words of the form."""


def _money(label: Any) -> Any:
    return text(label, inputmode="decimal", maxlength=30)


def _number(label: Any) -> Any:
    return text(label, inputmode="decimal", maxlength=12)


class KeepForm(EntryForm):
    """Both vehicles as the user sees them; what is left empty is on record or reckoned."""

    keep_years = _number(_("Keep it for, years"))
    keep_worth_now = _money(_("It would fetch today, as it stands"))
    keep_worth_then = _money(_("It would fetch after these years"))
    keep_other_per_year = _money(_("Tax, insurance, parking a year"))
    keep_fuel_per_year = _money(_("Fuel or current a year (empty: from its fills)"))
    keep_jobs_per_year = _money(_("Repairs a year (empty: what the judge expects)"))
    keep_risk_per_year = _money(_("Failures and breakdowns a year (empty: what the judge expects)"))
    replace_years = _number(_("Use the other one for, years"))
    replace_price = _money(_("Its price"))
    replace_worth_then = _money(_("It would fetch after these years"))
    replace_other_per_year = _money(_("Tax, insurance, parking a year"))
    replace_age_years = _number(_("Its age, years"))
    replace_odometer = _number(_("Its odometer"))
    replace_jobs_per_year = _money(_("Or: its repairs a year"))
    replace_risk_per_year = _money(_("Beside them: failures and breakdowns a year"))
    replace_litres_per_100_km = _number(_("It burns, litres per 100 km"))
    replace_fuel_per_year = _money(_("Or: its fuel or current a year"))
    fuel_price = _money(_("A litre of fuel costs (empty: what fills cost)"))
    interest = _number(_("Interest on money tied up, % a year"))

    def __init__(self, unit: str, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.unit = unit

    def put(self, faults: list[Fault]) -> None:
        """A fault of `/replace/price/low` stands at the field of the price."""
        for fault in faults:
            side, _slash, rest = fault.pointer.strip("/").partition("/")
            field = rest.partition("/")[0]
            name = _FIELDS.get(fault.pointer, f"{side}_{field}" if field and side != "fuel_price" else side)
            told = _TOLD.get((name, fault.code), words.told(fault.detail))
            self.add_error(name if name in self.fields else None, told)

    def body(self, currency: str) -> dict[str, Any]:
        """As the API takes it."""
        said = self.cleaned_data
        body: dict[str, Any] = {"keep": self._side("keep", KEEP_SUMS, (), currency)}
        body["replace"] = self._side("replace", OTHER_SUMS, OTHER_NUMBERS, currency)
        if said["replace_odometer"]:
            body["replace"]["odometer_km"] = _in_km(distance(said["replace_odometer"]), self.unit)
        if said["fuel_price"]:
            body["fuel_price"] = {"amount": ungrouped(said["fuel_price"]), "currency": currency}
        if said["interest"]:
            body["interest_fraction"] = _fraction(number(said["interest"]))
        return body

    def _side(self, side: str, sums: tuple[str, ...], numbers: tuple[str, ...], currency: str) -> dict[str, Any]:
        said = {name: self.cleaned_data[f"{side}_{name}"] for name in ("years", *sums, *numbers)}
        body: dict[str, Any] = {name: number(said[name]) for name in ("years", *numbers) if said[name]}
        return {**body, **{name: amount_or_range(said[name], currency) for name in sums if said[name]}}


def amount_or_range(typed: str, currency: str) -> dict[str, Any]:
    """One amount, or two with a dash between: the middle is then the likely one."""
    bounds = _RANGE.match(typed)
    if bounds is None:
        return {"amount": ungrouped(typed), "currency": currency}
    low, high = (ungrouped(each) for each in bounds.groups())
    try:
        step = Decimal(1).scaleb(-minor_digits(currency))
        middle = str(((Decimal(low) + Decimal(high)) / 2).quantize(step, ROUND_HALF_UP))
    except ArithmeticError:
        middle = low
    told = {"low": low, "likely": middle, "high": high}
    return {name: {"amount": amount, "currency": currency} for name, amount in told.items()}


def _in_km(value: Any, unit: str) -> Any:
    """A distance in kilometres; what is no number stays as it is, to be refused at its place."""
    return float(to_km(Decimal(repr(value)), unit)) if isinstance(value, int | float) else value


def _fraction(percent: Any) -> Any:
    return round(percent / 100, 4) if isinstance(percent, int | float) else percent
