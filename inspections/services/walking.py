"""The walk: a draft that is started, worked on by one or several phones, finished or thrown away."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import OdometerReading, Standing, Vehicle
from fleetcare.fleet.services.odometer import drop_reading, record_odometer
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import ReadingSource, Role
from fleetcare.kernel.errors import Fault, InvalidInput, raise_if_any
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.walk import walk
from inspections.core.trouble_codes import MalformedTroubleCode, parse_code
from inspections.models import Inspection, Result
from inspections.selectors import inspections, last_results, open_walks
from inspections.services.checking import checked_results
from inspections.services.entries import Given, Place, Said, hold_draft, repeated, said_of, store_entries, stored_keys
from inspections.services.recording import complete_inspection, record_inspection
from inspections.words import InspectionState

IDLE_DAYS = 14
"""A walk nobody touched for so long is not joined unasked: the vehicle has moved on. Common practice, no source."""

STORED, OVERTAKEN, REFUSED = "stored", "overtaken", "refused"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one word: stored, stored but overtaken by a later one, or refused with the reason."""

    key: uuid.UUID
    state: str
    detail: str = ""


@transaction.atomic
def start_walk(
    access: Access,
    vehicle: Vehicle,
    *,
    sheet: str,
    inspected_on: date,
    shown_km: Decimal,
    inspector: str = "",
    key: uuid.UUID | None = None,
    anew: bool = False,
) -> tuple[Inspection, bool]:
    """Joins the open walk of this vehicle and sheet, or starts one; says whether it is new.

    Two who start at once join the same one. `anew` starts another beside it. With the client's `key` the same start
    may be sent again. Raises InvalidInput like record_inspection.
    """
    access.require(Role.INSPECTOR)
    # Holds the vehicle's standing until the end, so that a second start waits and then finds the first.
    Standing.objects.within(access.fleet).filter(vehicle=vehicle).update(revision=F("revision"))
    found = inspections(vehicle).filter(pk=key).first() if key else None
    if found is None and not anew:
        since = timezone.now() - timedelta(days=IDLE_DAYS)
        found = open_walks(vehicle).filter(sheet=sheet, touched_at__gte=since).order_by("-touched_at").first()
    if found is not None:
        return found, False
    inspection, rows = record_inspection(
        access,
        vehicle,
        inspected_on=inspected_on,
        shown_km=shown_km,
        results=(),
        sheet=sheet,
        inspector=inspector,
        draft=True,
        key=key,
    )
    return inspection, rows is not None


def save_entries(access: Access, inspection: Inspection, given: Sequence[Given], device: str = "") -> list[Outcome]:
    """Stores what a phone has gathered, each word by itself: one that is refused does not hold up the others.

    Each of `given` has the client's `id` and says one check at one position, in the order of saying. Ids stored
    before are answered as stored, also after the inspection was completed. Raises Conflict once it is completed and
    something new comes.
    """
    access.require(Role.INSPECTOR)
    known = stored_keys(inspection, (word["id"] for word in given))
    outcomes = {key: Outcome(key, STORED) for key in known}
    fresh = [word for word in given if word["id"] not in known]
    if fresh:
        with transaction.atomic():
            hold_draft(inspection)
            outcomes |= _stored(access, inspection, fresh, device)
    return [outcomes[word["id"]] for word in given]


def _stored(access: Access, inspection: Inspection, fresh: Sequence[Given], device: str) -> dict[uuid.UUID, Outcome]:
    last = last_results(inspection, [word["check"] for word in fresh if word.get("same_as_last")])
    words: dict[Place, Said] = {}
    outcomes: dict[uuid.UUID, Outcome] = {}
    earlier: list[Said] = []
    for given in fresh:
        try:
            word = _said(access, inspection, given, last)
        except InvalidInput as error:
            outcomes[given["id"]] = Outcome(given["id"], REFUSED, " ".join(fault.detail for fault in error.faults))
            continue
        if word.result.place in words:
            earlier.append(words[word.result.place])
        words[word.result.place] = word
    # A change of mind on one phone: both words are kept, in the order in which they were said.
    late = {key for each in earlier for key in store_entries(access, inspection, [each], device)}
    late |= store_entries(access, inspection, list(words.values()), device)
    for word in (*earlier, *words.values()):
        outcomes[word.key] = Outcome(word.key, OVERTAKEN if word.key in late else STORED)
    return outcomes


def _said(access: Access, inspection: Inspection, given: Given, last: dict[Place, Result]) -> Said:
    whole = repeated(given, last) if given.get("same_as_last") else given
    traits, scheme = inspection.vehicle.traits, access.fleet.limit_scheme
    (result,) = checked_results(default_catalogue(), traits, scheme, [whole])
    return said_of(result, given, timezone.now())


