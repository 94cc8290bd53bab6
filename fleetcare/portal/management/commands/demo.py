"""From an empty machine to three invented fleets in the browser, in one command."""

import json
from argparse import ArgumentParser
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Fleet, User
from fleetcare.fleet.selectors import vehicles
from fleetcare.portal.demo.fixtures import DemoFleet, demo_fleets
from fleetcare.portal.demo.loading import load_fleets
from fleetcare.portal.demo.owner import EMAIL, demo_owner, fresh_key
from fleetcare.portal.demo.showing import shown
from fleetcare.portal.management.commands.serve import address, refuse_taken_port
from fleetcare.support.doing import erasing
from inspections.services.assessment import current_condition
from scheduling.services.backlog import current_backlog

_HOST = "127.0.0.1"


class Command(BaseCommand):
    help = "Loads three invented fleets once, shows one vehicle's condition and backlog, and serves pages and API."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="end after showing the vehicle")
        parser.add_argument("--json", action="store_true", help="print ids and a fresh owner's key of each fleet, end")
        parser.add_argument("--port", type=int, default=8000, help="port to serve at (default 8000)")
        parser.add_argument("--fresh", action="store_true", help="begin anew; refused where other data is stored")

    def handle(self, *args: Any, no_serve: bool, port: int, fresh: bool, **options: Any) -> None:
        only_json = options["json"]
        serves = not (no_serve or only_json)
        if serves:
            refuse_taken_port(_HOST, port)
        call_command("migrate", interactive=False, verbosity=0)
        fleets = demo_fleets()
        if fresh:
            _begin_anew(fleets)
        owner, login = demo_owner(settings.DATA_DIR)
        accesses = load_fleets(owner, fleets)
        if only_json:
            self.stdout.write(json.dumps({"fleets": [_for_scripts(access) for access in accesses]}))
            return
        for line in _showpiece(accesses[0]):
            self.stdout.write(line)
        self.stdout.write(f"\nSign in at {address(_HOST, port)} as {login.email} with {login.password}")
        if serves:
            call_command("serve", host=_HOST, port=port)


def _begin_anew(fleets: Sequence[DemoFleet]) -> None:
    """Empties a database that holds nothing but the demo; raises CommandError where it holds more."""
    others = Fleet.objects.exclude(pk__in=[fleet.id for fleet in fleets])
    if others.exists() or User.objects.exclude(email__iexact=EMAIL).exists():
        raise CommandError("There is more here than the demo; --fresh would delete it. Use another FLEETCARE_DATA.")
    with erasing():
        call_command("flush", interactive=False, verbosity=0)


def _for_scripts(access: Access) -> dict[str, str]:
    fleet = access.fleet
    return {"id": str(fleet.pk), "name": fleet.name, "kind": fleet.kind, "key": fresh_key(access)}


def _showpiece(access: Access) -> list[str]:
    """The vehicle of a fleet that most needs somebody's eye."""
    vehicle = vehicles(access).order_by("-standing__do_not_drive", "sort_score", "name")[0]
    title = f"{vehicle.name}: {vehicle.make} {vehicle.model}, {vehicle.model_year}, {vehicle.plate}"
    return list(shown(title, current_condition(access, vehicle), current_backlog(access, vehicle)))
