"""Numbers, money, distances and days as the reader writes them."""

import copy
import re
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from babel import Locale
from babel.dates import format_date
from babel.lists import format_list
from babel.numbers import NumberPattern, format_decimal, format_percent
from babel.units import format_unit
from django.utils.translation import get_language, to_locale

from fleetcare.kernel.money import Money
from fleetcare.kernel.units import from_km
from fleetcare.support.told import told

if TYPE_CHECKING:
    from fleetcare.fleet.models import Fleet

NO_BREAK_SPACE = "\u00a0"
_LETTER_BEFORE_DIGIT = re.compile(r"(?<=[^\W\d_])(?=\d)")
"""Where CLDR wants a space ("SEK 120", but "€120") and babel sets none."""
_DISTANCE_UNITS = {"km": "length-kilometer", "mi": "length-mile"}


@dataclass(frozen=True, slots=True)
class Day:
    """A calendar day for people (`text`) and for machines (`iso`)."""

    iso: str
    text: str

    def __str__(self) -> str:
        return self.text


@lru_cache(maxsize=64)
def _locale(language: str) -> Locale:
    return Locale.parse(to_locale(language))


@lru_cache(maxsize=8192)
def _day_text(day: date, language: str) -> str:
    return str(format_date(day, "medium", _locale(language)))


@lru_cache(maxsize=64)
def _whole_amounts(language: str) -> NumberPattern:
    """The locale's pattern for money, without digits after the point: what is estimated is not told in cents."""
    pattern: NumberPattern = copy.copy(_locale(language).currency_formats["standard"])
    pattern.frac_prec = (0, 0)
    return pattern


@lru_cache(maxsize=8192)
def _money_text(whole: Decimal, currency: str, language: str) -> str:
    pattern = _whole_amounts(language)
    text = str(pattern.apply(whole, _locale(language), currency=currency, currency_digits=False))
    return _LETTER_BEFORE_DIGIT.sub(NO_BREAK_SPACE, text)


@lru_cache(maxsize=8192)
def _unit_text(value: float, unit: str, language: str) -> str:
    return str(format_unit(value, unit, "short", locale=_locale(language)))


@dataclass(frozen=True, slots=True)
class Figures:
    """Formats for one fleet and one reader's language."""

    currency: str
    distance_unit: str
    language: str

    @classmethod
    def of(cls, fleet: "Fleet") -> "Figures":
        """In the language of the request."""
        return cls(fleet.currency, fleet.distance_unit, get_language() or "en")

    def number(self, value: float, digits: int = 0) -> str:
        """With exactly so many digits after the point, grouped."""
        pattern = f"#,##0.{'0' * digits}" if digits else "#,##0"
        return format_decimal(value, pattern, _locale(self.language))

    def measured(self, value: float, unit: str) -> str:
        """A measured value as precisely as it was entered, with its unit."""
        return f"{format_decimal(value, '#,##0.####', _locale(self.language))} {told(unit, self.language)}".strip()

    def percent(self, fraction: float) -> str:
        """A share in whole percent; what is more than nothing and less than half a percent reads "<1%"."""
        if 0 < fraction < 0.005:
            return f"<{format_percent(0.01, locale=_locale(self.language))}"
        return format_percent(fraction, locale=_locale(self.language))

    def money(self, minor: int) -> str:
        """An estimate in whole units of the fleet's currency."""
        return self._amount(Money(minor, self.currency).amount, self.currency)

    def money_of(self, body: dict[str, str]) -> str:
        """The same of an amount in the API's form."""
        return self._amount(Decimal(body["amount"]), body["currency"])

    def _amount(self, amount: Decimal, currency: str) -> str:
        return _money_text(amount.quantize(Decimal(1), ROUND_HALF_UP), currency, self.language)

    def distance(self, km: Decimal | float, step: int = 1) -> str:
        """A distance in the fleet's unit, to whole `step`s of it."""
        value = from_km(Decimal(str(km)), self.distance_unit)
        whole = int((value / step).to_integral_value(ROUND_HALF_UP)) * step
        return _unit_text(whole, _DISTANCE_UNITS[self.distance_unit], self.language)

    def hours(self, hours: float) -> str:
        """Working hours to a tenth."""
        return _unit_text(round(hours, 1), "duration-hour", self.language)

    def day(self, day: date | str | None) -> Day | None:
        """A calendar day, also from its ISO form; None stays None."""
        if day is None:
            return None
        value = date.fromisoformat(day) if isinstance(day, str) else day
        return Day(value.isoformat(), _day_text(value, self.language))

    def month(self, day: date) -> str:
        """The month of a day, for the mark of an axis."""
        return format_date(day, "MMM y", _locale(self.language))

    def listed(self, words: Any) -> str:
        """Words as a list in a sentence."""
        return format_list([str(word) for word in words], locale=_locale(self.language))
