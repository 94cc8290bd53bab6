"""What workers are rung for; each loads its arguments and calls one use-case."""

from uuid import UUID

from celery import shared_task
from django.conf import settings

from scheduling.services import ticking
from scheduling.services.assess import assess_fleet, assess_vehicles
from scheduling.services.hooks import send_hooks, waiting_hooks
from scheduling.services.letters.sending import send_letters, waiting_letters
from scheduling.services.plans import solve_plan
from scheduling.services.relay import relay_events

_SENDING = {
    "soft_time_limit": settings.DELIVERY_MOST_SECONDS,
    "time_limit": settings.DELIVERY_LEASE_SECONDS,
    "calls_outside": True,
}


@shared_task(name="scheduling.assess_vehicle")
def assess_vehicle(fleet_id: str, vehicle_id: str) -> None:
    assess_vehicles(UUID(fleet_id), [UUID(vehicle_id)])


@shared_task(name="scheduling.assess_fleet")
def assess_all_of_fleet(fleet_id: str) -> None:
    assess_fleet(UUID(fleet_id))


@shared_task(name="scheduling.tick")
def tick() -> None:
    ticking.tick()


@shared_task(name="scheduling.relay_events")
def relay_fleet_events(fleet_id: str) -> None:
    relay_events(UUID(fleet_id))


@shared_task(name="scheduling.send_letters", **_SENDING)
def send_waiting_letters() -> None:
    ticking.send_all(send_letters, "scheduling.send_letters", waiting_letters)


@shared_task(name="scheduling.send_hooks", **_SENDING)
def send_waiting_hooks() -> None:
    ticking.send_all(send_hooks, "scheduling.send_hooks", waiting_hooks)


@shared_task(name="scheduling.solve_plan")
def solve_one_plan(fleet_id: str, plan_id: str) -> None:
    solve_plan(UUID(fleet_id), UUID(plan_id))
