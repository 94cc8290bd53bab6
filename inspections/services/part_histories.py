"""Every part of a fleet from fitting to its end, as the learning of lives wants it; five queries."""

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np
from django.db.models import Max, Min

from fleetcare.fleet.models import Fleet, OdometerReading, Vehicle
from fleetcare.kernel.dates import years_between
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.core.part_ages import Ending, Histories
from inspections.core.plausible_lives import STAGE_SHARES
from inspections.core.types import BoolArray, FloatArray, IntArray, LifeBook
from inspections.models import Finding, FittedPart, Result
from inspections.services.wear import wearing_checks
from inspections.words import InspectionState, Removal

MOST_VEHICLES = 600
"""Those that joined first, which have most to tell: more of them would sharpen nothing and cost minutes."""

Place = tuple[uuid.UUID, str, str]
"""Vehicle, part and position."""

_ENDINGS: dict[str, Ending] = {
    Removal.FAILED: Ending.FAILED,
    Removal.WORN_OUT: Ending.WORN_OUT,
    Removal.RENEWED_EARLY: Ending.RENEWED_EARLY,
}


class Moment(NamedTuple):
    """A day and the vehicle's distance on it."""

    on: date
    km: float


@dataclass(frozen=True, slots=True)
class _Watched:
    """From the first to the latest odometer reading of a vehicle."""

    first_used_on: date
    first: Moment
    latest: Moment


@dataclass(frozen=True, slots=True)
class _Look:
    at: Moment
    grade: int

    @property
    def served(self) -> bool:
        """Neither major nor dangerous."""
        return self.grade < Grade.MAJOR


@dataclass(frozen=True, slots=True)
class _Seen:
    """What was seen at a place, in the order of time, and the days on which it was put right without being renewed."""

    looks: Sequence[_Look]
    repaired: Sequence[date]


@dataclass(frozen=True, slots=True)
class _Record:
    slot: int
    first_used_on: date
    fitted: Moment | None
    first_seen: Moment
    last_good: Moment
    ended: Moment
    ending: Ending
    good_by_look: bool
    """The last good reading is that of a look, which found it neither major nor dangerous."""
    bad_by_look: bool
    """It was found major or dangerous and had not failed yet."""


@dataclass(frozen=True, slots=True)
class FleetRecords:
    """What a fleet's papers say of its parts, N records of V vehicles."""

    histories: Histories
    vehicle: IntArray
    """Row of each record's vehicle in `vehicles`, shape (N,)."""
    vehicles: tuple[Vehicle, ...]


def load_records(fleet: Fleet, catalogue: Catalogue, book: LifeBook) -> FleetRecords:
    """Recorded parts and those as bought; the kind of a part is its row in `catalogue.parts`.

    A part in service counts up to the last good look at it. Where it shows nothing before it fails, or was never looked
    at, it counts up to the latest odometer reading if the fleet writes down when such parts come off: it would have
    made itself known. Those that tell nothing (not seen again since they were first seen) are left out. One seen bad
    and later sound without a renewal or a repair on record ended for a reason unknown, and another, fitted nobody knows
    when, took its place.

    All lives run to failure: what a look found still good, or worn out, had the way from major to failure before it.
    """
    vehicles = list(Vehicle.objects.within(fleet).order_by("id")[:MOST_VEHICLES])
    watched = _watched(fleet, vehicles)
    fitted = _fitted_parts(fleet, vehicles)
    looks, repaired = _looks(fleet, vehicles, fitted), _repaired(fleet, vehicles)
    hidden = set(np.flatnonzero(book.pf_km <= 0.0).tolist())
    written_down = {part for (_, part, _), rows in fitted.items() if any(row.removed for row in rows)}
    records: list[_Record] = []
    owner: list[int] = []
    for number, vehicle in enumerate(vehicles):
        if vehicle.pk not in watched:
            continue
        for slot in catalogue.applicable_slots(vehicle.traits):
            part = catalogue.slots[slot]
            place = (vehicle.pk, part.part_key, part.position)
            rows = fitted.get(place, _AS_BOUGHT)
            heard = part.part_key in written_down
            seen = _Seen(looks.get(place, ()), repaired.get(place, ()))
            records.extend(_records(rows, slot, watched[vehicle.pk], seen, hidden=slot in hidden, heard=heard))
        owner += [number] * (len(records) - len(owner))
    histories, told = _as_arrays(catalogue, book, records)
    return FleetRecords(histories, np.array(owner, dtype=np.int64)[told], tuple(vehicles))


