"""How far a vehicle had gone on any day, and what its odometer showed."""

from datetime import date, timedelta
from decimal import Decimal

from fleetcare.kernel.dates import DAYS_PER_YEAR
from fleetcare.kernel.units import from_km, to_km
from fleetcare.portal.demo.chance import seeded
from fleetcare.portal.demo.fixtures import DemoVehicle

_LEAST_OF_A_YEAR, _MOST_OF_A_YEAR = 0.82, 1.18
"""No two years are driven alike; common practice, no source."""
_MOST_YEARS = 60


class Road:
    """A vehicle's distance over the years: its yearly km, more in some years than in others."""

    def __init__(self, vehicle: DemoVehicle) -> None:
        rng = seeded(vehicle.name, "road")
        self.first_used_on = vehicle.first_used_on
        self._starts_km = [0.0]
        for _ in range(_MOST_YEARS):
            driven_km = vehicle.km_per_year * rng.uniform(_LEAST_OF_A_YEAR, _MOST_OF_A_YEAR)
            self._starts_km.append(self._starts_km[-1] + driven_km)

    def years(self, on: date) -> float:
        """Age on a day."""
        return (on - self.first_used_on).days / DAYS_PER_YEAR

    def total_km(self, on: date) -> float:
        """Distance from new on a day; never falls."""
        year, fraction = divmod(self.years(on), 1.0)
        before_km, after_km = self._starts_km[int(year)], self._starts_km[int(year) + 1]
        return before_km + fraction * (after_km - before_km)


class Odometer:
    """What the odometer showed, in whole units of the fleet, through a replacement if there was one."""

    def __init__(self, road: Road, unit: str, replaced_on: date | None = None) -> None:
        self.replaced_on = replaced_on
        self._road, self._unit = road, unit

    def shown_km(self, on: date) -> Decimal:
        """The figure on a day, as km."""
        units = self._units(on)
        if self.replaced_on is not None and on >= self.replaced_on:
            units -= self._units(self.last_day_of_old)
        return to_km(units, self._unit)

    @property
    def last_day_of_old(self) -> date:
        """The day before the replaced odometer's successor was fitted; only asked where there is one."""
        return (self.replaced_on or date.max) - timedelta(days=1)

    def _units(self, on: date) -> Decimal:
        return from_km(Decimal(int(self._road.total_km(on))), self._unit) // 1
