"""When to look at each part again, gathered into few looks with a suitable sheet.

Every 10,000 km of the vehicle's own use, within 3 to 24 months; sooner where the warning a part gives is short: two
looks must fall inside the distance from what is seen now to failure (the P-F interval; reliability-centred
maintenance takes about half of it, common practice).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from inspections.core.looking import LOOK_EVERY_KM, LOOK_MONTHS
from inspections.core.types import NEVER_LOOKED
from scheduling.core.types import BoolArray, FloatArray, IntArray

LOOKS_IN_WARNING = 2
LEFT_OF_WARNING = np.array([1.0, 0.86, 0.40, 0.11])
"""Share of the P-F interval still left when a part is seen sound (it may show a sign the next day), minor, major or
dangerous: stages of 50, 35 and 15 %, of which 72 % of the present one is left on average."""
LEAST_MONTHS = 1.0
PULL_FORWARD_FRACTION = 1.0 / 3.0
"""A look may be taken early by this share of its interval, to save a visit."""


class Limit(IntEnum):
    """What decided an interval."""

    OWN_USE = 0
    LEAST = 1
    MOST = 2
    WARNING = 3
    NOTHING_TO_SEE = 4


@dataclass(frozen=True, slots=True)
class LookAgain:
    """Shape (K,). Parts that show nothing have no next look: NaN."""

    interval_months: FloatArray
    in_months: FloatArray
    """From now until the next look; 0: now, overdue or never looked at."""
    limit: IntArray
    too_fast: BoolArray
    """The warning is so short that monthly looks cannot catch it twice."""


def look_again(
    grade: IntArray,
    months_since_look: FloatArray,
    pf_km: FloatArray,
    clock_km_per_month: FloatArray,
    km_per_month: FloatArray,
    every_km: float = LOOK_EVERY_KM,
) -> LookAgain:
    """The next look at each fitted part; all arguments have shape (K,).

    grade: what the last look saw, -1 where there was none. pf_km: clock distance from first sign to failure, 0 where
    nothing can be seen. km_per_month: what the vehicle drives.
    """
    least, most = LOOK_MONTHS
    wished = every_km / np.maximum(km_per_month, 1e-9)
    own_use = np.clip(wished, least, most)
    warning = pf_km * LEFT_OF_WARNING[np.maximum(grade, 0)] / LOOKS_IN_WARNING / clock_km_per_month
    interval = np.maximum(np.minimum(own_use, warning), LEAST_MONTHS)
    limit = np.select(
        [pf_km <= 0.0, warning < own_use, wished < least, wished > most],
        [Limit.NOTHING_TO_SEE, Limit.WARNING, Limit.LEAST, Limit.MOST],
        default=Limit.OWN_USE,
    )
    left = np.where(grade == NEVER_LOOKED, 0.0, np.maximum(interval - months_since_look, 0.0))
    blind = pf_km <= 0.0
    return LookAgain(
        interval_months=np.where(blind, np.nan, interval),
        in_months=np.where(blind, np.nan, left),
        limit=limit.astype(np.int64),
        too_fast=(warning < LEAST_MONTHS) & ~blind,
    )


@dataclass(frozen=True, slots=True)
class SheetCover:
    """A sheet at one vehicle: how long it takes and which of its fitted parts it looks at."""

    key: str
    minutes: float
    cells: frozenset[int]


@dataclass(frozen=True, slots=True)
class PlannedLook:
    """One look at a vehicle."""

    in_months: float
    cells: tuple[int, ...]
    """Parts due, or near enough to be taken along."""
    sheet: str | None
    """The shortest sheet that looks at all of them; None: no sheet does, take their checks singly."""


def gathered(looks: LookAgain, cells: Sequence[int], sheets: Sequence[SheetCover]) -> tuple[PlannedLook, ...]:
    """The next look at each of these parts of one vehicle, in as few visits as pulling forward allows.

    A visit is when the earliest part is due; every part due within a third of its own interval from then joins it.
    """
    months = {cell: (float(looks.in_months[cell]), float(looks.interval_months[cell])) for cell in cells}
    left = sorted((cell for cell in cells if months[cell][0] == months[cell][0]), key=lambda cell: months[cell])
    planned = []
    while left:
        at = months[left[0]][0]
        joins = [cell for cell in left if months[cell][0] - at <= PULL_FORWARD_FRACTION * months[cell][1]]
        planned.append(PlannedLook(at, tuple(sorted(joins)), _shortest(sheets, joins)))
        joined = set(joins)
        left = [cell for cell in left if cell not in joined]
    return tuple(planned)


def _shortest(sheets: Sequence[SheetCover], cells: list[int]) -> str | None:
    suitable = [sheet for sheet in sheets if sheet.cells.issuperset(cells)]
    return min(suitable, key=lambda sheet: (sheet.minutes, sheet.key)).key if suitable else None
