"""Forms of service rules as bodies of the API: scheduled work, days that run out, and that something was done."""

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.forms import CharField, HiddenInput
from django.utils.translation import gettext_lazy as _

from fleetcare.kernel.units import from_km, to_km
from fleetcare.portal.web.entries import EntryForm, choice, text, tick, words_of
from fleetcare.portal.web.presenters.catalogue_choices import parts_by_system
from fleetcare.portal.web.presenters.rules import KINDS
from fleetcare.portal.web.typed import distance, whole
from fleetcare.support.versions import etag
from scheduling.words import RuleKind

if TYPE_CHECKING:
    from fleetcare.fleet.models import Fleet
    from scheduling.models import ServiceRule

_REACH = [("vehicle", _("this vehicle")), ("fleet", _("every vehicle of the fleet"))]
USUAL_LEAD_DAYS = 30
_TEXTS = ("title", "source", "note")


class _RuleForm(EntryForm):
    """What both kinds of rule take; distances are in the fleet's unit."""

    version = CharField(required=False, widget=HiddenInput)

    def __init__(self, fleet: "Fleet", *args: Any, with_reach: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fleet = fleet
        if with_reach:
            self.fields["reach"] = choice(_("For"), _REACH, initial="vehicle")

    def body(self) -> dict[str, Any]:
        """As the API takes it; what was emptied is said to be empty."""
        said = self.cleaned_data
        body = {name: said[name] for name in _TEXTS if name in said}
        months = said.get("every_months")
        body["every_months"] = whole(months) if months else None
        body["lead_days"] = whole(said["lead_days"]) if said.get("lead_days") else USUAL_LEAD_DAYS
        return body

    def whole_km(self, name: str) -> Any:
        """A distance of the form in whole km; what is no number stays as it is, to be refused."""
        said = self.cleaned_data.get(name)
        if not said:
            return None
        value = whole(said)
        return round(to_km(Decimal(value), self.fleet.distance_unit)) if isinstance(value, int) else value


class WorkForm(_RuleForm):
    """Work every so far or so often."""

    title = text(_("What is to be done"), maxlength=120, required=True)
    part_key = choice(_("Part it looks after"), ())
    every_km = text("", inputmode="numeric", maxlength=9)
    every_months = text(_("Every so many months"), inputmode="numeric", maxlength=4)
    lead_days = text(_("Counts as soon so many days before"), inputmode="numeric", maxlength=3, placeholder="30")
    safety = tick(_("It concerns safety"))
    source = text(_("Where that is from (the maker’s book, page)"), maxlength=200)
    note = words_of(_("Note"), 4000)
    places = {"/part": "part_key"}

    def __init__(self, fleet: "Fleet", *args: Any, **options: Any) -> None:
        super().__init__(fleet, *args, **options)
        self.fields["part_key"].choices = [("", _("none")), *parts_by_system()]  # type: ignore[attr-defined]
        unit = fleet.distance_unit
        self.fields["every_km"].label = _("Every so many %(unit)s") % {"unit": unit}

    def body(self) -> dict[str, Any]:
        """As the API takes it."""
        said = self.cleaned_data
        mine = {"kind": RuleKind.SERVICE.value, "safety": said["safety"], "part": said["part_key"]}
        return {**super().body(), **mine, "every_km": self.whole_km("every_km")}


class DayForm(_RuleForm):
    """A day on which something runs out: an inspection, an insurance, a tax, a warranty, a document."""

    kind = choice(_("What runs out"), [pair for pair in KINDS if pair[0] != RuleKind.SERVICE])
    title = text(_("As you call it (empty: as above)"), maxlength=120)
    ends_on = text(_("Runs until"), kind="date")
    ends_odometer = text("", inputmode="numeric", maxlength=9)
    every_months = text(
        _("Then again every so many months (empty: you say each time)"), inputmode="numeric", maxlength=4
    )
    lead_days = text(_("Counts as soon so many days before"), inputmode="numeric", maxlength=3, placeholder="30")
    note = words_of(_("Note"), 4000)
    places = {"/ends_odometer_km": "ends_odometer", "/every_km": "ends_on"}

    def __init__(self, fleet: "Fleet", *args: Any, **options: Any) -> None:
        super().__init__(fleet, *args, **options)
        unit = fleet.distance_unit
        self.fields["ends_odometer"].label = _("Or until the odometer shows, in %(unit)s") % {"unit": unit}

    def body(self) -> dict[str, Any]:
        """As the API takes it."""
        said = self.cleaned_data
        kind = said["kind"] or RuleKind.STATUTORY.value
        return {
            **super().body(),
            "kind": kind,
            "title": said["title"] or str(dict(KINDS).get(kind, kind)),
            "ends_on": said["ends_on"] or None,
            "ends_odometer_km": self.whole_km("ends_odometer"),
        }


class DoneForm(EntryForm):
    """That it was done, when, and what the odometer showed."""

    done_on = text(_("Done on"), kind="date", required=True)
    odometer = text("", inputmode="decimal", maxlength=12)
    next_ends_on = text(_("Now runs until (empty: it rests)"), kind="date")
    note = text(_("Note"), maxlength=200)

    def __init__(self, fleet: "Fleet", *args: Any, asks_next_end: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        self.unit = fleet.distance_unit
        self.fields["odometer"].label = _("The odometer showed, in %(unit)s") % {"unit": self.unit}
        if not asks_next_end:
            del self.fields["next_ends_on"]

    def body(self) -> dict[str, Any]:
        """As the API takes it."""
        body = self.said("done_on", "next_ends_on", "note")
        body["done_on"] = self.cleaned_data["done_on"]
        if self.cleaned_data["odometer"]:
            body["odometer"] = {"value": distance(self.cleaned_data["odometer"]), "unit": self.unit}
        return body


def form_of(rule: "ServiceRule", fleet: "Fleet", data: Any = None) -> _RuleForm:
    """The form that changes a rule, as it stands."""
    kind = WorkForm if rule.kind == RuleKind.SERVICE else DayForm
    told: dict[str, Any] = {name: getattr(rule, name) for name in (*_TEXTS, "kind", "part_key", "safety", "lead_days")}
    told |= {"every_months": rule.every_months, "version": etag(rule.version)}
    if rule.ends_on is not None:
        told["ends_on"] = rule.ends_on.isoformat()
    for name, km in (("every_km", rule.every_km), ("ends_odometer", rule.ends_total_km)):
        told[name] = "" if km is None else str(round(from_km(Decimal(km), fleet.distance_unit)))
    return kind(fleet, data, initial=told, with_reach=False)
