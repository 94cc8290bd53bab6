"""Assessing vehicles: the judge and the decider over one batch, stored together with the revision they rest on."""

import uuid
from collections.abc import Iterable, Sequence

from django.db import transaction
from django.utils import timezone

from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.fleet.services.standings import store_standings
from inspections.services.assessment import JUDGED, Verdicts, store_verdicts
from inspections.services.history import load_batch
from scheduling.selectors import stale_standings
from scheduling.services.backlog import DECIDED, Backlogs, decide, store_backlogs
from scheduling.services.due import NEXT_DUE, DueRefresh, due_of, store_due

CHUNK_VEHICLES = 50
"""Vehicles judged at once: enough to share the arrays, few enough for flat memory."""
SWEEP_MOST = 5_000


def assess_vehicles(fleet_id: uuid.UUID, vehicle_ids: Iterable[uuid.UUID]) -> int:
    """Computes and stores condition and backlog of vehicles of one fleet; returns how many were stored.

    Computed outside any transaction. What was written meanwhile raised the revision, so that a figure which is
    already old when it is stored still reads as stale.
    """
    fleet = Fleet.objects.filter(pk=fleet_id).first()
    if fleet is None:
        return 0
    ids = list(vehicle_ids)
    return sum(_assess(fleet, ids[start : start + CHUNK_VEHICLES]) for start in range(0, len(ids), CHUNK_VEHICLES))


def assess_fleet(fleet_id: uuid.UUID) -> int:
    """Computes and stores the figures of every vehicle kept in a fleet, after a change that concerns all."""
    rows = Vehicle.objects.within(fleet_id).filter(archived=False).order_by("id")
    return assess_vehicles(fleet_id, rows.values_list("pk", flat=True))


def _assess(fleet: Fleet, ids: Sequence[uuid.UUID]) -> int:
    batch = load_batch(fleet, ids, today(fleet))
    if not batch.vehicles:
        return 0
    verdicts, backlogs = decide(batch)
    _store(verdicts, backlogs, due_of(batch))
    return len(batch.vehicles)


@transaction.atomic
def _store(verdicts: Verdicts, backlogs: Backlogs, due: DueRefresh) -> None:
    store_verdicts(verdicts)
    store_backlogs(backlogs)
    store_due(due)
    store_standings([vehicle.standing for vehicle in verdicts.batch.vehicles], (*JUDGED, *DECIDED, *NEXT_DUE))


def sweep_stale() -> int:
    """Assesses what is stale by a write whose bell was lost, or by time; returns how many vehicles were done."""
    rows = stale_standings(timezone.now().date()).order_by("fleet_id", "vehicle_id")[:SWEEP_MOST]
    by_fleet: dict[uuid.UUID, list[uuid.UUID]] = {}
    for fleet_id, vehicle_id in rows.values_list("fleet_id", "vehicle_id"):
        by_fleet.setdefault(fleet_id, []).append(vehicle_id)
    return sum(assess_vehicles(fleet_id, ids) for fleet_id, ids in by_fleet.items())
