"""What moved in the backlogs of vehicles since something last moved, kept when backlogs are stored, and read."""

import hashlib
from decimal import Decimal
from typing import Any

import numpy as np

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import Money
from inspections.catalogue.loader import default_catalogue
from inspections.services.history import Batch
from scheduling.core.changes import Change, Found, Listed, Standing, changes
from scheduling.models import BacklogChanges

Json = dict[str, Any]
MOST_STEPS = 12
MOST_CHANGES = 30
"""Told of one step."""

_BECAUSE = {
    "finding-opened": "a defect was found",
    "finding-worsened": "its defect was found worse",
    "finding-improved": "its defect was found milder",
    "finding-closed": "its defect was not found again",
    "job-done": "the part was renewed",
    "price-changed": "prices or who does the work changed",
    "life-changed": "what is known of lives changed",
    "shared-access": "what it shares with another job of the list changed",
    "driven": "the vehicle was driven on",
    "time-passed": "time passed",
}


def keep_changes(batch: Batch, documents: tuple[Json, ...]) -> None:
    """Compares backlogs about to be stored with those before and keeps what moved; two statements at most.

    A vehicle's first backlog is only remembered. Where nothing moved, nothing is written, so that what creeps adds
    up until it tells.
    """
    rows = BacklogChanges.objects.within(batch.fleet).filter(vehicle__in=batch.vehicles)
    before = {row.vehicle_id: row for row in rows}
    written = []
    for index, (vehicle, document) in enumerate(zip(batch.vehicles, documents, strict=True)):
        row = before.get(vehicle.pk)
        if row is None:
            basis = _as_json(_standing(batch, index, document, {}))
            written.append(BacklogChanges(fleet=batch.fleet, vehicle=vehicle, since=batch.on, basis=basis))
            continue
        old = _from_json(row.basis)
        new = _standing(batch, index, document, old.found)
        moved = changes(old, new)
        if moved:
            step = _step(batch, row, old, new, moved)
            row.steps = [step, *row.steps][:MOST_STEPS]
            row.since, row.basis = batch.on, _as_json(new)
            written.append(row)
    BacklogChanges.objects.bulk_create(
        written,
        update_conflicts=True,
        unique_fields=["vehicle"],
        update_fields=["since", "basis", "steps"],
    )


def _standing(batch: Batch, index: int, document: Json, before: Any) -> Standing:
    places = _places(batch, index)
    bad = set(np.flatnonzero(batch.last_grade >= Grade.MINOR).tolist())
    found = {
        place: Found(int(batch.last_grade[row]), _fitted(batch, row)) for place, row in places.items() if row in bad
    }
    book = batch.book
    return Standing(
        total_km=float(batch.roads.now_km[index]),
        prices=batch.prices.key[:16],
        lives=hashlib.sha256(book.life_km.tobytes() + book.life_cv.tobytes()).hexdigest()[:16],
        jobs={_key(item): _listed(item, 0) for item in document["can_wait"]}
        | {_key(item): _listed(item, item["rank"]) for item in document["items"]},
        found=found,
        fitted_km={place: _fitted(batch, places[place]) for place in before if place in places},
    )


def _places(batch: Batch, index: int) -> dict[tuple[str, str], int]:
    low, high = np.searchsorted(batch.cells.vehicle, [index, index + 1])
    slots = batch.catalogue.slots
    return {
        (slots[slot].part_key, slots[slot].position): row
        for row, slot in enumerate(batch.cells.slot[low:high].tolist(), start=int(low))
    }


def _fitted(batch: Batch, row: int) -> float | None:
    clock = float(batch.cells.fitted_clock_km[row])
    return None if np.isnan(clock) else round(clock, 1)


def _key(item: Json) -> str:
    return " ".join([item["job"], *item["positions"]])


def _listed(item: Json, place: int) -> Listed:
    cost = item["cost_now"]
    minor = Money.of(Decimal(cost["amount"]), cost["currency"]).minor
    opened = bool(item["opened_before"])
    return Listed(item["job"], tuple(item["positions"]), place, item["worth_per_cost"], minor, opened)


def _step(batch: Batch, row: BacklogChanges, old: Standing, new: Standing, moved: tuple[Change, ...]) -> Json:
    return {
        "on": batch.on.isoformat(),
        "since": row.since.isoformat(),
        "driven_km": round(new.total_km - old.total_km),
        "changes": [_told(batch.fleet.currency, each) for each in moved[:MOST_CHANGES]],
        "more": max(len(moved) - MOST_CHANGES, 0),
    }


def _told(currency: str, change: Change) -> Json:
    entry = default_catalogue().jobs[change.job]
    return {
        "what": change.what,
        "job": change.job,
        "title": entry.job.title,
        "positions": list(change.positions),
        "causes": list(change.causes),
        "because": "; ".join(_BECAUSE[cause] for cause in change.causes),
        "before": _stood(currency, change.before),
        "after": _stood(currency, change.after),
    }


def _stood(currency: str, listed: Listed | None) -> Json | None:
    if listed is None:
        return None
    cost = Money(listed.cost_minor, currency).as_json()
    return {"rank": listed.place or None, "worth_per_cost": listed.worth, "cost_now": cost}


def _as_json(standing: Standing) -> Json:
    return {
        "total_km": round(standing.total_km, 1),
        "prices": standing.prices,
        "lives": standing.lives,
        "jobs": [
            [each.job, list(each.positions), each.place, each.worth, each.cost_minor, each.opened]
            for each in standing.jobs.values()
        ],
        "found": [[*place, each.grade, each.fitted_km] for place, each in standing.found.items()],
    }


def _from_json(basis: Json) -> Standing:
    listed = [
        Listed(job, tuple(positions), place, worth, cost, opened)
        for job, positions, place, worth, cost, opened in basis["jobs"]
    ]
    return Standing(
        total_km=basis["total_km"],
        prices=basis["prices"],
        lives=basis["lives"],
        jobs={" ".join([each.job, *each.positions]): each for each in listed},
        found={(part, position): Found(grade, fitted) for part, position, grade, fitted in basis["found"]},
        fitted_km={},
    )


def backlog_changes(access: Access, vehicle: Vehicle) -> Json:
    """What moved in a vehicle's backlog, the latest first, as far as it is kept."""
    row = BacklogChanges.objects.within(access.fleet).filter(vehicle=vehicle).first()
    return {"vehicle": str(vehicle.pk), "steps": row.steps if row else [], "since": row.since if row else None}
