"""Looks worth more than their minutes: at parts unseen for too long, before anything is renewed on a guess."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import rounded_minor
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.positions import working_corner
from inspections.core.looking import seen_chances
from inspections.core.types import NEVER_LOOKED, FloatArray, IntArray, Residuals
from inspections.services.assessment import cells_at
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch
from scheduling.core.look_worth import LookWorth, look_worth, promising, unseen_too_long, worth_looking

Json = dict[str, Any]
ROWS_AT_ONCE = 1_024
MOST_ROWS = 50
"""Parts of one vehicle reckoned with, by a cheap guess: where more ask for a look, it is time for all of it."""
MOST_LOOKS = 15
"""Parts told of one vehicle; the rest is for a whole inspection."""


@dataclass(frozen=True, slots=True)
class _Looks:
    """Looks at N parts (rows of the batch's cells, ascending), with what each saves and takes."""

    rows: IntArray
    saving_minor: FloatArray
    bad_chance: FloatArray
    minutes: FloatArray
    minor_per_minute: float


@dataclass(frozen=True, slots=True)
class _Way:
    """How a part at a position is looked at on vehicles of certain traits."""

    checks: tuple[str, ...]
    minutes: float
    setting: str
    setup_minutes: float


def asked_looks(
    batch: Batch,
    residuals_of: Callable[[IntArray], Residuals],
    interval_km: FloatArray,
    credit_minor_per_km: FloatArray,
) -> list[list[Json]]:
    """For each vehicle of a batch the looks that pay, the most worth for their minutes first; computing only.

    `residuals_of` gives what is left of the cells at rows; `interval_km`, shape (K,), is the clock distance between
    looks, `credit_minor_per_km` the long-run cost of a new part by slot.
    """
    cells, slots = batch.cells, batch.cells.slot
    costs = fleet_costs(batch.prices)
    unseen = unseen_too_long(batch.last_grade, batch.since_look_km, interval_km, costs.safety[slots])
    asked = np.flatnonzero(unseen & (batch.book.pf_km[slots] > 0.0) & (batch.last_grade < Grade.DANGEROUS))
    by_vehicle = [_ways(tuple(sorted(vehicle.traits.items()))) for vehicle in batch.vehicles]
    found = {row: by_vehicle[cells.vehicle[row]].get(int(slots[row])) for row in asked.tolist()}
    ways = {row: way for row, way in found.items() if way is not None}
    worths = [
        _worths(batch, residuals_of(block), block, interval_km, credit_minor_per_km)
        for block in _blocks(batch, np.fromiter(ways, np.int64, len(ways)))
    ]
    looks = _paying(batch, worths, ways)
    return [_of_vehicle(batch, looks, ways, vehicle) for vehicle in range(len(batch.vehicles))]


def _blocks(batch: Batch, rows: IntArray) -> Iterator[IntArray]:
    """Whole vehicles together, about as many rows as the caches hold."""
    ends = np.searchsorted(rows, np.searchsorted(batch.cells.vehicle, np.arange(1, len(batch.vehicles) + 1)))
    start = 0
    for end in ends.tolist():
        if end - start >= ROWS_AT_ONCE or end == len(rows):
            if end > start:
                yield rows[start:end]
            start = end


def _worths(
    batch: Batch, left: Residuals, rows: IntArray, interval: FloatArray, credit: FloatArray
) -> tuple[IntArray, LookWorth]:
    """The rows where a look promises most, and what it is worth there."""
    costs, cells = fleet_costs(batch.prices), cells_at(batch.cells, rows)
    kept = promising(left, cells, interval[rows], costs, MOST_ROWS)
    chosen = Residuals(*(getattr(left, name)[kept] for name in Residuals.__slots__))
    rows = rows[kept]
    seen = batch.last_grade[rows] >= Grade.MINOR
    worth = look_worth(chosen, cells_at(batch.cells, rows), interval[rows], costs, credit, seen_chances(), seen)
    return rows, worth


def _paying(batch: Batch, worths: list[tuple[IntArray, LookWorth]], ways: Mapping[int, _Way]) -> _Looks:
    """The looks that save more than their minutes, set-ups shared."""
    per_minute = batch.prices.terms.own_minor_per_hour / 60.0
    rows = np.concatenate([np.zeros(0, dtype=np.int64), *(each for each, _ in worths)])
    saving = np.concatenate([np.zeros(0), *(worth.saving_minor for _, worth in worths)])
    chance = np.concatenate([np.zeros(0), *(worth.bad_chance_fraction for _, worth in worths)])
    chosen = [ways[row] for row in rows.tolist()]
    minutes = np.array([way.minutes for way in chosen], dtype=np.float64)
    number: dict[tuple[int, str], int] = {}
    places = zip(batch.cells.vehicle[rows].tolist(), chosen, strict=True)
    setting = np.array([number.setdefault((car, way.setting), len(number)) for car, way in places], dtype=np.int64)
    setup = np.zeros(len(number))
    setup[setting] = [way.setup_minutes * per_minute for way in chosen]
    pays = worth_looking(saving, minutes * per_minute, setting, setup)
    return _Looks(rows[pays], saving[pays], chance[pays], minutes[pays], per_minute)


@lru_cache(maxsize=512)
def _ways(traits: tuple[tuple[str, str], ...]) -> dict[int, _Way]:
    """How each slot of vehicles with these traits is looked at."""
    catalogue = default_catalogue()
    checks: dict[int, list[str]] = defaultdict(list)
    for each in catalogue.applicable_checks(dict(traits)):
        checks[each.slot].append(each.key)
    return {slot: _way_of(catalogue, slot, tuple(keys)) for slot, keys in checks.items()}


def _way_of(catalogue: Catalogue, slot: int, keys: tuple[str, ...]) -> _Way:
    """All of a part's checks; they count as done where setting up takes longest."""
    found = [catalogue.checks[key].check for key in keys]
    station = max((catalogue.stations[check.station] for check in found), key=lambda each: each.setup_minutes)
    corner = working_corner(catalogue.slots[slot].position) if station.per == "corner" else ""
    return _Way(keys, sum(check.minutes for check in found), f"{station.key} {corner}", station.setup_minutes)


def _of_vehicle(batch: Batch, looks: _Looks, ways: Mapping[int, _Way], vehicle: int) -> list[Json]:
    low, high = np.searchsorted(batch.cells.vehicle[looks.rows], [vehicle, vehicle + 1]).tolist()
    slots = batch.cells.slot[looks.rows[low:high]].tolist()
    saving, minutes = looks.saving_minor[low:high].tolist(), looks.minutes[low:high].tolist()
    parts: dict[str, _PartLook] = {}
    for place, slot in enumerate(slots):
        part = parts.setdefault(batch.catalogue.slots[slot].part_key, _PartLook([], 0.0, 0.0))
        part.places.append(low + place)
        part.saving_minor += saving[place]
        part.cost_minor += minutes[place] * looks.minor_per_minute
    most_worth = sorted(parts, key=lambda key: (-parts[key].worth_per_cost, key))[:MOST_LOOKS]
    return [_document(batch, looks, ways, key, parts[key]) for key in most_worth]


@dataclass(slots=True)
class _PartLook:
    """Looks at one part, at all its positions that are worth one."""

    places: list[int]
    saving_minor: float
    cost_minor: float

    @property
    def worth_per_cost(self) -> float:
        return (self.saving_minor - self.cost_minor) / max(self.cost_minor, 1.0)


def _document(batch: Batch, looks: _Looks, ways: Mapping[int, _Way], part_key: str, look: _PartLook) -> Json:
    places = look.places
    rows, catalogue = looks.rows[places], batch.catalogue
    checks = ways[int(rows[0])].checks
    last = batch.last_grade[rows]
    return {
        "part": part_key,
        "title": catalogue.parts[part_key].title,
        "positions": [catalogue.slots[slot].position for slot in batch.cells.slot[rows].tolist()],
        "checks": list(checks),
        "minutes": round(float(looks.minutes[places].sum()), 1),
        "cost_minor": rounded_minor(look.cost_minor),
        "saving_minor": rounded_minor(look.saving_minor),
        "worth_per_cost": round(look.worth_per_cost, 3),
        "bad_chance_fraction": round(float(1.0 - np.prod(1.0 - looks.bad_chance[places])), 4),
        "last_grade": None if (last == NEVER_LOOKED).all() else Grade(int(last.max())).word,
        "cautions": _cautions(catalogue, checks),
        "reason": _reason(last, batch.since_look_km[rows]),
    }


def _cautions(catalogue: Catalogue, checks: Iterable[str]) -> list[str]:
    found = (catalogue.checks[key].check for key in checks)
    keys = (key for check in found for key in (*catalogue.stations[check.station].cautions, *check.cautions))
    return [catalogue.cautions[key].text for key in dict.fromkeys(keys)]


def _reason(last: IntArray, since_km: FloatArray) -> str:
    if (last == NEVER_LOOKED).any():
        return "never examined, and people's safety hangs on it"
    return f"last seen {float(since_km.max()):,.0f} km of wear ago: its state is a guess, and a look costs less"


def told_looks(looks: list[Json], money: Callable[[int], dict[str, str]]) -> list[Json]:
    """The same with sums in the fleet's currency."""
    return [
        {
            **{key: value for key, value in look.items() if not key.endswith("_minor")},
            "positions": [position for position in look["positions"] if position],
            "cost": money(look["cost_minor"]),
            "saving": money(look["saving_minor"]),
        }
        for look in looks
    ]
