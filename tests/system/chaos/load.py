"""Run by the interpreter of an installation: makes its tables and what is due, and rings its bells."""

import json
import sys
from datetime import timedelta
from typing import Any


def migrate() -> dict[str, Any]:
    """The tables, once for all tests; each starts from a copy."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    return {}


def fill(count: int) -> dict[str, Any]:
    """One fleet whose every contact has one vehicle with one follow-up due today: exactly one mail each."""
    from django.utils import timezone

    from fleetcare.fleet.models import Contact, ContactVehicle, Standing, User, Vehicle
    from fleetcare.fleet.services.fleets import create_fleet
    from fleetcare.fleet.services.keys import create_key
    from fleetcare.fleet.words import Role
    from fleetcare.support.bell import bell_held
    from scheduling.models import DueItem, ReminderChoice

    owner, now = User.objects.create_user("owner@chaos.example"), timezone.now()
    today, later = now.date(), now.date() + timedelta(days=10)
    with bell_held():
        access = create_fleet(owner, name="Chaos", kind="workshop", currency="EUR", time_zone="UTC")
    fleet = access.fleet
    _, key = create_key(access, name="chaos", role=Role.OWNER)
    awake = {"rhythm": "daily", "hour": 0, "quiet_from_hour": 0, "quiet_to_hour": 0}
    member = owner.memberships.get()
    choices = [ReminderChoice(fleet=fleet, membership=member, rhythm="never", safety_at_once=False)]
    vehicles = [Vehicle(fleet=fleet, name=f"Car {n}", first_used_on="2012-05-01") for n in range(count)]
    contacts = [Contact(fleet=fleet, name=f"Person {n}", email=f"person{n}@chaos.example") for n in range(count)]
    choices += [ReminderChoice(fleet=fleet, contact=contact, **awake) for contact in contacts]
    # One more that nobody is told about, for writes: what the judge then makes of it is no reader's.
    spare = Vehicle(fleet=fleet, name="Spare", first_used_on="2012-05-01")
    Vehicle.objects.bulk_create([*vehicles, spare])
    # Judged already, also for a clock that leaps ahead: this is about mails, and the judge would make items of its own.
    Standing.objects.bulk_create(
        Standing(fleet=fleet, vehicle=vehicle, revision=1, assessed_revision=1, assessed_on=later)
        for vehicle in [*vehicles, spare]
    )
    Contact.objects.bulk_create(contacts)
    ContactVehicle.objects.bulk_create(
        ContactVehicle(fleet=fleet, contact=contact, vehicle=vehicle)
        for contact, vehicle in zip(contacts, vehicles, strict=True)
    )
    ReminderChoice.objects.bulk_create(choices)
    days = dict.fromkeys(("limit_on", "due_on", "earliest_on", "latest_on", "soon_on"), today)
    DueItem.objects.bulk_create(
        DueItem(
            fleet=fleet, vehicle=vehicle, kind="follow-up", source="follow-up:chaos", period="1", what="Alignment",
            state=2, announced_state=3, **days,
        )
        for vehicle in vehicles
    )  # fmt: skip
    return {"fleet": str(fleet.pk), "key": key, "vehicle": str(spare.pk)}


def ring(task: str, times: int) -> dict[str, Any]:
    """Rings the bell of a task again and again."""
    from fleetcare.config import celery_app

    for _ in range(times):
        celery_app.send_task(task)
    return {"rung": times}


def poison() -> dict[str, Any]:
    """Messages that no worker understands: a task nobody knows, and arguments that fit none."""
    from fleetcare.config import celery_app

    celery_app.send_task("scheduling.no_such_task")
    celery_app.send_task("scheduling.relay_events", args=["no-uuid"])
    celery_app.send_task("scheduling.send_letters", args=[1, 2, 3])
    return {}


if __name__ == "__main__":
    import django

    django.setup()
    command, *arguments = sys.argv[1:]
    known: dict[str, Any] = {
        "migrate": migrate, "fill": lambda count: fill(int(count)), "poison": poison,
        "ring": lambda task, times: ring(task, int(times)),
    }  # fmt: skip
    print(json.dumps(known[command](*arguments)))
