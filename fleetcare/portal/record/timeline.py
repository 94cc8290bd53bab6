"""Everything that happened to a vehicle in one dated list: one query for a page, whatever there is.

Each kind of row is brought to the same columns and the database joins and orders them. Readings and services that
belong to an inspection, a job or a fill are left out: those tell them already.
"""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import IntEnum
from typing import Any

from django.db.models import (
    BooleanField,
    Exists,
    F,
    FloatField,
    IntegerField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    TextField,
    Value,
)
from django.db.models.functions import Cast, Coalesce, Concat

from fleetcare.fleet.models import OdometerReading, Vehicle
from fleetcare.fleet.words import ReadingSource
from inspections.models import FindingChange, FittedPart, Inspection, Result
from inspections.words import InspectionState
from scheduling.core.job_states import JobState
from scheduling.models import Job, ServiceDone


class Kind(IntEnum):
    """What happened; of one day the larger is told first."""

    READING = 1
    SERVICE = 2
    PART = 3
    FINDING = 4
    JOB = 5
    INSPECTION = 6


@dataclass(frozen=True, slots=True)
class Place:
    """Where a page ended: the row after which the next one begins."""

    day: date
    kind: Kind
    id: uuid.UUID


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the list. What `text`, `detail`, `number` and `flag` hold depends on the kind; see each `_` below."""

    day: date
    kind: Kind
    id: uuid.UUID
    text: str
    detail: str
    number: float | None
    flag: bool

    @property
    def place(self) -> Place:
        """Where the list goes on after this entry."""
        return Place(self.day, self.kind, self.id)


_COLUMNS = ("on", "rank", "pk", "words", "more", "number", "flag")


def entries(vehicle: Vehicle, most: int, after: Place | None = None, kinds: tuple[Kind, ...] = ()) -> list[Entry]:
    """The latest `most` entries, after a place where one is given, of some kinds or of all."""
    branches = [_page(_BRANCHES[kind](vehicle), kind, after) for kind in kinds or _BRANCHES]
    first, *others = (branch.values_list(*_COLUMNS) for branch in branches)
    joined = first.union(*others, all=True) if others else first
    rows = joined.order_by("-on", "-rank", "-pk")[:most]
    return [
        Entry(on, Kind(rank), pk, text, more, number, bool(flag)) for on, rank, pk, text, more, number, flag in rows
    ]


def _page(rows: QuerySet[Any], kind: Kind, after: Place | None) -> QuerySet[Any]:
    """The rows of a kind that come after a place."""
    rows = rows.annotate(rank=Value(int(kind), IntegerField()))
    if after is None:
        return rows
    same_day = Q(on=after.day, pk__lt=after.id) if kind == after.kind else Q(on=after.day)
    return rows.filter(Q(on__lt=after.day) | same_day if kind <= after.kind else Q(on__lt=after.day))


def _columns(rows: QuerySet[Any], on: str, text: Any, detail: Any, number: Any, flag: Any = None) -> QuerySet[Any]:
    """The rows with the columns that all kinds share, each of one type in every branch."""
    told: QuerySet[Any] = rows.annotate(
        on=F(on),
        words=Cast(text, TextField()),
        more=Cast(detail, TextField()),
        number=Cast(number, FloatField()),
        flag=Value(value=False) if flag is None else Cast(flag, BooleanField()),
    )
    return told


def _inspections(vehicle: Vehicle) -> QuerySet[Any]:
    """Sheet, inspector, worst grade; the flag: still a draft."""
    rows = Inspection.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)
    results = Result.objects.within(vehicle.fleet_id).filter(inspection=OuterRef("pk")).order_by()
    worst = results.values("inspection").annotate(worst=Max("grade")).values("worst")
    draft = Q(state=InspectionState.DRAFT)
    return _columns(rows, "inspected_on", F("sheet"), F("inspector"), Subquery(worst), draft)


def _jobs(vehicle: Vehicle) -> QuerySet[Any]:
    """Title, places, what it cost in minor units; the flag: its cost is known."""
    rows = Job.objects.within(vehicle.fleet_id).filter(vehicle=vehicle, state=JobState.DONE.value)
    parts = ("labour_minor", "parts_minor", "other_minor")
    cost = sum((Coalesce(F(name), Value(0)) for name in parts), Value(0))
    known = Q(labour_minor__isnull=False) | Q(parts_minor__isnull=False) | Q(other_minor__isnull=False)
    return _columns(rows, "done_on", F("title"), F("place"), cost, known)


def _findings(vehicle: Vehicle) -> QuerySet[Any]:
    """What became of a finding outside any inspection and any job about its part: check; change and position."""
    rows = FindingChange.objects.within(vehicle.fleet_id).filter(finding__vehicle=vehicle, inspection=None)
    rows = rows.exclude(_told_by_a_job(vehicle, "finding__part_key", "happened_on"))
    change = Concat(F("kind"), Value(" "), F("finding__position"))
    return _columns(rows, "happened_on", F("finding__check_key"), change, F("grade"))


def _told_by_a_job(vehicle: Vehicle, part: str, on: str) -> Exists:
    """Whether a job about the same part was done on that day."""
    rows = Job.objects.within(vehicle.fleet_id).filter(vehicle=vehicle, state=JobState.DONE.value)
    return Exists(rows.filter(part_key=OuterRef(part), done_on=OuterRef(on)))


def _parts(vehicle: Vehicle) -> QuerySet[Any]:
    """The part and its position, and how far the vehicle had gone; what a job renewed is told by the job."""
    rows = FittedPart.objects.within(vehicle.fleet_id).filter(vehicle=vehicle, fitted_on__isnull=False)
    rows = rows.exclude(_told_by_a_job(vehicle, "part_key", "fitted_on"))
    return _columns(rows, "fitted_on", F("part_key"), F("position"), F("fitted_total_km"))


def _services(vehicle: Vehicle) -> QuerySet[Any]:
    """The rule's title, the note, and how far the vehicle had gone; those of jobs are told by the job."""
    rows = ServiceDone.objects.within(vehicle.fleet_id).filter(vehicle=vehicle, job_id=None)
    return _columns(rows, "done_on", F("rule__title"), F("note"), F("total_km"))


