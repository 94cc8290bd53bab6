"""Prices to the cent."""

from decimal import Decimal

import pytest

from scheduling.core.estimate_money import Price, price_of, sum_of


@pytest.mark.parametrize(
    ("parts", "labour", "percent", "net", "tax", "gross"),
    [
        (10_000, 5_000, None, 15_000, 0, 15_000),
        (10_000, 5_000, "19", 15_000, 2_850, 17_850),
        (0, 0, "19", 0, 0, 0),
        (9_995, 0, "19", 9_995, 1_899, 11_894),  # 1,899.05
        (50, 0, "19", 50, 10, 60),  # 9.5 cents: half up
        (150, 0, "7", 150, 11, 161),  # 10.5 cents: half up, where the nearest even were 10
        (250, 0, "7", 250, 18, 268),  # 17.5 cents
        (1, 0, "0.01", 1, 0, 1),
        (999_999_999_999, 1, "25.5", 1_000_000_000_000, 255_000_000_000, 1_255_000_000_000),
        (1_234, 0, "100", 1_234, 1_234, 2_468),
    ],
)
def test_tax_is_rounded_half_up_once_a_line(
    parts: int, labour: int, percent: str | None, net: int, tax: int, gross: int
) -> None:
    price = price_of(parts, labour, None if percent is None else Decimal(percent))
    assert (price.net_minor, price.tax_minor, price.gross_minor) == (net, tax, gross)


def test_the_lines_as_printed_add_up_to_the_total() -> None:
    # Three lines of 0.50 at 19 %: 0.10 of tax each. Tax on the sum would be 0.285, and the paper would not add up.
    prices = [price_of(50, 0, Decimal(19))] * 3
    assert sum_of(prices) == Price(150, 30)
    assert sum_of(prices).gross_minor == 180


def test_nothing_comes_to_nothing() -> None:
    assert sum_of([]) == Price(0, 0)