@transaction.atomic
def repeat_last(access: Access, inspection: Inspection, places: Iterable[Place], device: str = "") -> int:
    """Says of these places what was found last time, and how many that were.

    Left out: what this draft has said already, what was not examined last time, and what was measured.
    """
    access.require(Role.INSPECTOR)
    hold_draft(inspection)
    rows = Result.objects.within(access.fleet).filter(inspection=inspection)
    done = set(rows.values_list("check_key", "position"))
    wanted = [place for place in places if place not in done]
    last = last_results(inspection, [check for check, _ in wanted])
    again = [place for place in wanted if place in last and can_be_repeated(last[place])]
    given = [{"check": check, "position": position, "same_as_last": True} for check, position in again]
    words = [_said(access, inspection, each, last) for each in given]
    store_entries(access, inspection, words, device)
    return len(words)


def can_be_repeated(last: Result) -> bool:
    """Whether "same as last time" may be said of it: examined, and not by a figure."""
    return last.grade is not None and last.value is None


@transaction.atomic
def finish_walk(
    access: Access,
    inspection: Inspection,
    *,
    inspected_on: date,
    shown_km: Decimal,
    inspector: str = "",
    note: str = "",
    trouble_codes: Sequence[str] = (),
    because_open: str = "",
) -> Inspection:
    """Completes a walk, with the day and the odometer as they are now known. Repeating it changes nothing.

    With `because_open` every check of the walk that has no result is recorded as not examined, for that reason;
    without it nothing is said of them. Raises InvalidInput for the day, the odometer, the codes, or a walk without
    any result; Conflict where the very same inspection is stored.
    """
    access.require(Role.INSPECTOR)
    if inspection.state == InspectionState.COMPLETED:
        return inspection
    hold_draft(inspection)
    inspection.trouble_codes = _codes(trouble_codes)
    inspection.inspector, inspection.note = inspector, note
    _read_again(access, inspection, inspected_on, shown_km)
    inspection.save(update_fields=["trouble_codes", "inspector", "note", "inspected_on", "reading"])
    if because_open:
        _leave_open(access, inspection, because_open)
    return complete_inspection(access, inspection)


def _leave_open(access: Access, inspection: Inspection, because: str) -> None:
    done = set(Result.objects.within(access.fleet).filter(inspection=inspection).values_list("check_key", "position"))
    route = walk(default_catalogue(), inspection.vehicle.traits, inspection.sheet)
    places = [(check.check, check.position) for station in route.stations for check in station.checks]
    given = [
        {"check": check, "position": position, "not_examined": because}
        for check, position in places
        if (check, position) not in done
    ]
    checked = checked_results(default_catalogue(), inspection.vehicle.traits, access.fleet.limit_scheme, given)
    store_entries(access, inspection, [said_of(result, {}, timezone.now()) for result in checked])


def _codes(given: Sequence[str]) -> list[str]:
    faults, codes = [], []
    for index, code in enumerate(given):
        try:
            codes.append(parse_code(code).text)
        except MalformedTroubleCode as error:
            faults.append(Fault(f"/trouble_codes/{index}", "malformed-code", str(error)))
    raise_if_any(faults)
    return codes


def _read_again(access: Access, inspection: Inspection, inspected_on: date, shown_km: Decimal) -> None:
    """Another reading in the place of the one taken at the start; what it contradicted no longer counts."""
    old = inspection.reading
    if (inspected_on, shown_km) == (inspection.inspected_on, old.shown_km):
        return
    mine = old.source == ReadingSource.INSPECTION
    inspection.inspected_on = inspected_on
    inspection.reading = _reading(access, inspection, shown_km, instead_of=old if mine else None)
    inspection.save(update_fields=["reading"])
    if mine and inspection.reading.pk != old.pk and not drop_reading(inspection.vehicle, old):
        # Something else rests on the old reading, so the new one must agree with it after all.
        _reading(access, inspection, shown_km, instead_of=inspection.reading)


def _reading(
    access: Access, inspection: Inspection, shown_km: Decimal, instead_of: OdometerReading | None = None
) -> OdometerReading:
    return record_odometer(
        access,
        inspection.vehicle,
        read_on=inspection.inspected_on,
        shown_km=shown_km,
        source=ReadingSource.INSPECTION,
        date_pointer="/inspected_on",
        touching=False,
        instead_of=instead_of,
    )


@transaction.atomic
def discard_walk(access: Access, inspection: Inspection) -> None:
    """Throws a draft away with everything in it. Raises Conflict for a completed inspection."""
    access.require(Role.INSPECTOR)
    hold_draft(inspection)
    vehicle, reading = inspection.vehicle, inspection.reading
    inspection.delete()
    if reading.source == ReadingSource.INSPECTION:
        drop_reading(vehicle, reading)
    touch(vehicle)
