"""What happened to a vehicle while its fleet wrote things down."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any


@dataclass(frozen=True, slots=True)
class Reading:
    """Somebody read the odometer; `replacement`: a new one was fitted and showed this."""

    on: date
    shown_km: Decimal
    replacement: bool = False


@dataclass(frozen=True, slots=True)
class Look:
    """An inspection; the results are as the API takes them."""

    on: date
    shown_km: Decimal
    sheet: str
    inspector: str
    note: str
    trouble_codes: tuple[str, ...]
    results: tuple[Mapping[str, Any], ...] = field(repr=False)


@dataclass(frozen=True, slots=True)
class Renewal:
    """A part that came off and the new one, written down."""

    on: date
    shown_km: Decimal
    part_key: str
    position: str
    removal: str
    """In the words of the fitted part: "failed", "worn-out", "renewed-early"."""
    description: str


@dataclass(frozen=True, slots=True)
class Work:
    """A job of the catalogue that was opened and done: it renews its part at all of its positions."""

    on: date
    shown_km: Decimal
    job_key: str
    positions: tuple[str, ...]
    removal: str
    description: str
    hours_factor: float
    """Hours it took, beside those it usually takes."""
    parts_factor: float


@dataclass(frozen=True, slots=True)
class Fill:
    """Fuel that was filled; the price is in the fleet's currency."""

    on: date
    shown_km: Decimal
    litres: Decimal
    price_minor: int
    full: bool


@dataclass(frozen=True, slots=True)
class Service:
    """Work that comes round was done."""

    on: date
    shown_km: Decimal
    key: str
    """The template of its rule, or its title."""


Event = Reading | Look | Renewal | Work | Fill | Service


def in_order(events: list[Event]) -> tuple[Event, ...]:
    """By day; on one day the odometer is read first and parts are fitted last."""
    rank = {Reading: 0, Fill: 0, Look: 1, Renewal: 2, Work: 2, Service: 3}
    return tuple(sorted(events, key=lambda event: (event.on, rank[type(event)])))
