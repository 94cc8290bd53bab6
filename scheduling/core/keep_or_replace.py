"""Keep the vehicle or replace it: what each costs a year, and the repair bill at which they are equal.

Equivalent annual cost: (capital - salvage (1 + r)^-n) / a + annual, with a = (1 - (1 + r)^-n) / r, the annuity factor
(engineering economics; r = 0 gives a = n).
"""

from dataclasses import dataclass
from typing import Literal

from fleetcare.kernel.money import rounded_minor


def worth_now(sum_then: float, interest_fraction: float, years: float) -> float:
    """What a sum paid after so many years is worth now."""
    return sum_then / float((1.0 + interest_fraction) ** years)


def annuity_factor(interest_fraction: float, years: float) -> float:
    """What one unit paid at the end of each year is worth now. `years` > 0, `interest_fraction` >= 0."""
    if interest_fraction == 0.0:
        return years
    return (1.0 - worth_now(1.0, interest_fraction, years)) / interest_fraction


def equivalent_annual_cost(
    capital: float, annual: float, interest_fraction: float, years: float, salvage: float = 0.0
) -> float:
    """The level yearly cost of spending `capital` now and `annual` a year, and getting `salvage` after `years`."""
    return (capital - worth_now(salvage, interest_fraction, years)) / annuity_factor(interest_fraction, years) + annual


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with its range: low <= likely <= high."""

    low: float
    likely: float
    high: float

    @classmethod
    def exactly(cls, value: float) -> "Span":
        """A figure known for certain."""
        return cls(value, value, value)

    def __add__(self, other: "Span") -> "Span":
        return Span(self.low + other.low, self.likely + other.likely, self.high + other.high)

    def times(self, factor: float) -> "Span":
        """The same so many times; a negative factor turns it round."""
        ends = sorted((self.low * factor, self.high * factor))
        return Span(ends[0], self.likely * factor, ends[1])


@dataclass(frozen=True, slots=True)
class Running:
    """What a vehicle costs a year to run, in minor units: jobs, failures and exposure, fuel, tax and insurance."""

    jobs_minor: Span
    risk_minor: Span
    fuel_minor: Span
    other_minor: Span

    @property
    def total_minor(self) -> Span:
        """All together; the ranges added up, as if what raises one raised all."""
        return self.jobs_minor + self.risk_minor + self.fuel_minor + self.other_minor


@dataclass(frozen=True, slots=True)
class Keeping:
    """Keeping what there is for `years` more, after paying the repair bill there is now."""

    repair_bill_minor: Span
    worth_now_minor: Span
    worth_then_minor: Span
    running: Running
    years: float


@dataclass(frozen=True, slots=True)
class Replacing:
    """Buying another vehicle and selling it after `years`."""

    price_minor: Span
    worth_then_minor: Span
    running: Running
    years: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """Which is cheaper, and how sure that is; sums are minor units a year, rounded half up."""

    better: Literal["keep", "replace", "too-close"]
    """"too-close": the ranges overlap."""
    keep_minor: tuple[int, int, int]
    """Low, likely, high."""
    replace_minor: tuple[int, int, int]
    break_even_bill_minor: tuple[int, int, int]
    """The repair bill now at which keeping costs as much as replacing; below nothing: replacing is cheaper anyway."""


def keep_or_replace(keeping: Keeping, replacing: Replacing, interest_fraction: float = 0.0) -> Verdict:
    """Compares the equivalent annual costs. Keeping ties up what the vehicle would fetch now: that is its capital."""
    keep = _keep(keeping, interest_fraction)
    replace = _replace(replacing, interest_fraction)
    even = _break_even(keeping, replace, interest_fraction)
    apart = keep.high < replace.low or replace.high < keep.low
    better: Literal["keep", "replace"] = "keep" if keep.likely <= replace.likely else "replace"
    return Verdict(better if apart else "too-close", _rounded(keep), _rounded(replace), _rounded(even))


def keeping_terms(keeping: Keeping, interest_fraction: float) -> dict[str, Span]:
    """What each term of keeping comes to a year; their likely figures add up to the equivalent annual cost."""
    capital = {"worth-now": keeping.worth_now_minor, "repair-bill": keeping.repair_bill_minor}
    return _terms(capital, keeping.worth_then_minor, keeping.running, interest_fraction, keeping.years)


def replacing_terms(replacing: Replacing, interest_fraction: float) -> dict[str, Span]:
    """The same of replacing."""
    capital = {"price": replacing.price_minor}
    return _terms(capital, replacing.worth_then_minor, replacing.running, interest_fraction, replacing.years)


def _terms(capital: dict[str, Span], salvage: Span, running: Running, interest: float, years: float) -> dict[str, Span]:
    factor = annuity_factor(interest, years)
    return {
        **{name: sum_now.times(1.0 / factor) for name, sum_now in capital.items()},
        "worth-then": salvage.times(-worth_now(1.0, interest, years) / factor),
        "jobs": running.jobs_minor,
        "risk": running.risk_minor,
        "fuel": running.fuel_minor,
        "other": running.other_minor,
    }


def _rounded(span: Span) -> tuple[int, int, int]:
    return rounded_minor(span.low), rounded_minor(span.likely), rounded_minor(span.high)


def _keep(keeping: Keeping, interest: float) -> Span:
    capital = keeping.worth_now_minor + keeping.repair_bill_minor
    return _annual(capital, keeping.running.total_minor, keeping.worth_then_minor, interest, keeping.years)


def _replace(replacing: Replacing, interest: float) -> Span:
    running = replacing.running.total_minor
    return _annual(replacing.price_minor, running, replacing.worth_then_minor, interest, replacing.years)


def _annual(capital: Span, annual: Span, salvage: Span, interest: float, years: float) -> Span:
    return Span(
        equivalent_annual_cost(capital.low, annual.low, interest, years, salvage.high),
        equivalent_annual_cost(capital.likely, annual.likely, interest, years, salvage.likely),
        equivalent_annual_cost(capital.high, annual.high, interest, years, salvage.low),
    )


def _break_even(keeping: Keeping, replace: Span, interest: float) -> Span:
    """Solved for the bill; the least bill goes with a dear keeping and a cheap replacement."""
    factor = annuity_factor(interest, keeping.years)
    running, now, then = keeping.running.total_minor, keeping.worth_now_minor, keeping.worth_then_minor

    def bill(annual_of_other: float, own_running: float, fetches_now: float, fetches_then: float) -> float:
        left = worth_now(fetches_then, interest, keeping.years)
        return (annual_of_other - own_running) * factor - fetches_now + left

    return Span(
        bill(replace.low, running.high, now.high, then.low),
        bill(replace.likely, running.likely, now.likely, then.likely),
        bill(replace.high, running.low, now.low, then.high),
    )
