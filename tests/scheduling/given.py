"""What tests of the decider start from."""

from datetime import date
from typing import Any

from fleetcare.fleet.models import Vehicle
from scheduling.models import DueItem
from scheduling.services.due.moves import set_moves
from scheduling.words import DueKind


def due_item(
    vehicle: Vehicle,
    *,
    source: str = "follow-up:of-a-test",
    on: date = date(2026, 3, 1),
    lead_days: int = 28,
    **values: Any,
) -> DueItem:
    """An open due item as a job would have left it."""
    kept = {"kind": DueKind.FOLLOW_UP, "period": "once", "what": "Wheel alignment", **values}
    days = dict.fromkeys(("limit_on", "due_on", "earliest_on", "latest_on"), on)
    item = DueItem(fleet=vehicle.fleet, vehicle=vehicle, source=source, **days, **kept)
    set_moves(item, lead_days)
    item.save(force_insert=True)
    return item
