"""Fuel used between full fills.

What was burnt between two full tanks is what was filled since the first of them; partial fills belong to the next
full one, and a fill that nobody wrote down breaks the chain.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class FuelFills:
    """Fills of any vehicles in any order, shape (N,)."""

    vehicle: IntArray
    day: FloatArray
    odometer_km: FloatArray
    litres: FloatArray
    full: BoolArray
    missed_before: BoolArray
    """True where at least one fill since the one before was not written down."""


@dataclass(frozen=True, slots=True)
class FuelIntervals:
    """From one full tank to the next, shape (M,), sorted by vehicle and day."""

    vehicle: IntArray
    from_day: FloatArray
    to_day: FloatArray
    distance_km: FloatArray
    litres: FloatArray

    @property
    def litres_per_100_km(self) -> FloatArray:
        """Consumption of each interval."""
        return 100.0 * self.litres / self.distance_km


def consumption_between_fills(fills: FuelFills) -> FuelIntervals:
    """Intervals between full fills; those broken by a missed fill, an unknown amount or no distance are left out."""
    order = np.lexsort((fills.odometer_km, fills.day, fills.vehicle))
    vehicle, full = fills.vehicle[order], fills.full[order]
    litres = fills.litres[order]
    unknown = ~(litres > 0.0)
    filled = np.cumsum(np.where(unknown, 0.0, litres))
    broken = np.cumsum(fills.missed_before[order] | unknown)
    end = np.flatnonzero(full)
    start, end = end[:-1], end[1:]
    whole = (vehicle[start] == vehicle[end]) & (broken[start] == broken[end])
    distance_km = fills.odometer_km[order][end] - fills.odometer_km[order][start]
    whole &= distance_km > 0.0
    start, end = start[whole], end[whole]
    return FuelIntervals(
        vehicle=vehicle[end],
        from_day=fills.day[order][start],
        to_day=fills.day[order][end],
        distance_km=distance_km[whole],
        litres=filled[end] - filled[start],
    )
