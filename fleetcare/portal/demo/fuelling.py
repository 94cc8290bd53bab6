"""What a vehicle was filled with: more in winter, never twice the same, and more for good where something drags."""

import math
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal

from fleetcare.kernel.dates import DAYS_PER_YEAR
from fleetcare.portal.demo.chance import seeded
from fleetcare.portal.demo.events import Fill
from fleetcare.portal.demo.fixtures import DemoVehicle
from fleetcare.portal.demo.road import Odometer, Road

_KEPT_YEARS = 1.6
"""Longer ago nobody has the receipts."""
_LEAST_KM, _MOST_KM = 430.0, 640.0
"""Between two fills; common practice, no source."""
_MOST_LITRES = 62.0
_WINTER_SHARE = 0.05
_SPREAD = 0.025
_PARTIAL = 0.08
_COLDEST_DAY = 15
"""Of the year; the colder half of the world's north is meant."""


def fills(
    vehicle: DemoVehicle, road: Road, odometer: Odometer, since: date, today: date, litre_minor: float
) -> Iterator[Fill]:
    """The fills written down from `since` on, before `today`; none for a vehicle whose fills nobody writes down."""
    usual = vehicle.litres_per_100_km
    if usual is None:
        return
    rng = seeded(vehicle.name, "fuel")
    on = max(since, today - timedelta(days=round(_KEPT_YEARS * DAYS_PER_YEAR)))
    owed, before_km = 0.0, road.total_km(on)
    while (on := _next_day(road, on, rng.uniform(_LEAST_KM, _MOST_KM))) < today:
        km = road.total_km(on)
        owed += (km - before_km) / 100 * usual * _thirst(vehicle, on, today) * math.exp(rng.gauss(0.0, _SPREAD))
        full = rng.random() >= _PARTIAL
        litres = round(min(owed if full else 0.5 * owed, _MOST_LITRES), 2)
        price_minor = round(litres * litre_minor * rng.uniform(0.96, 1.05))
        yield Fill(on, odometer.shown_km(on), Decimal(str(litres)), price_minor, full)
        owed, before_km = max(owed - litres, 0.0), km


def _next_day(road: Road, on: date, km: float) -> date:
    wanted_km = road.total_km(on) + km
    while road.total_km(on) < wanted_km:
        on += timedelta(days=1)
    return on


def _thirst(vehicle: DemoVehicle, on: date, today: date) -> float:
    """Beside its usual consumption."""
    angle = 2 * math.pi * (on.timetuple().tm_yday - _COLDEST_DAY) / DAYS_PER_YEAR
    factor = 1.0 + _WINTER_SHARE * math.cos(angle)
    since = vehicle.thirstier_since_years_ago
    risen = since is not None and (today - on).days <= since * DAYS_PER_YEAR
    return factor * (1.0 + vehicle.thirstier_by) if risen else factor
