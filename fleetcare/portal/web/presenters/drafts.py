"""Estimates at the desk: the list of them, and a draft as the form that changes it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleetcare.kernel.money import Money
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.estimates import to_the_cent
from fleetcare.portal.web.presenters.figures import Day, Figures
from scheduling.core.estimate_money import price_of, sum_of
from scheduling.services.estimates import state_of

if TYPE_CHECKING:
    from fleetcare.fleet.models import Fleet
    from scheduling.models import Estimate, EstimateLine, EstimateOption

_STATES: Mapping[str, str | Promise] = {
    "draft": gettext_lazy("draft"),
    "sent": gettext_lazy("sent, waiting for the answer"),
    "answered": gettext_lazy("answered"),
    "withdrawn": gettext_lazy("withdrawn"),
    "expired": gettext_lazy("run out"),
}


@dataclass(frozen=True, slots=True)
class EstimateRow:
    """One estimate in the list."""

    id: str
    number: str
    vehicle: str
    customer: str
    state: str
    on: Day | None
    offered: str
    answered: str


def rows_shown(figures: Figures, fleet: "Fleet", rows: "Iterable[Estimate]") -> list[EstimateRow]:
    """Estimates as they stand now."""
    return [_row(figures, fleet, row) for row in rows]


def state_word(estimate: "Estimate") -> str:
    """Where an estimate stands, in words."""
    return str(_STATES[state_of(estimate)])


def _row(figures: Figures, fleet: "Fleet", row: "Estimate") -> EstimateRow:
    lines = list(row.lines.all())
    first = [line.options.all()[0] for line in lines]
    offered = sum_of(price_of(option.parts_minor, option.labour_minor, row.tax_percent) for option in first)
    answered = sum(bool(line.answer) for line in lines)
    told = _("%(answered)s of %(lines)s answered")
    return EstimateRow(
        id=str(row.pk),
        number=str(row.number),
        vehicle=row.vehicle.name,
        customer=row.customer,
        state=state_word(row),
        on=figures.day((row.sent_at or row.created_at).astimezone(ZoneInfo(fleet.time_zone)).date()),
        offered=to_the_cent(figures, offered.gross_minor),
        answered=told % {"answered": answered, "lines": len(lines)} if row.sent_at else "",
    )


@dataclass(frozen=True, slots=True)
class Field:
    """One field as it is typed, with its fault."""

    name: str
    value: str
    fault: str


@dataclass(frozen=True, slots=True)
class WayField:
    """One way to do a line, to be changed."""

    key: str
    work: str
    """The job of the list or the catalogue behind it; empty for one in words alone."""
    title: Field
    hours: Field
    parts: Field
    labour: Field
    out: bool


@dataclass(frozen=True, slots=True)
class LineField:
    """One line, to be changed."""

    key: str
    title: Field
    explanation: Field
    safety: bool
    before_driving: bool
    remove: bool
    ways: tuple[WayField, ...]
    added: WayField


class Typed:
    """What stands in the fields: what was typed, or what is stored."""

    def __init__(self, currency: str, form: Mapping[str, str], faults: Mapping[str, str]) -> None:
        self.currency, self.form, self.faults = currency, form, faults

    def field(self, name: str, stored: str = "") -> Field:
        """One field."""
        return Field(name, self.form.get(name, "") if self.form else stored, self.faults.get(name, ""))

    def line(self, line: "EstimateLine") -> LineField:
        """A line with its ways, and the empty fields of one more."""
        key = str(line.pk)
        return LineField(
            key=key,
            title=self.field(f"title-{key}", line.title),
            explanation=self.field(f"explanation-{key}", line.explanation),
            safety=self.form.get(f"safety-{key}") == "on" if self.form else line.safety,
            before_driving=line.before_driving,
            remove=self.form.get(f"remove-{key}") == "on",
            ways=tuple(self.way(str(option.pk), option) for option in line.options.all()),
            added=self.way(f"new-{key}"),
        )

    def way(self, key: str, option: "EstimateOption | None" = None) -> WayField:
        """A stored way, or the empty fields of a new one."""
        hours = "" if option is None or option.hours is None else f"{option.hours.normalize():f}"
        return WayField(
            key=key,
            work=_work(option) if option else "",
            title=self.field(f"way-{key}", option.title if option else ""),
            hours=self.field(f"hours-{key}", hours),
            parts=self.field(f"parts-{key}", self._amount(option.parts_minor) if option else ""),
            labour=self.field(f"labour-{key}", self._amount(option.labour_minor) if option else ""),
            out=self.form.get(f"out-{key}") == "on",
        )

    def _amount(self, minor: int) -> str:
        return Money(minor, self.currency).as_json()["amount"]


def _work(option: "EstimateOption") -> str:
    place = words.places(option.positions)
    if option.job_id is not None:
        told = _("job of the list")
    elif option.job_key:
        told = _("of the catalogue")
    else:
        return ""
    return f"{told}, {place}" if place else told
