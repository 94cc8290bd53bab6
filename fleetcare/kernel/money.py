"""Money: integer minor units and an ISO 4217 code; never a float outside the solver."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from math import floor

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
        return {"amount": amount_text(self.minor, minor_digits(self.currency)), "currency": self.currency}


def amount_text(minor: int, digits: int) -> str:
    """Minor units as a decimal of so many digits: 1250 and 2 are "12.50"."""
    if not digits:
        return str(minor)
    whole, part = divmod(abs(minor), 10**digits)
    return f"{'-' if minor < 0 else ''}{whole}.{part:0{digits}d}"


def rounded_minor(value: float) -> int:
    """A computed sum in minor units, rounded half up; raises ValueError or OverflowError where it is no number."""
    size = abs(float(value))
    whole = floor(size)
    # What is left of a double without its whole part is exact, so that a half is a half.
    rounded = whole + (size - whole >= 0.5)
    return -rounded if value < 0 else rounded
