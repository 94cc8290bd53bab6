"""Keep or replace: ranges, and the repair bill at which both cost the same."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.core.keep_or_replace import (
    Keeping,
    Replacing,
    Running,
    Span,
    annuity_factor,
    equivalent_annual_cost,
    keep_or_replace,
    keeping_terms,
    replacing_terms,
)

EXACT = Span.exactly


def running(jobs: float) -> Running:
    return Running(EXACT(jobs), EXACT(10_000.0), EXACT(150_000.0), EXACT(60_000.0))


def keeping(bill: float = 80_000.0, jobs: float = 60_000.0) -> Keeping:
    return Keeping(EXACT(bill), EXACT(200_000.0), EXACT(80_000.0), running(jobs), 3.0)


REPLACING = Replacing(EXACT(1_200_000.0), EXACT(500_000.0), running(30_000.0), 6.0)


def test_without_interest_a_year_costs_the_loss_in_worth_spread_over_the_years() -> None:
    assert equivalent_annual_cost(1_000.0, 50.0, 0.0, 5.0, salvage=400.0) == pytest.approx(170.0)
    assert annuity_factor(0.0, 7.0) == 7.0


@settings(max_examples=50, deadline=None)
@given(st.floats(0.001, 0.3), st.integers(1, 20))
def test_the_annuity_factor_is_the_sum_of_discounted_years(interest: float, years: int) -> None:
    summed = sum((1.0 + interest) ** -year for year in range(1, years + 1))
    assert annuity_factor(interest, years) == pytest.approx(summed, rel=1e-9)


@pytest.mark.parametrize("interest", [0.0, 0.04, 0.14])
def test_at_the_break_even_bill_both_cost_the_same(interest: float) -> None:
    bill = keep_or_replace(keeping(), REPLACING, interest).break_even_bill_minor[1]
    even = keep_or_replace(keeping(bill=float(bill)), REPLACING, interest)
    assert even.keep_minor[1] == pytest.approx(even.replace_minor[1], abs=1)


def test_figures_known_for_certain_decide() -> None:
    verdict = keep_or_replace(keeping(), REPLACING)
    keep = (200_000 + 80_000 - 80_000) / 3 + 60_000 + 10_000 + 150_000 + 60_000
    assert verdict.keep_minor == (round(keep),) * 3
    assert verdict.replace_minor == (round(700_000 / 6 + 250_000),) * 3
    assert verdict.better == "keep"
    assert keep_or_replace(keeping(bill=900_000.0), REPLACING).better == "replace"


@pytest.mark.parametrize("interest", [0.0, 0.04, 0.14])
def test_the_terms_add_up_to_the_annual_cost(interest: float) -> None:
    unsure = replace(keeping(), repair_bill_minor=Span(10_000.0, 80_000.0, 200_000.0))
    verdict = keep_or_replace(unsure, REPLACING, interest)
    for terms, annual in (
        (keeping_terms(unsure, interest), verdict.keep_minor),
        (replacing_terms(REPLACING, interest), verdict.replace_minor),
    ):
        assert sum(term.likely for term in terms.values()) == pytest.approx(annual[1], abs=0.51)
        assert sum(term.low for term in terms.values()) == pytest.approx(annual[0], abs=0.51)
        assert sum(term.high for term in terms.values()) == pytest.approx(annual[2], abs=0.51)


def test_ranges_that_overlap_are_too_close_to_call() -> None:
    unsure = replace(keeping(), repair_bill_minor=Span(0.0, 80_000.0, 900_000.0))
    verdict = keep_or_replace(unsure, REPLACING)
    assert verdict.better == "too-close"
    assert list(verdict.keep_minor) == sorted(verdict.keep_minor)


def test_a_wider_doubt_gives_a_wider_range_of_bills() -> None:
    narrow = keep_or_replace(keeping(), REPLACING).break_even_bill_minor
    unsure = replace(REPLACING, price_minor=Span(1_000_000.0, 1_200_000.0, 1_500_000.0))
    low, likely, high = keep_or_replace(keeping(), unsure).break_even_bill_minor
    assert low < narrow[0] == likely < high