def _watched(fleet: Fleet, vehicles: Sequence[Vehicle]) -> dict[uuid.UUID, _Watched]:
    """The road never runs backwards: the least distance is that of the first day, the greatest that of the last."""
    first_used = {vehicle.pk: vehicle.first_used_on for vehicle in vehicles}
    rows = OdometerReading.objects.within(fleet).filter(vehicle__in=vehicles).order_by().values("vehicle_id")
    ends = rows.annotate(Min("read_on"), Min("total_km"), Max("read_on"), Max("total_km"))
    return {
        row["vehicle_id"]: _Watched(
            first_used[row["vehicle_id"]],
            Moment(row["read_on__min"], float(row["total_km__min"])),
            Moment(row["read_on__max"], float(row["total_km__max"])),
        )
        for row in ends
    }


@dataclass(frozen=True, slots=True)
class _Fitted:
    fitted: Moment | None
    removed: Moment | None
    removal: str


_AS_BOUGHT = (_Fitted(None, None, ""),)


def _fitted_parts(fleet: Fleet, vehicles: Sequence[Vehicle]) -> dict[Place, list[_Fitted]]:
    found: dict[Place, list[_Fitted]] = {}
    rows = FittedPart.objects.within(fleet).filter(vehicle__in=vehicles)
    values = rows.values_list(
        "vehicle_id",
        "part_key",
        "position",
        "fitted_on",
        "fitted_total_km",
        "removed_on",
        "removed_total_km",
        "removal",
    )
    for vehicle_id, part, position, fitted_on, fitted_km, removed_on, removed_km, removal in values:
        entry = _Fitted(_moment(fitted_on, fitted_km), _moment(removed_on, removed_km), removal)
        found.setdefault((vehicle_id, part, position), []).append(entry)
    return found


def _moment(on: date | None, km: Any) -> Moment | None:
    return None if on is None or km is None else Moment(on, float(km))


def _looks(fleet: Fleet, vehicles: Sequence[Vehicle], fitted: Mapping[Place, object]) -> dict[Place, list[_Look]]:
    """Looks in the order of time: all of them where parts came and went, elsewhere first and last of each good run."""
    rows = Result.objects.within(fleet).filter(
        inspection__fleet=fleet,
        inspection__vehicle__in=vehicles,
        inspection__state=InspectionState.COMPLETED,
        grade__isnull=False,
    )
    rows = rows.order_by("inspection__inspected_on", "inspection__reading__total_km", "inspection_id")
    values = rows.values_list(
        "inspection_id",
        "inspection__vehicle_id",
        "inspection__inspected_on",
        "inspection__reading__total_km",
        "check_key",
        "position",
        "grade",
    )
    looks: dict[Place, list[_Look]] = {}
    for _, results in groupby(values.iterator(chunk_size=2_000), key=itemgetter(0)):
        for place, look in _by_place(results):
            seen = looks.setdefault(place, [])
            if place not in fitted and look.served and len(seen) > 1 and seen[-1].served and seen[-2].served:
                seen.pop()
            seen.append(look)
    return looks


def _repaired(fleet: Fleet, vehicles: Sequence[Vehicle]) -> dict[Place, list[date]]:
    """Days on which work put a part right that stayed on the vehicle."""
    rows = Finding.objects.within(fleet).filter(vehicle__in=vehicles, remedied_total_km__isnull=False)
    found: dict[Place, list[date]] = {}
    for vehicle_id, check_key, position, on in rows.values_list("vehicle_id", "check_key", "position", "closed_on"):
        if on is not None:
            found.setdefault((vehicle_id, check_key.partition(".")[0], position), []).append(on)
    return found


def _by_place(results: Iterable[tuple[Any, ...]]) -> Iterator[tuple[Place, _Look]]:
    """The places that one inspection looked at; a part is as bad as the worst that any of its checks said."""
    worst: dict[Place, int] = {}
    when: dict[Place, Moment] = {}
    for _, vehicle_id, on, km, check_key, position, grade in results:
        place = (vehicle_id, check_key.partition(".")[0], position)
        worst[place] = max(grade, worst.get(place, Grade.SOUND))
        when[place] = Moment(on, float(km))
    yield from ((place, _Look(when[place], grade)) for place, grade in worst.items())


