"""Fleets that keep their papers: parts of a known law of lives, looked at, renewed and written down."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from math import gamma

import numpy as np

from fleetcare.fleet.models import Fleet, OdometerReading, Vehicle
from fleetcare.support.bell import bell_held
from inspections.catalogue.loader import default_catalogue
from inspections.models import FittedPart
from inspections.words import Removal
from tests import factories

FIRST_USED = date(2005, 1, 1)
SHAPE = 3.0
"""Weibull shape of the true lives: a spread of 0.36."""


@dataclass(frozen=True)
class Road:
    """Use at which a part's clock runs like the odometer, whatever its mix of distance and time."""

    part_key: str

    @property
    def life_km(self) -> float:
        return float(default_catalogue().parts[self.part_key].life.km)

    def day(self, km: float) -> date:
        life = default_catalogue().parts[self.part_key].life
        return FIRST_USED + timedelta(days=float(km) / life.km * life.years * 365.25)


def kept_vehicles(fleet: Fleet, road: Road, until_km: Sequence[float], since_km: float = 0.0) -> list[Vehicle]:
    """Vehicles read at `since_km` and last at `until_km`."""
    with bell_held():
        kept = [factories.vehicle(fleet, name=f"car {n}", first_used_on=FIRST_USED) for n in range(len(until_km))]
    OdometerReading.objects.bulk_create(
        OdometerReading(
            fleet=fleet,
            vehicle=vehicle,
            read_on=road.day(km),
            shown_km=Decimal(round(km)),
            total_km=Decimal(round(km)),
            source="person",
        )
        for vehicle, last in zip(kept, until_km, strict=True)
        for km in (since_km, last)
    )
    return kept


def renew(
    vehicle: Vehicle, road: Road, position: str, at_km: Sequence[float], removal: Removal = Removal.FAILED
) -> None:
    """Parts that came off at these readings for one reason, each followed by the next; the last is still there."""
    fitted: list[float | None] = [None, *at_km]
    removed: list[float | None] = [*at_km, None]
    FittedPart.objects.bulk_create(
        FittedPart(
            fleet_id=vehicle.fleet_id,
            vehicle=vehicle,
            part_key=road.part_key,
            position=position,
            fitted_on=None if start is None else road.day(start),
            fitted_total_km=None if start is None else Decimal(round(start)),
            removed_on=None if end is None else road.day(end),
            removed_total_km=None if end is None else Decimal(round(end)),
            removal="" if end is None else removal,
        )
        for start, end in zip(fitted, removed, strict=True)
    )


def run_to_failure(fleet: Fleet, part_key: str, vehicles: int, factor: float, seed: int = 1) -> list[float]:
    """A fleet from new, its parts at one position renewed when they fail; lives are `factor` times the catalogue's.

    Returns the lives that ended while the fleet looked on.
    """
    rng, road = np.random.default_rng(seed), Road(part_key)
    mean = factor * road.life_km
    until = rng.uniform(0.6, 2.0, vehicles) * mean
    position = (default_catalogue().parts[part_key].positions or ("",))[0]
    ended = []
    for vehicle, last in zip(kept_vehicles(fleet, road, until.tolist()), until, strict=True):
        lives = mean / gamma(1.0 + 1.0 / SHAPE) * rng.weibull(SHAPE, 12)
        failed = [km for km in np.cumsum(lives).tolist() if km < last]
        ended += lives[: len(failed)].tolist()
        if failed:
            renew(vehicle, road, position, failed)
    return ended
