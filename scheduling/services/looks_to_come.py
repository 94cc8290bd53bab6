"""When each part of a vehicle is to be looked at again and why, and in which few looks with which sheet."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.kernel.grades import Grade
from inspections.catalogue.vocabularies import FULL_SHEET
from inspections.catalogue.walk import Walk, WalkStation, walk
from inspections.core.types import NEVER_LOOKED
from inspections.services.history import Batch, load_batch
from scheduling.core.look_again import Limit, LookAgain, PlannedLook
from scheduling.services.look_again import next_looks, part_looks

Json = dict[str, Any]
DAYS_PER_MONTH = 365.25 / 12.0
ALONE_FRACTION = 0.5
"""Checks taken singly are offered where they take less than this share of the sheet's time."""
_CODES = {
    Limit.OWN_USE: "own-use",
    Limit.LEAST: "not-more-often",
    Limit.MOST: "at-least-so-often",
    Limit.WARNING: "short-warning",
}


def looks_to_come(access: Access, vehicle: Vehicle) -> Json:
    """The next look at each part of a vehicle, gathered into looks; a constant number of queries, nothing is stored."""
    batch = load_batch(access.fleet, [vehicle.pk], today(access.fleet))
    looks, planned = part_looks(batch), next_looks(batch)[0]
    parts = [_part(batch, looks, row) for row in range(len(batch.cells.slot)) if looks.limit[row] in _CODES]
    hidden = [_place(batch, row) for row in range(len(batch.cells.slot)) if looks.limit[row] == Limit.NOTHING_TO_SEE]
    telling = _Telling(batch)
    return {
        "as_of": batch.on.isoformat(),
        "km_per_year": round(float(batch.km_per_year[0])),
        "looks": [telling.look(each) for each in planned],
        "parts": sorted(parts, key=lambda part: (part["next_on"], part["part"], part["position"] or "")),
        "nothing_to_see": hidden,
    }


def _place(batch: Batch, row: int) -> Json:
    slot = batch.catalogue.slots[int(batch.cells.slot[row])]
    part = batch.catalogue.parts[slot.part_key]
    return {"part": part.key, "title": part.title, "position": slot.position or None, "safety": part.safety}


def _part(batch: Batch, looks: LookAgain, row: int) -> Json:
    grade, left = int(batch.last_grade[row]), float(looks.in_months[row])
    limit = Limit(int(looks.limit[row]))
    never = grade == NEVER_LOOKED
    return {
        **_place(batch, row),
        "grade": None if never else Grade(grade).word,
        "interval_months": round(float(looks.interval_months[row]), 1),
        "next_on": _in_months(batch.on, left).isoformat(),
        "now": left <= 0.0,
        "because": {"code": _CODES[limit], "say": _say(limit, float(looks.interval_months[row]), grade)},
        "never_looked": never,
        "warning_too_short": bool(looks.too_fast[row]),
    }


def _say(limit: Limit, months: float, grade: int) -> str:
    every = f"about every {months:.0f} months" if months >= 1.5 else "every month"
    said = {
        Limit.OWN_USE: f"10,000 km of its own use: {every}",
        Limit.LEAST: f"10,000 km come sooner, but no look is asked for more often than {every.removeprefix('about ')}",
        Limit.MOST: f"it drives little; looked at {every} all the same",
        Limit.WARNING: f"twice within the warning that it gives before it fails: {every}",
    }[limit]
    if grade == NEVER_LOOKED:
        return f"nobody has looked at it yet; {said}"
    return said if grade == Grade.SOUND else f"seen {Grade(grade).word}; {said}"


def _in_months(on: date, months: float) -> date:
    """Rounded down: a look is never asked for too late."""
    return on + timedelta(days=int(months * DAYS_PER_MONTH))


class _Telling:
    """Looks at the one vehicle of a batch in words."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.traits = batch.vehicles[0].traits
        self.walks: dict[str, Walk] = {}

    def _walk(self, sheet: str) -> Walk:
        if sheet not in self.walks:
            self.walks[sheet] = walk(self.batch.catalogue, self.traits, sheet, self.batch.fleet.limit_scheme)
        return self.walks[sheet]

    def look(self, planned: PlannedLook) -> Json:
        """One look: the day, the sheet that covers its parts, and the checks alone where they are much quicker."""
        sheet = planned.sheet or FULL_SHEET
        whole = self._walk(sheet)
        slots = {int(self.batch.cells.slot[row]) for row in planned.cells}
        alone = [(station, _checks(station, slots)) for station in self._walk(FULL_SHEET).stations]
        stops = [station for station, checks in alone if checks]
        minutes = sum(_setup(station) + sum(check.minutes for check in checks) for station, checks in alone if checks)
        quick = minutes < ALONE_FRACTION * whole.minutes
        taken = stops if quick else whole.stations
        return {
            "on": _in_months(self.batch.on, planned.in_months).isoformat(),
            "cautions": _cautions(taken),
            "sheet": sheet,
            "title": self.batch.catalogue.sheets[sheet].title,
            "minutes": round(whole.minutes),
            "parts": [_place(self.batch, row) for row in planned.cells],
            "checks_alone": {
                "minutes": round(minutes),
                "checks": [
                    {"check": check.check, "position": check.position or None}
                    for _, checks in alone
                    for check in checks
                ],
            }
            if quick
            else None,
        }


def _checks(station: WalkStation, slots: set[int]) -> list[Any]:
    return [check for check in station.checks if check.slot in slots]


def _setup(station: WalkStation) -> float:
    return station.minutes - sum(check.minutes for check in station.checks)


def _cautions(stations: Iterable[WalkStation]) -> list[str]:
    listed: Sequence[Any] = [caution for station in stations for caution in station.cautions]
    return list(dict.fromkeys(caution.text for caution in listed))
