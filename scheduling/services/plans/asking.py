"""What is asked of a plan, and whether it can be meant: every fault with its place in the body."""

import uuid
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import msgspec

from fleetcare.kernel.errors import Fault
from inspections.catalogue.catalogue import Catalogue

Json = dict[str, Any]
LICENSED = "licensed"
DIFFICULTIES = tuple(f"difficulty-{level}" for level in range(1, 6))


@dataclass(frozen=True, slots=True)
class PersonAsk:
    """Somebody who works at a visit. Without a word of difficulty he or she is taken to manage any."""

    name: str
    minutes: int
    skills: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class VisitAsk:
    """An occasion to work, as somebody offers it."""

    on: date
    minutes: int
    budget_minor: int
    people: tuple[PersonAsk, ...] = ()
    stands_minutes: int | None = None
    """None like `lift_minutes`: no limit; where only one of the two is given there is none of the other."""
    lift_minutes: int | None = None
    vehicles: tuple[uuid.UUID, ...] = ()


@dataclass(frozen=True, slots=True)
class JobRef:
    """A job of a vehicle; at those positions, or wherever it is open where none are named."""

    vehicle: uuid.UUID
    job: str
    positions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class JobAsk:
    """A wish about a job."""

    of: JobRef
    must: bool = False
    leave_out: bool = False
    not_before: date | None = None
    not_after: date | None = None
    requires: tuple[JobRef, ...] = ()
    excludes: tuple[JobRef, ...] = ()
    skills: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanAsk:
    """Vehicles (all of the fleet where none are named), visits, wishes."""

    vehicles: tuple[uuid.UUID, ...]
    visits: tuple[VisitAsk, ...]
    wishes: tuple[JobAsk, ...] = ()
    carry_over: bool = True

    def as_json(self) -> Json:
        """To be stored."""
        stored: Json = msgspec.to_builtins(self)
        return stored

    @classmethod
    def of_json(cls, stored: Json) -> "PlanAsk":
        """As it was stored."""
        return msgspec.convert(stored, cls)


def faults_of(ask: PlanAsk, on: date, known: Collection[uuid.UUID], catalogue: Catalogue) -> Iterator[Fault]:
    """What cannot be meant, seen without the vehicles' findings. `known` are the fleet's vehicles that are kept."""
    for index, key in enumerate(ask.vehicles):
        if key not in known:
            yield _unknown_vehicle(f"/vehicles/{index}")
    for index, visit in enumerate(ask.visits):
        yield from (fault.under(f"/visits/{index}") for fault in _visit_faults(visit, on, known))
    for index, wish in enumerate(ask.wishes):
        yield from (fault.under(f"/wishes/{index}") for fault in _wish_faults(ask, index, wish, known, catalogue))


def _unknown_vehicle(pointer: str) -> Fault:
    return Fault(pointer, "unknown-vehicle", "There is no such vehicle in this fleet.")


def _visit_faults(visit: VisitAsk, on: date, known: Collection[uuid.UUID]) -> Iterator[Fault]:
    if visit.on < on:
        yield Fault("/date", "past", "This day has passed.")
    for number, key in enumerate(visit.vehicles):
        if key not in known:
            yield _unknown_vehicle(f"/vehicles/{number}")
    names = Counter(person.name for person in visit.people)
    for number, person in enumerate(visit.people):
        if names[person.name] > 1:
            yield Fault(f"/people/{number}/name", "twice", "Two people of one visit need two names.")


def _wish_faults(
    ask: PlanAsk, index: int, wish: JobAsk, known: Collection[uuid.UUID], catalogue: Catalogue
) -> Iterator[Fault]:
    yield from _ref_faults(wish.of, known, catalogue)
    if any(earlier.of == wish.of for earlier in ask.wishes[:index]):
        yield Fault("", "twice", "There is a wish about this job already; put them together.")
    yield from _own_contradictions(ask, wish)
    for name, refs in (("requires", wish.requires), ("excludes", wish.excludes)):
        for number, ref in enumerate(refs):
            place = f"/{name}/{number}"
            yield from (fault.under(place) for fault in _ref_faults(ref, known, catalogue))
            if ref == wish.of:
                yield Fault(place, "itself", "A job can only require or exclude other jobs.")
    offered = {skill for visit in ask.visits for person in visit.people for skill in person.skills}
    for number, skill in enumerate(wish.skills):
        if skill not in offered:
            yield Fault(f"/skills/{number}", "nobody-has", "Nobody at any visit has this skill.")


def _own_contradictions(ask: PlanAsk, wish: JobAsk) -> Iterator[Fault]:
    if wish.must and wish.leave_out:
        yield Fault("/leave_out", "contradicts", "A job cannot both be a must and be left out.")
    if wish.not_before and wish.not_after and wish.not_after < wish.not_before:
        yield Fault("/not_after", "contradicts", "This is before the first day on which it may be done.")
    elif wish.must and not any(_in_time(wish, visit) for visit in ask.visits):
        place = "/not_after" if wish.not_after else "/not_before"
        yield Fault(place, "no-visit", "There is no visit on a day that this wish allows.")
    for number, ref in enumerate(wish.excludes):
        if ref in wish.requires:
            yield Fault(f"/excludes/{number}", "contradicts", "The job requires this one.")


def _in_time(wish: JobAsk, visit: VisitAsk) -> bool:
    early = wish.not_before is not None and visit.on < wish.not_before
    return not early and (wish.not_after is None or visit.on <= wish.not_after)


def _ref_faults(ref: JobRef, known: Collection[uuid.UUID], catalogue: Catalogue) -> Iterator[Fault]:
    if ref.vehicle not in known:
        yield _unknown_vehicle("/vehicle")
    entry = catalogue.jobs.get(ref.job)
    if entry is None:
        yield Fault("/job", "unknown-job", "There is no such job in the catalogue.")
        return
    for number, position in enumerate(ref.positions):
        if position not in entry.part.positions:
            where = ", ".join(entry.part.positions) or "none: this part has one place"
            yield Fault(f"/positions/{number}", "unknown-position", f"Positions of this part: {where}.")
