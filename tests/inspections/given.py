"""What tests of inspections start from."""

from datetime import date
from decimal import Decimal
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from inspections.models import Inspection
from inspections.services.recording import record_inspection

BOOT = "outer-driveshaft-boot.condition"
PADS = "front-brake-pads.thickness"


def result(check: str = BOOT, position: str = "front-right", **said: Any) -> dict[str, Any]:
    """One result as a client would send it."""
    return {"check": check, "position": position, **(said or {"grade": "sound"})}


def inspect(
    access: Access, vehicle: Vehicle, *results: dict[str, Any], grade: str = "sound", **values: Any
) -> Inspection:
    """A completed inspection through the use-case."""
    given = {"inspected_on": date(2024, 5, 1), "shown_km": Decimal(120_000), **values}
    return record_inspection(access, vehicle, results=results or (result(grade=grade),), **given)[0]
