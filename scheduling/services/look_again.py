"""When to look at each part of a batch again, gathered into few looks with a suitable sheet."""

from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from fleetcare.kernel.dates import years_between
from fleetcare.kernel.grades import Grade
from inspections.catalogue.catalogue import Catalogue
from inspections.core.types import NEVER_LOOKED, FloatArray, IntArray
from inspections.services.history import Batch
from scheduling.core.look_again import LookAgain, PlannedLook, SheetCover, gathered, look_again


def part_looks(batch: Batch) -> LookAgain:
    """The next look at each cell of the batch.

    A vehicle that was never inspected is due at once. On one that was, a part which no sheet has reached yet counts
    as sound from the day the vehicle joined: its turn comes, and a short look does not leave everything else overdue.
    """
    cells = batch.cells
    grade, months = _seen(batch)
    return look_again(
        grade,
        months,
        # A model whose parts last longer gives no longer warning; one whose parts last less long does give less.
        batch.book.pf_km[cells.slot] * np.minimum(batch.life_factor[cells.vehicle], 1.0),
        cells.clock_km_per_month,
        batch.km_per_year[cells.vehicle] / 12.0,
    )


def _seen(batch: Batch) -> tuple[IntArray, FloatArray]:
    cells = batch.cells
    joined = np.array([12.0 * max(years_between(v.created_at.date(), batch.on), 0.0) for v in batch.vehicles])
    inspected = np.array([v.standing.inspected_on is not None for v in batch.vehicles], dtype=bool)
    unseen = (batch.last_grade == NEVER_LOOKED) & inspected[cells.vehicle]
    grade = np.where(unseen, int(Grade.SOUND), batch.last_grade)
    months = np.where(unseen, joined[cells.vehicle], batch.since_look_km / cells.clock_km_per_month)
    return grade, months


def next_looks(batch: Batch) -> list[tuple[PlannedLook, ...]]:
    """The looks to come at each vehicle of the batch, in its order, the nearest first; reads nothing."""
    looks = part_looks(batch)
    starts = np.searchsorted(batch.cells.vehicle, np.arange(len(batch.vehicles) + 1))
    planned = []
    for index, vehicle in enumerate(batch.vehicles):
        rows = range(int(starts[index]), int(starts[index + 1]))
        row_of = {int(batch.cells.slot[row]): row for row in rows}
        covers = _covers(batch.catalogue, tuple(sorted(vehicle.traits.items())))
        sheets = [
            SheetCover(key, minutes, frozenset(row_of[slot] for slot in slots if slot in row_of))
            for key, minutes, slots in covers
        ]
        planned.append(gathered(looks, list(rows), sheets))
    return planned


@lru_cache(maxsize=512)
def _covers(catalogue: Catalogue, traits: tuple[tuple[str, str], ...]) -> tuple[tuple[str, float, frozenset[int]], ...]:
    """Each sheet at a vehicle of these traits: key, minutes, and the slots it looks at."""
    given: Mapping[str, str] = dict(traits)
    covers = []
    for key in catalogue.sheets:
        checks = catalogue.applicable_checks(given, key)
        minutes = sum(catalogue.checks[each.key].check.minutes for each in checks)
        covers.append((key, minutes, frozenset(each.slot for each in checks)))
    return tuple(covers)


def sheet_slots(catalogue: Catalogue, traits: tuple[tuple[str, str], ...]) -> dict[str, frozenset[int]]:
    """What each sheet looks at on a vehicle of these traits, as slots of the catalogue."""
    return {key: slots for key, _, slots in _covers(catalogue, traits)}
