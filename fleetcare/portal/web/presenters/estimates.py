"""An estimate as its customer reads it: what is proposed, what it costs to the cent, what was answered."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from babel.dates import format_time
from babel.numbers import format_currency, format_decimal
from django.utils.translation import gettext, to_locale

from fleetcare.kernel.money import Money
from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.figures import Day, Figures
from scheduling.core.estimate_money import Price, price_of, sum_of
from scheduling.words import Answer

if TYPE_CHECKING:
    from decimal import Decimal

    from fleetcare.fleet.models import Fleet
    from scheduling.models import Estimate, EstimateLine, EstimateOption

DECLINE, LATER = "decline", ""
"""What a line's field says where none of its options is meant."""


@dataclass(frozen=True, slots=True)
class OptionShown:
    """One way, with what is to be paid for it."""

    value: str
    title: str
    place: str
    price: str
    parts: str
    labour: str
    checked: bool
    chosen: bool


@dataclass(frozen=True, slots=True)
class LineShown:
    """One thing to decide, or decided."""

    field: str
    title: str
    explanation: str
    safety: bool
    before_driving: bool
    options: tuple[OptionShown, ...]
    one_way: bool
    declines: bool
    """What the form says of it so far."""
    answered: str
    """Who said what and when; empty while it is open."""
    declined: bool
    reason: str


@dataclass(frozen=True, slots=True)
class SumShown:
    """What lines come to."""

    net: str
    tax: str
    gross: str


@dataclass(frozen=True, slots=True)
class EstimateShown:
    """The whole paper."""

    number: str
    fleet: str
    customer: str
    vehicle: str
    plate: str
    note: str
    made_on: Day | None
    valid_until: Day | None
    tax: str
    """The rate, in words; empty where no tax is named."""
    lines: tuple[LineShown, ...]
    has_safety: bool
    has_ways: bool
    """Some line can be done in more than one way."""
    open: bool
    offered: SumShown
    accepted: SumShown | None


def estimate_shown(fleet: "Fleet", estimate: "Estimate", said: Mapping[str, str] | None = None) -> EstimateShown:
    """The estimate in the language of the request; `said` is what a form that was refused had filled in."""
    paper, given = _Paper(fleet, estimate), said or {}
    lines = list(estimate.lines.all())
    shown = tuple(paper.line(line, given.get(field_of(line), LATER)) for line in lines)
    accepted = [option for line in lines if line.answer == Answer.ACCEPTED for option in _chosen(line)]
    return EstimateShown(
        number=str(estimate.number),
        fleet=fleet.name,
        customer=estimate.customer,
        vehicle=estimate.vehicle.name,
        plate=estimate.vehicle.plate,
        note=estimate.note,
        made_on=paper.day(estimate.sent_at),
        valid_until=paper.last_day(estimate.expires_at),
        tax=paper.tax_label(),
        lines=shown,
        has_safety=any(line.safety for line in shown),
        has_ways=any(not line.one_way for line in shown),
        open=any(not line.answered for line in shown),
        offered=paper.sum_of([line.options.all()[0] for line in lines]),
        accepted=paper.sum_of(accepted) if accepted else None,
    )


def field_of(line: "EstimateLine") -> str:
    """The name of a line's field in the form."""
    return f"line-{line.pk}"


def to_the_cent(figures: Figures, minor: int) -> str:
    """To the cent: what is offered is what is paid."""
    amount = Money(minor, figures.currency)
    return format_currency(amount.amount, amount.currency, locale=to_locale(figures.language))


def _chosen(line: "EstimateLine") -> list["EstimateOption"]:
    return [option for option in line.options.all() if option.pk == line.chosen_id]


class _Paper:
    """Formats of one estimate in one language."""

    def __init__(self, fleet: "Fleet", estimate: "Estimate") -> None:
        self.figures = Figures.of(fleet)
        self.locale = to_locale(self.figures.language)
        self.zone = ZoneInfo(fleet.time_zone)
        self.percent: Decimal | None = estimate.tax_percent

    def money(self, minor: int) -> str:
        return to_the_cent(self.figures, minor)

    def day(self, at: datetime | None) -> Day | None:
        return self.figures.day(at.astimezone(self.zone).date()) if at else None

    def last_day(self, over_at: datetime | None) -> Day | None:
        """The day before the instant at which it is over."""
        return self.day(over_at - timedelta(seconds=1)) if over_at else None

    def moment(self, at: datetime) -> str:
        """Day and time to the minute, where the fleet is."""
        clock = format_time(at.astimezone(self.zone), "short", locale=self.locale)
        return f"{self.day(at)}, {clock}"

    def tax_label(self) -> str:
        if self.percent is None:
            return ""
        rate = format_decimal(self.percent.normalize(), "#,##0.##", locale=self.locale)
        return gettext("%(rate)s %% tax") % {"rate": rate}

    def price(self, option: "EstimateOption") -> Price:
        return price_of(option.parts_minor, option.labour_minor, self.percent)

    def sum_of(self, options: list["EstimateOption"]) -> SumShown:
        total = sum_of(self.price(option) for option in options)
        return SumShown(self.money(total.net_minor), self.money(total.tax_minor), self.money(total.gross_minor))

    def line(self, line: "EstimateLine", said: str) -> LineShown:
        options = list(line.options.all())
        return LineShown(
            field=field_of(line),
            title=words.told(line.title),
            explanation=line.explanation,
            safety=line.safety,
            before_driving=line.before_driving,
            options=tuple(self.option(line, option, said) for option in options),
            one_way=len(options) == 1,
            declines=said == DECLINE,
            answered=self.answered(line),
            declined=line.answer == Answer.DECLINED,
            reason=line.reason,
        )

    def option(self, line: "EstimateLine", option: "EstimateOption", said: str) -> OptionShown:
        return OptionShown(
            value=str(option.pk),
            title=words.told(option.title) if option.title != line.title else "",
            place=words.places(option.positions),
            price=self.money(self.price(option).gross_minor),
            parts=self.money(option.parts_minor),
            labour=self.money(option.labour_minor),
            checked=said == str(option.pk),
            chosen=option.pk == line.chosen_id,
        )

    def answered(self, line: "EstimateLine") -> str:
        if not line.answer or line.answered_at is None:
            return ""
        facts: dict[str, Any] = {
            "name": line.answered_by,
            "when": self.moment(line.answered_at),
        }
        if line.answer == Answer.DECLINED:
            return gettext("Declined by %(name)s, %(when)s") % facts
        return gettext("Accepted by %(name)s, %(when)s") % facts
