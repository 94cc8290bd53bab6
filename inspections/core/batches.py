"""Large fleets in batches of whole vehicles, so that memory stays flat however many there are."""

from collections.abc import Iterator

import numpy as np

from inspections.core.types import Cells, Looks

PARTS_IN_BATCH = 6_000


def batches(cells: Cells, looks: Looks, *, parts: int = PARTS_IN_BATCH) -> Iterator[tuple[slice, Cells, Looks]]:
    """Runs of whole vehicles of at most `parts` cells (a larger vehicle goes alone), with where they stand in `cells`.

    `cells.vehicle` must not decrease and `looks` must be sorted by cell. Looks are renumbered to their batch.
    """
    ends = np.flatnonzero(np.diff(cells.vehicle)) + 1
    ends = np.append(ends, len(cells.vehicle))
    first = 0
    while first < len(cells.vehicle):
        fitting = ends[(ends > first) & (ends <= first + parts)]
        last = int(fitting[-1]) if len(fitting) else int(ends[ends > first][0])
        yield slice(first, last), *_cut(cells, looks, first, last)
        first = last


def _cut(cells: Cells, looks: Looks, first: int, last: int) -> tuple[Cells, Looks]:
    cut = slice(first, last)
    seen = slice(*np.searchsorted(looks.cell, (first, last)))
    return (
        Cells(
            cells.vehicle[cut],
            cells.slot[cut],
            cells.fitted_clock_km[cut],
            cells.now_clock_km[cut],
            cells.clock_km_per_month[cut],
        ),
        Looks(looks.cell[seen] - first, looks.clock_km[seen], looks.grade[seen]),
    )