def _records(
    rows: Sequence[_Fitted], slot: int, watched: _Watched, told: _Seen, *, hidden: bool, heard: bool
) -> Iterator[_Record]:
    for row in rows:
        end = row.removed or watched.latest
        since = row.fitted.on if row.fitted else date.min
        seen = [look for look in told.looks if since < look.at.on <= end.on]
        good = [look.at for look in seen if look.served]
        fitted, first = row.fitted, max(row.fitted, watched.first) if row.fitted else watched.first
        for bad, sound in _revivals(seen, told.repaired):
            before = max((at for at in good if first < at < bad), default=first)
            yield _Record(
                slot,
                watched.first_used_on,
                fitted,
                first,
                before,
                bad,
                Ending.UNKNOWN,
                before > first,
                bad_by_look=True,
            )
            fitted, first = None, sound
        last, ending = max(good, default=first), _ENDINGS.get(row.removal, Ending.UNKNOWN)
        if row.removed is None:
            ending = Ending.IN_SERVICE
            last = end if heard and (hidden or not seen) else last
            if last <= first:
                continue
        worn_out = ending == Ending.WORN_OUT
        yield _Record(
            slot, watched.first_used_on, fitted, first, last, end, ending, bool(good) and last > first, worn_out
        )


def _revivals(seen: Iterable[_Look], repaired: Sequence[date]) -> Iterator[tuple[Moment, Moment]]:
    """Where a part was first seen bad and later sound, though nobody wrote down that it was renewed or put right.

    Taken for one life these would make parts look as if they lasted several times as long as they do.
    """
    bad: Moment | None = None
    for look in seen:
        if not look.served:
            bad = bad or look.at
        elif look.grade == Grade.SOUND and bad is not None:
            if not any(bad.on <= day <= look.at.on for day in repaired):
                yield bad, look.at
            bad = None


def _as_arrays(catalogue: Catalogue, book: LifeBook, records: Sequence[_Record]) -> tuple[Histories, BoolArray]:
    """The records that tell something, and which of all they are."""
    kind_of = {key: row for row, key in enumerate(catalogue.parts)}
    slot = np.array([record.slot for record in records], dtype=np.int64)

    def clock(moments: Iterable[Moment | None]) -> FloatArray:
        pairs = [
            (np.nan, np.nan)
            if moment is None
            else (moment.km, max(years_between(record.first_used_on, moment.on), 0.0))
            for record, moment in zip(records, moments, strict=True)
        ]
        km, years = np.array(pairs, dtype=np.float64).reshape(-1, 2).T
        return book.clock_km(slot, km, years)

    fitted = clock(record.fitted for record in records)
    first = np.fmax(clock(record.first_seen for record in records), fitted)
    warning_km = _warning_km(catalogue, book)[slot]
    good = clock(record.last_good for record in records) + warning_km * [each.good_by_look for each in records]
    ended = clock(record.ended for record in records) + warning_km * [each.bad_by_look for each in records]
    ending = np.array([record.ending for record in records], dtype=np.int64)
    # Readings taken back or a corrected day of first use must not make a part end before it was fitted.
    good, ended = np.maximum(good, first), np.maximum(ended, first)
    ended = np.where(ending == Ending.IN_SERVICE, np.maximum(ended, good), ended)
    # Worn out by a look that still found it good: there is no stretch of the road on which it can have ended but here.
    ending = np.where((ending == Ending.WORN_OUT) & (good >= ended), Ending.FAILED, ending)
    # A part that came off the moment it was first met was not watched over any distance, and tells nothing.
    told = ended > first
    histories = Histories(
        kind=np.array([kind_of[catalogue.slots[row].part_key] for row in slot[told]], dtype=np.int64),
        fitted_clock_km=fitted[told],
        first_seen_clock_km=first[told],
        last_good_clock_km=np.minimum(good, ended)[told],
        ended_clock_km=ended[told],
        ending=ending[told],
    )
    return histories, told


def _warning_km(catalogue: Catalogue, book: LifeBook) -> FloatArray:
    """Clock from a part's turning major to its failure, by slot: the lives of the book run to failure.

    None where the book's life runs to the limit of a figure, or where nothing shows.
    """
    _, major, dangerous = STAGE_SHARES
    measured = wearing_checks()
    to_limit = np.array([slot.part_key in measured for slot in catalogue.slots])
    return np.where(to_limit, 0.0, (major + dangerous) * book.pf_km)
