"""Money: integer minor units and an ISO 4217 code; never a float outside the solver."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

from babel.core import get_global


@lru_cache(maxsize=256)
def minor_digits(currency: str) -> int:
    """Digits after the point of a currency, from CLDR (JPY 0, EUR 2, BHD 3)."""
    fractions = get_global("currency_fractions")
    digits: int = fractions.get(currency, fractions["DEFAULT"])[0]
    return digits


def is_currency(code: str) -> bool:
    """Whether CLDR knows the code as a currency in use somewhere."""
    return code in get_global("all_currencies")


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in minor units of a currency."""

    minor: int
    currency: str

    @classmethod
    def of(cls, amount: Decimal, currency: str) -> "Money":
        """From a decimal amount, rounded once, half up."""
        scaled = amount.scaleb(minor_digits(currency))
        return cls(int(scaled.quantize(Decimal(1), ROUND_HALF_UP)), currency)

    @property
    def amount(self) -> Decimal:
        """The amount in whole units, with the currency's digits."""
        return Decimal(self.minor).scaleb(-minor_digits(self.currency))

    def __add__(self, other: "Money") -> "Money":
        if other.currency != self.currency:
            raise ValueError(f"cannot add {other.currency} to {self.currency}")
        return Money(self.minor + other.minor, self.currency)

    def as_json(self) -> dict[str, str]:
        """The form of the API: a decimal string and the code."""
        return {"amount": format(self.amount, "f"), "currency": self.currency}


def rounded_minor(value: float) -> int:
    """A computed sum in minor units, rounded half up; raises ValueError or OverflowError where it is no number."""
    return int(Decimal(repr(float(value))).to_integral_value(ROUND_HALF_UP))
