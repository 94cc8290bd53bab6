"""Fuel consumption of one vehicle, and whether it has risen."""

import uuid
from datetime import date
from typing import Any

import numpy as np
from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.base import Json, VehicleView
from fleetcare.kernel.units import LITRES_PER_IMPERIAL_GALLON, LITRES_PER_US_GALLON, miles_per_gallon
from inspections.api import conclusions
from inspections.core.fuel import FuelIntervals
from inspections.core.fuel_rise import MOST_INTERVALS, FuelTrend
from inspections.services.fuel import FuelUse, fuel_use

LEVEL = 0.8


class FuelConsumption(VehicleView):
    @extend_schema(operation_id="read_fuel_consumption", responses=conclusions.FuelConsumptionOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return Response(consumption_json(fuel_use(self.access.fleet, [self.vehicle])))


def consumption_json(use: FuelUse) -> Json:
    """The consumption of one vehicle: its intervals, newest first, their mean, and the rise if one stands."""
    intervals, trend = use.intervals, use.trend
    newest = range(len(intervals.vehicle) - 1, max(len(intervals.vehicle) - 1 - MOST_INTERVALS, -1), -1)
    return {
        "intervals": [_interval(intervals, row) for row in newest],
        "mean": _mean(intervals),
        "usual": _burnt(float(trend.expected_litres_per_100_km[0])),
        "recent": _burnt(float(trend.recent_litres_per_100_km[0])),
        "rise": _rise(trend) if trend.rise_standing[0] else None,
    }


def _burnt(litres_per_100_km: float) -> Json | None:
    """Mean of litres over distance, never of miles per gallon: those are reciprocal."""
    if np.isnan(litres_per_100_km):
        return None
    return {
        "litres_per_100_km": round(litres_per_100_km, 3),
        "mpg_us": round(miles_per_gallon(litres_per_100_km, LITRES_PER_US_GALLON), 2),
        "mpg_imperial": round(miles_per_gallon(litres_per_100_km, LITRES_PER_IMPERIAL_GALLON), 2),
    }


def _interval(intervals: FuelIntervals, row: int) -> Json:
    return {
        "from_on": date.fromordinal(int(intervals.from_day[row])),
        "to_on": date.fromordinal(int(intervals.to_day[row])),
        "distance_km": round(float(intervals.distance_km[row]), 3),
        "litres": round(float(intervals.litres[row]), 3),
        **(_burnt(float(intervals.litres_per_100_km[row])) or {}),
    }


def _mean(intervals: FuelIntervals) -> Json | None:
    if not len(intervals.vehicle):
        return None
    distance_km, litres = float(intervals.distance_km.sum()), float(intervals.litres.sum())
    burnt = _burnt(100.0 * litres / distance_km) or {}
    return {"distance_km": round(distance_km, 3), "litres": round(litres, 3), **burnt}


def _rise(trend: FuelTrend) -> Json:
    size = trend.rise_fraction
    return {
        "since_on": date.fromordinal(int(trend.rise_since_day[0])),
        "rise_fraction": round(float(size.median[0]), 3),
        "interval": {"low": round(float(size.low[0]), 3), "high": round(float(size.high[0]), 3), "level": LEVEL},
    }
