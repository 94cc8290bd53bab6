"""The kit list: what to lay out for jobs before anything is taken apart, cautions first."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Fleet, Vehicle
from fleetcare.kernel.errors import Fault, raise_if_any
from fleetcare.kernel.money import Money, rounded_minor
from inspections.catalogue.catalogue import PartJob
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import PriceBook
from inspections.services.costs import fleet_prices
from scheduling.core.job_states import JobState
from scheduling.models import Job, KnowHow
from scheduling.selectors import fleet_jobs, know_how
from scheduling.services.jobs.places import slots_of
from scheduling.services.know_how import model_key_of
from scheduling.words import NoteKind

Json = dict[str, Any]
MOST_JOBS = 200
DISCLAIMER = (
    "An aid: local rules, the maker's data and a licensed technician come first. Tightening figures are what somebody "
    "entered from the maker's data; hold them against the source they name before you use them."
)
NO_TORQUE = "No tightening figures are entered for this model: take them from the maker's data."


def kit_list(access: Access, *, vehicle: Vehicle | None = None, job_ids: Sequence[uuid.UUID] = ()) -> Json:
    """Tools, consumables, parts, access and cautions of jobs, each once; seven queries whatever the number.

    Without `job_ids` the jobs that are planned or begun. Raises InvalidInput naming each id that is no job to be done
    here, other fleets' jobs among them.
    """
    rows = fleet_jobs(access)
    if vehicle is not None:
        rows = rows.filter(vehicle=vehicle)
    if job_ids:
        jobs = _in_order(list(rows.filter(pk__in=job_ids)), job_ids)
    else:
        begun = [JobState.PLANNED.value, JobState.IN_WORK.value]
        jobs = list(rows.filter(state__in=begun).order_by("vehicle__name", "vehicle_id", "id")[:MOST_JOBS])
    notes = list(know_how(access, (model_key_of(job.vehicle) for job in jobs)).order_by("kind", "created_at", "id"))
    return _document(access.fleet, jobs, notes)


def _in_order(found: Sequence[Job], wanted: Sequence[uuid.UUID]) -> list[Job]:
    by_id = {job.pk: job for job in found}
    raise_if_any(
        Fault(f"/jobs/{index}", "unknown-job", "There is no such job here.")
        for index, key in enumerate(wanted)
        if key not in by_id
    )
    return [by_id[key] for key in dict.fromkeys(wanted)]


def _document(fleet: Fleet, jobs: Sequence[Job], notes: Sequence[KnowHow]) -> Json:
    by_vehicle: dict[uuid.UUID, list[Job]] = {}
    for job in jobs:
        by_vehicle.setdefault(job.vehicle_id, []).append(job)
    prices = fleet_prices(fleet)
    kits = [_VehicleKit(fleet, prices, group, notes) for group in by_vehicle.values()]
    return {
        "cautions": _cautions(kits),
        "licensed": [line for kit in kits for line in kit.licensed()],
        "vehicles": [kit.document() for kit in kits],
        "tools": _merged((tool, job) for kit in kits for tool, job in kit.tools()),
        "consumables": _merged((each, job) for kit in kits for each, job in kit.consumables()),
        "parts": [part for kit in kits for part in kit.parts()],
        "hours": round(sum(kit.hours for kit in kits), 2),
        "disclaimer": DISCLAIMER,
    }


def _cautions(kits: Sequence["_VehicleKit"]) -> list[Json]:
    """Each once: of getting there first, since that comes first, then of the jobs."""
    catalogue = default_catalogue()
    keys = dict.fromkeys(key for kit in kits for key in kit.caution_keys())
    return [{"caution": key, "text": catalogue.cautions[key].text} for key in keys]


def _merged(pairs: Iterable[tuple[str, Job | None]]) -> list[Json]:
    """Things told by name, each once whatever its case, with the jobs that want it."""
    found: dict[str, Json] = {}
    for name, job in pairs:
        entry = found.setdefault(name.casefold(), {"what": name, "jobs": []})
        if job is not None and str(job.pk) not in entry["jobs"]:
            entry["jobs"].append(str(job.pk))
    return list(found.values())


class _VehicleKit:
    """What the jobs of one vehicle take; what is taken apart for several is taken apart once."""

    def __init__(self, fleet: Fleet, prices: PriceBook, jobs: Sequence[Job], notes: Sequence[KnowHow]) -> None:
        self.fleet, self.prices, self.jobs, self.catalogue = fleet, prices, jobs, default_catalogue()
        self.vehicle = jobs[0].vehicle
        key = model_key_of(self.vehicle)
        self.notes = [note for note in notes if note.model_key == key]
        known = ((job, self.catalogue.jobs.get(job.job_key)) for job in jobs)
        self.entries: list[tuple[Job, PartJob]] = [(job, entry) for job, entry in known if entry is not None]
        self.units: dict[str, Job] = {}
        for job, entry in self.entries:
            for position in slots_of(job.positions):
                for unit in self.catalogue.access_units(entry.key, position):
                    self.units.setdefault(unit, job)
        self.follow_ups = dict.fromkeys(key for _, entry in self.entries for key in entry.job.follow_ups)

    @property
    def hours(self) -> float:
        work = sum(self._hours(entry) for _, entry in self.entries)
        after = sum(self.catalogue.follow_ups[key].hours for key in self.follow_ups)
        return float(work + self.catalogue.access_hours(tuple(self.units)) + after)

    def _hours(self, entry: PartJob) -> float:
        """What the job usually takes in this fleet, for one unit of its scope."""
        return self.prices.of(self.catalogue, entry.key).hours.likely

    def caution_keys(self) -> list[str]:
        opening = [key for unit in self.units for key in self._access(unit).cautions]
        return opening + [key for _, entry in self.entries for key in entry.job.cautions]

    def licensed(self) -> list[Json]:
        return [{"job": str(job.pk), "title": job.title} for job, entry in self.entries if entry.job.licensed]

    def tools(self) -> list[tuple[str, Job | None]]:
        opening: list[tuple[str, Job | None]] = [
            (tool, job) for unit, job in self.units.items() for tool in self._access(unit).tools
        ]
        return opening + [(tool, job) for job, entry in self.entries for tool in entry.job.tools]

    def consumables(self) -> list[tuple[str, Job | None]]:
        return [(each, job) for job, entry in self.entries for each in entry.job.consumables]

    def parts(self) -> list[Json]:
        return [self._part(job, entry) for job, entry in self.entries if entry.job.parts_eur.high > 0]

    def _part(self, job: Job, entry: PartJob) -> Json:
        prices = self.prices.of(self.catalogue, entry.key).parts_minor
        return {
            "job": str(job.pk),
            "vehicle": str(job.vehicle_id),
            "part": entry.part.key,
            "title": entry.part.title,
            "positions": job.positions,
            "renewed": entry.job.kind == "replace",
            "price": {
                "low": self._money(prices.low),
                "likely": self._money(prices.likely),
                "high": self._money(prices.high),
            },
        }

    def _money(self, minor: float) -> dict[str, str]:
        return Money(rounded_minor(minor), self.fleet.currency).as_json()

    def document(self) -> Json:
        entries: Mapping[uuid.UUID, PartJob] = {job.pk: entry for job, entry in self.entries}
        return {
            "vehicle": str(self.vehicle.pk),
            "vehicle_name": self.vehicle.name,
            "jobs": [self._job(job, entries.get(job.pk)) for job in self.jobs],
            "access": [{"unit": unit, "title": self._access(unit).title} for unit in self.units],
            "follow_ups": [self._follow_up(key) for key in self.follow_ups],
            "hours": round(self.hours, 2),
        }

    def _follow_up(self, key: str) -> Json:
        entry = self.catalogue.follow_ups[key]
        return {"follow_up": key, "title": entry.title, "after_km": entry.after_km}

    def _job(self, job: Job, entry: PartJob | None) -> Json:
        notes = [note for note in self.notes if _is_about(note, job)]
        torque = [note for note in notes if note.kind == NoteKind.TORQUE]
        return {
            "job": str(job.pk),
            "title": job.title,
            "positions": job.positions,
            "state": job.state,
            "hours": round(self._hours(entry), 2) if entry else None,
            "difficulty": entry.job.difficulty if entry else None,
            "licensed": entry.job.licensed if entry else False,
            "before_driving": job.before_driving,
            "cautions": list(entry.job.cautions) if entry else [],
            "note": job.note,
            "torque": [_note(note) for note in torque],
            "torque_hint": "" if torque or entry is None or entry.job.kind == "clean" else NO_TORQUE,
            "know_how": [_note(note) for note in notes if note.kind != NoteKind.TORQUE],
        }

    def _access(self, unit: str) -> Any:
        return self.catalogue.access[unit.partition(".")[0]]


def _is_about(note: KnowHow, job: Job) -> bool:
    """Of the job itself, or of no job in particular but of its part or a check of its part."""
    if note.job_key:
        return note.job_key == job.job_key
    return bool(job.part_key) and job.part_key in (note.part_key, note.check_key.partition(".")[0])


def _note(note: KnowHow) -> Json:
    return {
        "know_how": str(note.pk),
        "kind": note.kind,
        "text": note.text,
        "value": None if note.value is None else float(note.value),
        "unit": note.unit,
        "source": note.source,
        "author": note.author,
    }
