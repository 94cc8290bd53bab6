"""Run by the interpreter of an installation: makes its tables and what is due, and rings its bells."""

import json
import sys
import time
from collections.abc import Sequence
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


def ring(times: int, tasks: Sequence[str]) -> dict[str, Any]:
    """Rings the bells of tasks again and again, in turn, over a few seconds."""
    from fleetcare.config import celery_app

    for number in range(times):
        celery_app.send_task(tasks[number % len(tasks)])
        time.sleep(0.05)
    return {"rung": times}


def poison() -> dict[str, Any]:
    """Messages that no worker understands: an unknown task, arguments that fit none, words that are no JSON."""
    from fleetcare.config import celery_app

    celery_app.send_task("scheduling.no_such_task")
    celery_app.send_task("scheduling.relay_events", args=["no-uuid"])
    celery_app.send_task("scheduling.send_letters", args=[1, 2, 3])
    with celery_app.producer_pool.acquire() as producer:
        headers = {"task": "scheduling.send_letters", "id": "broken", "lang": "py", "argsrepr": "", "kwargsrepr": ""}
        words = {"content_type": "application/json", "content_encoding": "utf-8", "headers": headers}
        producer.publish('[[1, {"half":', serializer=None, exchange="celery", routing_key="celery", **words)
    return {}


def endpoints(urls: dict[str, str]) -> dict[str, Any]:
    """A fleet for each name, with an endpoint at its address; returns their ids by name."""
    from fleetcare.fleet.models import User
    from fleetcare.fleet.services.fleets import create_fleet
    from fleetcare.support.bell import bell_held
    from scheduling.services.webhooks import add_endpoint

    found = {}
    for name, url in urls.items():
        with bell_held():
            owner = User.objects.create_user(f"{name}@chaos.example")
            access = create_fleet(owner, name=name, kind="workshop", currency="EUR", time_zone="UTC")
        add_endpoint(access, url=url)
        found[name] = str(access.fleet.pk)
    return found


def happen(counts: dict[str, int], every_seconds: float) -> dict[str, Any]:
    """Something happens in fleets (by id) again and again: in each once a round, as long as it has some left."""
    from fleetcare.fleet.models import Fleet
    from fleetcare.fleet.services.events import record_event

    fleets = {key: Fleet.objects.get(pk=key) for key in counts}
    for number in range(max(counts.values())):
        for key, fleet in fleets.items():
            if number < counts[key]:
                record_event(fleet, kind="job.closed", facts={"number": number})
        time.sleep(every_seconds)
    return {}


if __name__ == "__main__":
    import django

    django.setup()
    command, *arguments = sys.argv[1:]
    known: dict[str, Any] = {
        "migrate": migrate, "fill": lambda count: fill(int(count)), "poison": poison,
        "endpoints": lambda urls: endpoints(json.loads(urls)),
        "happen": lambda counts, every: happen(json.loads(counts), float(every)),
        "ring": lambda times, *tasks: ring(int(times), tasks),
    }  # fmt: skip
    print(json.dumps(known[command](*arguments)))
