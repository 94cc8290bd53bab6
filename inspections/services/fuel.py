"""What a vehicle burns, and whether that has risen for good; one query."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fleetcare.fleet.models import Fleet, FuelFill, Vehicle
from inspections.core.fuel import FuelFills, FuelIntervals, consumption_between_fills
from inspections.core.fuel_rise import FuelTrend, fuel_trends


@dataclass(frozen=True, slots=True)
class FuelUse:
    """Intervals between full fills of some vehicles, and each one's trend (arrays over the vehicles)."""

    intervals: FuelIntervals
    trend: FuelTrend


def fuel_use(fleet: Fleet, vehicles: Sequence[Vehicle]) -> FuelUse:
    """Consumption of vehicles of one fleet; rows in the order of `vehicles`."""
    return use_of(_fills(fleet, vehicles), len(vehicles))


def use_of(fills: FuelFills, vehicles: int) -> FuelUse:
    """The same of fills that are read already; their vehicles are numbered from 0."""
    intervals = consumption_between_fills(fills)
    return FuelUse(intervals, fuel_trends(intervals, vehicles))


def _fills(fleet: Fleet, vehicles: Sequence[Vehicle]) -> FuelFills:
    row_of = {vehicle.pk: row for row, vehicle in enumerate(vehicles)}
    rows = FuelFill.objects.within(fleet).filter(vehicle__in=vehicles)
    values: Any = rows.values_list("vehicle_id", "filled_on", "reading__total_km", "litres", "full", "missed_before")
    read = [
        # Where nobody read the odometer the fill ends no interval, full or not; its litres go to the next that does.
        (
            row_of[vehicle],
            on.toordinal(),
            np.nan if km is None else float(km),
            float(litres),
            full and km is not None,
            missed,
        )
        for vehicle, on, km, litres, full, missed in values
    ]
    vehicle, day, km, litres, full, missed = zip(*read, strict=True) if read else ((),) * 6
    return FuelFills(
        vehicle=np.array(vehicle, dtype=np.int64),
        day=np.array(day, dtype=np.float64),
        odometer_km=np.array(km, dtype=np.float64),
        litres=np.array(litres, dtype=np.float64),
        full=np.array(full, dtype=np.bool_),
        missed_before=np.array(missed, dtype=np.bool_),
    )
