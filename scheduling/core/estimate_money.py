"""Prices of an estimate in whole minor units: what a line comes to with tax, and what lines come to together."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

PERCENT = Decimal(100)


@dataclass(frozen=True, slots=True)
class Price:
    """What something costs without tax, and the tax on it; minor units."""

    net_minor: int
    tax_minor: int

    @property
    def gross_minor(self) -> int:
        """What is to be paid."""
        return self.net_minor + self.tax_minor

    def __add__(self, other: "Price") -> "Price":
        return Price(self.net_minor + other.net_minor, self.tax_minor + other.tax_minor)


def price_of(parts_minor: int, labour_minor: int, tax_percent: Decimal | None) -> Price:
    """A line's price; its tax is rounded half up to the minor unit, once, on parts and labour together.

    So every line can be read by itself, and the lines as printed add up to the total: rounding the total's tax anew
    would let the two differ by some cents.
    """
    net = parts_minor + labour_minor
    tax = Decimal(net) * (tax_percent or Decimal(0)) / PERCENT
    return Price(net, int(tax.to_integral_value(ROUND_HALF_UP)))


def sum_of(prices: Iterable[Price]) -> Price:
    """Several lines together."""
    return sum(prices, Price(0, 0))
