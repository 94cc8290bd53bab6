"""The jobs of all vehicles of a fleet in one list, a page at a time: two queries, whatever the fleet's size.

Beside each vehicle's stored list stand the worths its jobs count with, so that the whole order is known without
opening a single list; only those that the page needs are opened.
"""

from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.kernel.money import Money
from scheduling.core.fleet_order import FleetOrder, Place
from scheduling.selectors import backlogs_of, counted_backlogs

Json = dict[str, Any]


def fleet_backlog(access: Access, *, limit: int, after: Place | None = None) -> tuple[Json, Place | None]:
    """`limit` jobs from the one after `after` on, ranked over the whole fleet; and where to go on, if anywhere."""
    rows = counted_backlogs(access)
    order = FleetOrder([row.vehicle_id for row in rows], [row.worths for row in rows])
    start, places = order.after(after, limit)
    documents = {row.vehicle_id: row for row in backlogs_of(access, {place.vehicle for place in places})}
    items = []
    for rank, place in enumerate(places, start=start + 1):
        stored = documents.get(place.vehicle)
        # Between the two queries a list may have been replaced by a shorter one, or gone with its vehicle.
        if stored is not None and place.rank < len(stored.document["items"]):
            vehicle = {"vehicle": str(place.vehicle), "vehicle_name": stored.vehicle.name}
            items.append({**stored.document["items"][place.rank], **vehicle, "rank": rank})
    total = Money(sum(row.cost_minor for row in rows), access.fleet.currency)
    body = {"items": items, "jobs": len(order), "total_cost": total.as_json()}
    return body, places[-1] if start + len(places) < len(order) else None
