"""Equivalent annual cost against published examples.

Table: textbook examples of equivalent annual cost, read; the third was printed as 208 723.12, an arithmetic slip, and
recomputed (C); the fourth is computed (C). Equal-life comparison: an open textbook at 14 %, printed with four-figure
annuity factors (read), recomputed exactly (C).
"""

import pytest

from scheduling.core.keep_or_replace import annuity_factor, equivalent_annual_cost


@pytest.mark.parametrize(
    ("capital", "annual", "interest", "years", "expected"),
    [
        (290_000.0, 8_000.0, 0.14, 3, 132_912.13),  # published
        (180_000.0, 12_000.0, 0.14, 2, 121_312.15),  # published
        (462_000.0, 46_200.0, 0.15, 4, 208_022.59),  # computed; the published figure is a slip
        (550_000.0, 80_000.0, 0.12, 15, 160_753.33),  # computed
    ],
)
def test_the_equivalent_annual_cost_is_that_of_the_examples(
    capital: float, annual: float, interest: float, years: int, expected: float
) -> None:
    assert equivalent_annual_cost(capital, annual, interest, years) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize(
    ("outlay", "inflow", "years", "present_value", "annuity", "printed"),
    [
        (190_000.0, 87_000.0, 3, 11_981.99, 5_161.02, 5_159.89),
        (360_000.0, 98_300.0, 6, 22_256.02, 5_723.30, 5_724.07),
    ],
)
def test_projects_of_unlike_length_compare_by_their_yearly_gain(
    outlay: float, inflow: float, years: int, present_value: float, annuity: float, printed: float
) -> None:
    gain = -equivalent_annual_cost(outlay, -inflow, 0.14, years)
    assert gain * annuity_factor(0.14, years) == pytest.approx(present_value, abs=0.005)
    assert gain == pytest.approx(annuity, abs=0.005)
    assert gain == pytest.approx(printed, rel=3e-4)


def test_what_is_got_back_at_the_end_counts_at_its_worth_now() -> None:
    """By hand at 10 % over two years: (1000 - 400 / 1.21) / (1 / 1.1 + 1 / 1.21)."""
    expected = (1_000.0 - 400.0 / 1.21) / (1.0 / 1.1 + 1.0 / 1.21)
    assert equivalent_annual_cost(1_000.0, 0.0, 0.10, 2, salvage=400.0) == pytest.approx(expected, rel=1e-12)
