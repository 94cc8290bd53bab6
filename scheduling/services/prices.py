"""What a fleet says of its own prices, hours and hands, and what the jobs that it closed teach."""

from collections.abc import Iterator, Mapping
from typing import Any

from django.db import IntegrityError, transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Fleet, JobExperience, JobPrice, WorkTerms
from fleetcare.fleet.services.vehicles import touch_all
from fleetcare.fleet.words import Raising, Role
from fleetcare.kernel.errors import Conflict, Fault, NotFound, raise_if_any
from fleetcare.support.versions import store
from inspections.catalogue.catalogue import PartJob
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import JobFigures, PriceBook, tool_words
from inspections.core.types import SHARED_WORK_SHARE
from inspections.services.costs import fleet_prices, usual_terms
from scheduling.core.job_states import JobState
from scheduling.models import Job

Json = dict[str, Any]
LATEST_JOBS = 30
"""Closed jobs of a kind that an estimate rests on: prices of ten years ago say little of today's."""
LEAST_OWN_SHARE = 0.2
"""Of a closed job's hours, what is left to the job itself whatever its access usually takes."""
_PRICE_FIELDS = ("parts_low_minor", "parts_typical_minor", "parts_high_minor", "hours", "done_by", "note")
_TERM_FIELDS = (
    "done_by", "own_hour_minor", "workshop_hour_minor", "hardest_own", "licensed_here", "raising", "tools",
    "tools_lacking",
)  # fmt: skip


def known_job(job_key: str) -> PartJob:
    """The catalogue's job; raises NotFound where there is none."""
    entry = default_catalogue().jobs.get(job_key)
    if entry is None:
        raise NotFound
    return entry


def job_price(access: Access, job_key: str) -> JobPrice:
    """What the fleet says of a job; a blank row of version 0 where it says nothing. Raises NotFound."""
    known_job(job_key)
    row = JobPrice.objects.within(access.fleet).filter(job_key=job_key).first()
    return row or JobPrice(fleet=access.fleet, job_key=job_key, version=0)


@transaction.atomic
def set_price(access: Access, row: JobPrice, **said: Any) -> JobPrice:
    """Replaces what the fleet says of a job; what is left out, the catalogue says. Planners and owners.

    Raises InvalidInput for bounds that do not enclose the usual price, StaleWrite or Conflict where somebody else
    wrote meanwhile.
    """
    access.require(Role.PLANNER)
    raise_if_any(_price_faults(said))
    for name in _PRICE_FIELDS:
        setattr(row, name, said.get(name, "" if name in {"done_by", "note"} else None))
    _keep(row, _PRICE_FIELDS)
    touch_all(access.fleet)
    return row


def _price_faults(said: Mapping[str, Any]) -> Iterator[Fault]:
    low, typical, high = (said.get(name) for name in _PRICE_FIELDS[:3])
    if typical is None and (low is not None or high is not None):
        yield Fault("/parts/typical", "required", "Say what the parts usually cost, not only the bounds.")
    elif typical is not None and low is not None and low > typical:
        yield Fault("/parts/low", "order", "The low price must not lie above the usual one.")
    elif typical is not None and high is not None and high < typical:
        yield Fault("/parts/high", "order", "The high price must not lie below the usual one.")


def _keep(row: JobPrice | WorkTerms, fields: tuple[str, ...]) -> None:
    """Saves a row that was read, or makes one that was not there."""
    if row.version:
        store(row, fields)
        return
    row.version = 1
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as error:
        raise Conflict("Somebody else has just said this; read it again.", code="said-meanwhile") from error


@transaction.atomic
def drop_price(access: Access, row: JobPrice) -> None:
    """The catalogue's figures hold again. Planners and owners. Raises NotFound where the fleet said nothing."""
    access.require(Role.PLANNER)
    if not row.version:
        raise NotFound
    row.delete()
    touch_all(access.fleet)


def work_terms(access: Access) -> WorkTerms:
    """Who does what here; a row of version 0 with what usually holds where the fleet has not said."""
    row = WorkTerms.objects.within(access.fleet).first()
    if row is not None:
        return row
    usual = usual_terms(access.fleet)
    return WorkTerms(fleet=access.fleet, licensed_here=usual.licensed_here, raising=Raising.LIFT, version=0)


@transaction.atomic
def set_terms(access: Access, row: WorkTerms, **said: Any) -> WorkTerms:
    """Replaces who does what here and for how much. Planners and owners.

    Raises InvalidInput for tools that no job of the catalogue names, StaleWrite or Conflict where somebody else
    wrote meanwhile.
    """
    access.require(Role.PLANNER)
    raise_if_any(_tool_faults(said))
    blank = WorkTerms()
    for name in _TERM_FIELDS:
        setattr(row, name, said.get(name, getattr(blank, name)))
    _keep(row, _TERM_FIELDS)
    touch_all(access.fleet)
    return row


def _tool_faults(said: Mapping[str, Any]) -> Iterator[Fault]:
    known = tool_words(default_catalogue())
    for field in ("tools", "tools_lacking"):
        for index, tool in enumerate(said.get(field) or ()):
            if tool not in known:
                yield Fault(f"/{field}/{index}", "unknown-tool", "No job of the catalogue names this tool.")


def prices_here(access: Access) -> PriceBook:
    """What every job costs in the fleet and who does it."""
    return fleet_prices(access.fleet)


def figures_of(book: PriceBook, job_key: str) -> JobFigures:
    """What a job is reckoned to take in the fleet of this book."""
    return book.of(default_catalogue(), job_key)


def learn_job_costs(fleet: Fleet, job_key: str) -> None:
    """Stores what the jobs of one kind that were closed lately took; two statements, inside a transaction.

    Call it where a job is closed or its closing taken back. Nothing is learned of free jobs.
    """
    entry = default_catalogue().jobs.get(job_key)
    if entry is None:
        return
    rows = Job.objects.within(fleet).filter(job_key=job_key, state=JobState.DONE.value)
    latest = list(
        rows.order_by("-done_on", "-closed_at").values_list("hours", "parts_minor", "positions")[:LATEST_JOBS]
    )
    hours = [_own_hours(entry, float(each), positions) for each, _, positions in latest if each]
    parts = [parts_minor / _units(entry, positions) for _, parts_minor, positions in latest if parts_minor]
    values = {"hours": [round(each, 3) for each in hours], "parts_minor": [round(each) for each in parts]}
    mine = JobExperience.objects.within(fleet)
    mine.update_or_create(fleet=fleet, job_key=job_key, defaults=values)


def _units(entry: PartJob, positions: list[str]) -> int:
    """How many times the catalogue's job a closed one was: once for each position, or once for its axle or vehicle."""
    return max(len(positions), 1) if entry.job.scope == "position" else 1


def _own_hours(entry: PartJob, hours: float, positions: list[str]) -> float:
    """Hours of one unit without access and follow-ups, of which a job usually bears its share."""
    catalogue = default_catalogue()
    units = {unit for position in positions or [""] for unit in catalogue.access_units(entry.key, position)}
    shared = catalogue.access_hours(tuple(units))
    shared += sum(catalogue.follow_ups[each].hours for each in entry.job.follow_ups)
    own = max(hours - SHARED_WORK_SHARE * shared, LEAST_OWN_SHARE * hours)
    return own / _units(entry, positions)
