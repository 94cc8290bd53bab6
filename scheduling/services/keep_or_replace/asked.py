"""What the user says of both vehicles, and a yearly figure with where it comes from."""

from dataclasses import dataclass

from scheduling.core.keep_or_replace import Span


@dataclass(frozen=True, slots=True)
class KeepAsk:
    """What the user says of keeping; sums in minor units, ranges where the user is not sure."""

    years: float
    worth_now: Span
    worth_then: Span
    other_a_year: Span
    fuel_a_year: Span | None = None
    jobs_a_year: Span | None = None
    """Instead of what the judge expects, like `risk_a_year`: for who knows better from years of bills."""
    risk_a_year: Span | None = None


@dataclass(frozen=True, slots=True)
class ReplaceAsk:
    """What the user says of the other vehicle; its jobs and risk, or (age and odometer) what to expect them from."""

    years: float
    price: Span
    worth_then: Span
    other_a_year: Span
    fuel_a_year: Span | None = None
    litres_per_100_km: float | None = None
    jobs_a_year: Span | None = None
    risk_a_year: Span | None = None
    age_years: float | None = None
    odometer_km: float | None = None


@dataclass(frozen=True, slots=True)
class Term:
    """A yearly figure and where it comes from."""

    span: Span
    source: str
