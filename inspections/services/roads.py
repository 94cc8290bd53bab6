"""How far each vehicle has gone and how much it is used, from its odometer readings; one query."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleetcare.fleet.models import Fleet, OdometerReading, Vehicle
from inspections.core.types import FloatArray
from inspections.core.usage import DAYS_PER_YEAR, OdometerReadings, UsageForecast, forecast_usage


@dataclass(frozen=True, slots=True)
class Roads:
    """Arrays over the vehicles of a batch, shape (V,)."""

    forecast: UsageForecast
    now_km: FloatArray
    km_per_year: FloatArray
    readings: tuple[int, ...]
    """How many odometer readings each forecast rests on."""


def load_roads(fleet: Fleet, vehicles: Sequence[Vehicle], on: date) -> Roads:
    """Usage of vehicles up to a day. Each starts at 0 km on the day it was first used: a reading like any other."""
    row_of: dict[uuid.UUID, int] = {vehicle.pk: row for row, vehicle in enumerate(vehicles)}
    rows = OdometerReading.objects.within(fleet).filter(vehicle__in=vehicles, read_on__lte=on)
    read = list(rows.order_by("read_on", "total_km").values_list("vehicle_id", "read_on", "total_km"))
    owner = [*range(len(vehicles)), *(row_of[vehicle_id] for vehicle_id, _, _ in read)]
    day = [*(v.first_used_on.toordinal() for v in vehicles), *(read_on.toordinal() for _, read_on, _ in read)]
    km = [*(0.0 for _ in vehicles), *(float(total_km) for _, _, total_km in read)]
    readings = OdometerReadings(np.array(owner, dtype=np.int64), np.array(day, dtype=float), np.array(km))
    now_day = np.full(len(vehicles), float(on.toordinal()))
    forecast = forecast_usage(readings, now_day)
    counts = np.bincount(readings.vehicle, minlength=len(vehicles)) - 1
    return Roads(
        forecast=forecast,
        now_km=np.maximum(forecast.odometer_now_km.median, forecast.last_km),
        km_per_year=np.maximum(forecast.km_per_day.median * DAYS_PER_YEAR, 1.0),
        readings=tuple(int(count) for count in counts),
    )
