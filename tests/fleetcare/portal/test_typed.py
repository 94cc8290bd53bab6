"""Figures typed by people of several countries (from memory: marks and groups as CLDR has them for en, de, fr, ch)."""

from typing import Any

import pytest

from fleetcare.portal.web.typed import distance, number, plain, ungrouped, whole


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("1.5", "1.5"),
        ("1,5", "1.5"),
        (" 12 ", "12"),
        ("1.234,50", "1234.50"),
        ("1,234.50", "1234.50"),
        ("1 234,50", "1234.50"),
        ("1\u202f234,50", "1234.50"),
        ("1’234.50", "1234.50"),
        ("1.234.567", "1234567"),
        (",5", ".5"),
        ("-3,2", "-3.2"),
        ("1,2,3", "1,2,3"),
        ("1.2,3.4", "1.2,3.4"),
        ("twelve", "twelve"),
        ("12 km", "12 km"),
        ("", ""),
    ],
)
def test_a_figure_is_read_whatever_its_marks_and_nothing_else_is_bent_into_one(typed: str, read: str) -> None:
    assert plain(typed) == read


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("120,000", 120_000),
        ("120.000", 120_000),
        ("120 000", 120_000),
        ("120’000", 120_000),
        ("1,234,567", 1_234_567),
        ("120000.5", 120_000.5),
        ("120.000,5", 120_000.5),
        ("12,5", 12.5),
        ("0,125", 0.125),
        ("1200,000", 1200.0),
        ("far", "far"),
    ],
)
def test_an_odometer_typed_with_grouped_thousands_is_no_thousandth_of_it(typed: str, read: Any) -> None:
    assert distance(typed) == read


def test_hours_keep_their_decimals_and_money_its_thousands() -> None:
    assert number("1.250") == 1.25
    assert ungrouped("1.250") == "1250"
    assert ungrouped("1.250,00") == "1250.00"
    assert ungrouped("12,50") == "12.50"


@pytest.mark.parametrize(("typed", "read"), [("15.000", 15_000), ("24", 24), ("1.5", "1.5"), ("-4", "-4"), ("", "")])
def test_whole_numbers_are_whole_or_left_to_be_refused(typed: str, read: Any) -> None:
    assert whole(typed) == read
