"""What tests of jobs, know-how and estimates start from."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from inspections.catalogue.loader import default_catalogue
from scheduling.models import Estimate, Job, KnowHow
from scheduling.services.estimates import Draft, LineDraft, OptionDraft, draft_estimate, send_estimate
from scheduling.services.jobs import Closing, close_job, open_job
from scheduling.services.know_how import add_know_how

PADS_JOB = "front-brake-pads.replace"
BOOT_JOB = "outer-driveshaft-boot.replace"
CLEAN_HUB = "front-brake-disc.clean-hub-face"
SIDES = ["front-left", "front-right"]


def day(access: Access, ago: int = 0) -> date:
    """So many days before the fleet's today."""
    return today(access.fleet) - timedelta(days=ago)


def job(access: Access, vehicle: Vehicle, key: str = PADS_JOB, *positions: str, **values: Any) -> Job:
    """An open job through the use-case."""
    places = positions or (("front-left",) if key and default_catalogue().jobs[key].part.positions else ())
    return open_job(access, vehicle, job_key=key, positions=places, **values)[0]


def closing(access: Access, ago: int = 0, **values: Any) -> Closing:
    """What was done, some days ago, at 120,500 km."""
    return Closing(**{"done_on": day(access, ago), "shown_km": Decimal(120_500), **values})


def closed(access: Access, job_row: Job, ago: int = 0, **values: Any) -> Job:
    """The job closed through the use-case."""
    return close_job(access, job_row, closing(access, ago, **values))


def note(access: Access, vehicle: Vehicle, **values: Any) -> KnowHow:
    """A tightening figure, which the vehicle's make and model share."""
    given = {
        "kind": "torque",
        "part_key": "front-brake-pads",
        "text": "carrier bolts",
        "value": Decimal(105),
        "unit": "N·m",
        "source": "maker's repair data, brakes, page 12",
    }
    Vehicle.objects.within(access.fleet).filter(pk=vehicle.pk, make="").update(make="Amsel", model="Zwei")
    vehicle.refresh_from_db()
    return add_know_how(access, vehicle, **{**given, **values})


def line(title: str = "Renew the pads", parts: int = 10_000, labour: int = 5_000, **values: Any) -> LineDraft:
    """A line with one free option."""
    return LineDraft(options=(OptionDraft(title=title, parts_minor=parts, labour_minor=labour),), **values)


def estimate(access: Access, vehicle: Vehicle, *lines: LineDraft, **values: Any) -> Estimate:
    """A draft through the use-case."""
    return draft_estimate(access, vehicle, Draft(lines=lines or (line(),), **values))


def sent(access: Access, vehicle: Vehicle, *lines: LineDraft, **values: Any) -> tuple[Estimate, str]:
    """An estimate that was sent, and the secret of its link."""
    return send_estimate(access, estimate(access, vehicle, *lines, **values))