def _readings(vehicle: Vehicle) -> QuerySet[Any]:
    """What the odometer showed; the flag: it was a new one."""
    rows = OdometerReading.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)
    own = rows.filter(Q(source__in=(ReadingSource.PERSON, ReadingSource.IMPORT)) | Q(replacement=True))
    return _columns(own, "read_on", Value(""), Value(""), F("shown_km"), F("replacement"))


_BRANCHES: Mapping[Kind, Callable[[Vehicle], QuerySet[Any]]] = {
    Kind.INSPECTION: _inspections,
    Kind.JOB: _jobs,
    Kind.FINDING: _findings,
    Kind.PART: _parts,
    Kind.SERVICE: _services,
    Kind.READING: _readings,
}


@dataclass(frozen=True, slots=True)
class Changed:
    """What an inspection changed about one finding."""

    kind: str
    check_key: str
    position: str
    grade: int


def changes_of(vehicle: Vehicle, inspections: list[uuid.UUID]) -> dict[uuid.UUID, list[Changed]]:
    """What inspections opened, made worse or better and closed, the worst first: one query."""
    rows = FindingChange.objects.within(vehicle.fleet_id).filter(inspection__in=inspections).exclude(kind="confirmed")
    told = rows.order_by("-grade", "finding__check_key", "finding__position", "pk").values_list(
        "inspection_id", "kind", "finding__check_key", "finding__position", "grade"
    )
    found: dict[uuid.UUID, list[Changed]] = {}
    for inspection, kind, check_key, position, grade in told:
        found.setdefault(inspection, []).append(Changed(kind, check_key, position, grade))
    return found


def as_km(number: float | None) -> Decimal | None:
    """A distance of an entry."""
    return None if number is None else Decimal(str(number))
