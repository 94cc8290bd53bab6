"""What tests of fuel start from."""

from datetime import date
from decimal import Decimal
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import FuelFill, Vehicle
from fleetcare.fleet.services.fuel import record_fuel


def fill(access: Access, vehicle: Vehicle, **values: Any) -> tuple[FuelFill, bool]:
    """A full tank through the use-case."""
    given = {"filled_on": date(2024, 6, 1), "litres": Decimal("41.5"), "full": True, "shown_km": Decimal(121_000)}
    return record_fuel(access, vehicle, **{**given, **values})
