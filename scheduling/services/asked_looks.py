"""Looks worth more than their minutes: at parts unseen for too long, before anything is renewed on a guess."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import prod
from typing import Any

import numpy as np

from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import rounded_minor
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.positions import working_corner
from inspections.core.looking import seen_chances
from inspections.core.types import NEVER_LOOKED, FloatArray, IntArray, Residuals
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch
from inspections.services.left import cells_at
from scheduling.core.look_worth import LookWorth, look_worth, promising, unseen_too_long, worth_looking

Json = dict[str, Any]
MOST_ROWS = 50
"""Parts of one vehicle reckoned with, by a cheap guess: where more ask for a look, it is time for all of it."""
MOST_LOOKS = 15
"""Parts told of one vehicle; the rest is for a whole inspection."""


@dataclass(frozen=True, slots=True)
class _Looks:
    """Looks at N parts (rows of the batch's cells, ascending) as plain lists, with what each saves and takes."""

    rows: list[int]
    slot: list[int]
    last_grade: list[int]
    since_km: list[float]
    saving_minor: list[float]
    bad_chance: list[float]
    minutes: list[float]
    minor_per_minute: float


@dataclass(frozen=True, slots=True)
class _Way:
    """How a part at a position is looked at on vehicles of certain traits."""

    checks: tuple[str, ...]
    minutes: float
    setting: str
    setup_minutes: float


class AskedLooks:
    """For each vehicle of a batch the looks that pay, reckoned as it is seen what is left of its parts.

    `interval_km`, shape (K,), is the clock distance between looks, `credit_minor_per_km` the long-run cost of a new
    part by slot.
    """

    def __init__(self, batch: Batch, interval_km: FloatArray, credit_minor_per_km: FloatArray) -> None:
        cells, slots = batch.cells, batch.cells.slot
        safety = fleet_costs(batch.prices).safety[slots]
        unseen = unseen_too_long(batch.last_grade, batch.since_look_km, interval_km, safety)
        asked = np.flatnonzero(unseen & (batch.book.pf_km[slots] > 0.0) & (batch.last_grade < Grade.DANGEROUS))
        by_vehicle = [_ways(tuple(sorted(vehicle.traits.items()))) for vehicle in batch.vehicles]
        places = zip(asked.tolist(), cells.vehicle[asked].tolist(), slots[asked].tolist(), strict=True)
        found = ((row, by_vehicle[vehicle].get(slot)) for row, vehicle, slot in places)
        self._ways = {row: way for row, way in found if way is not None}
        self._batch, self._interval, self._credit = batch, interval_km, credit_minor_per_km
        self._worths: list[tuple[IntArray, LookWorth]] = []
        self.wanted = np.zeros(len(slots), dtype=bool)
        self.wanted[list(self._ways)] = True

    def see(self, rows: IntArray, left: Residuals) -> None:
        """What is left of the cells at `rows`: all that are wanted of the next vehicles."""
        chosen = np.flatnonzero(self.wanted[rows])
        if len(chosen):
            seen = _worths(self._batch, left.at(chosen), rows[chosen], self._interval, self._credit)
            self._worths.append(seen)

    def told(self) -> list[list[Json]]:
        """By vehicle, the most worth for their minutes first."""
        batch, looks = self._batch, _paying(self._batch, self._worths, self._ways)
        rows = np.array(looks.rows, dtype=np.int64)
        bounds = np.searchsorted(batch.cells.vehicle[rows], np.arange(len(batch.vehicles) + 1)).tolist()
        return [_of_vehicle(batch, looks, self._ways, low, high) for low, high in pairwise(bounds)]


def _worths(
    batch: Batch, left: Residuals, rows: IntArray, interval: FloatArray, credit: FloatArray
) -> tuple[IntArray, LookWorth]:
    """The rows where a look promises most, and what it is worth there."""
    costs, cells = fleet_costs(batch.prices), cells_at(batch.cells, rows)
    kept = promising(left, cells, interval[rows], costs, MOST_ROWS)
    chosen = left.at(kept)
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
    rows = rows[pays]
    return _Looks(
        rows=rows.tolist(),
        slot=batch.cells.slot[rows].tolist(),
        last_grade=batch.last_grade[rows].tolist(),
        since_km=batch.since_look_km[rows].tolist(),
        saving_minor=saving[pays].tolist(),
        bad_chance=chance[pays].tolist(),
        minutes=minutes[pays].tolist(),
        minor_per_minute=per_minute,
    )


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


def _of_vehicle(batch: Batch, looks: _Looks, ways: Mapping[int, _Way], low: int, high: int) -> list[Json]:
    """Of the looks from `low` to `high`, those of one vehicle."""
    slots = batch.catalogue.slots
    parts: dict[str, _PartLook] = {}
    for place in range(low, high):
        part_key = slots[looks.slot[place]].part_key
        part = parts.get(part_key)
        if part is None:
            part = parts[part_key] = _PartLook([], 0.0, 0.0)
        part.places.append(place)
        part.saving_minor += looks.saving_minor[place]
        part.cost_minor += looks.minutes[place] * looks.minor_per_minute
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
    places, catalogue = look.places, batch.catalogue
    checks = ways[looks.rows[places[0]]].checks
    last = [looks.last_grade[place] for place in places]
    worst = max(last)
    return {
        "part": part_key,
        "title": catalogue.parts[part_key].title,
        "positions": [catalogue.slots[looks.slot[place]].position for place in places],
        "checks": list(checks),
        "minutes": round(sum(looks.minutes[place] for place in places), 1),
        "cost_minor": rounded_minor(look.cost_minor),
        "saving_minor": rounded_minor(look.saving_minor),
        "worth_per_cost": round(look.worth_per_cost, 3),
        "bad_chance_fraction": round(1.0 - prod(1.0 - looks.bad_chance[place] for place in places), 4),
        "last_grade": None if worst == NEVER_LOOKED else Grade(worst).word,
        "cautions": list(_cautions(checks)),
        "reason": _reason(last, max(looks.since_km[place] for place in places)),
    }


@lru_cache(maxsize=4096)
def _cautions(checks: tuple[str, ...]) -> tuple[str, ...]:
    catalogue = default_catalogue()
    found = (catalogue.checks[key].check for key in checks)
    keys = (key for check in found for key in (*catalogue.stations[check.station].cautions, *check.cautions))
    return tuple(catalogue.cautions[key].text for key in dict.fromkeys(keys))


def _reason(last: Sequence[int], since_km: float) -> str:
    if NEVER_LOOKED in last:
        return "never examined, and people's safety hangs on it"
    return f"last seen {since_km:,.0f} km of wear ago: its state is a guess, and a look costs less"


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
