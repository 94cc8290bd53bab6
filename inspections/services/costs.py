"""What things cost in a fleet: its labour rate and price level put to the catalogue's euros."""

from functools import lru_cache

from fleetcare.fleet.models import Fleet
from fleetcare.kernel.money import minor_digits
from inspections.catalogue.books import cost_book
from inspections.catalogue.loader import default_catalogue
from inspections.core.types import CostBook

REFERENCE_LABOUR_EUR = 60
"""Euros an hour between own hours and a workshop's; the score uses one price level for all fleets, so that scores of
different fleets mean the same. Common practice, no source."""


def minor_per_euro(fleet: Fleet) -> float:
    """Minor units of the fleet's currency for a catalogue euro."""
    return float(fleet.price_factor) * float(10 ** minor_digits(fleet.currency))


def fleet_costs(fleet: Fleet) -> CostBook:
    """Costs of every slot in the fleet's own money."""
    return _costs(fleet.labour_per_hour_minor, float(fleet.price_factor), 10 ** minor_digits(fleet.currency))


def reference_costs() -> CostBook:
    """Costs of every slot in euro cents at the reference price level."""
    return _costs(REFERENCE_LABOUR_EUR * 100, 1.0, 100)


@lru_cache(maxsize=256)
def _costs(labour_minor: int, price_factor: float, units: int) -> CostBook:
    return cost_book(default_catalogue(), labour_minor, price_factor, units)
