"""What workers are rung for; each loads its arguments and calls one use-case."""

from uuid import UUID

from celery import shared_task

from inspections.services.lives import ask_for_learning
from scheduling.services.assess import assess_vehicles, sweep_stale


@shared_task(name="scheduling.assess_vehicle")
def assess_vehicle(fleet_id: str, vehicle_id: str) -> None:
    assess_vehicles(UUID(fleet_id), [UUID(vehicle_id)])


@shared_task(name="scheduling.tick")
def tick() -> None:
    sweep_stale()
    ask_for_learning()
