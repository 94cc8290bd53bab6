"""Large fleets in batches of whole vehicles, so that memory stays flat however many there are."""

from collections.abc import Iterator

import numpy as np

from inspections.core.types import Cells, Looks

PARTS_IN_BATCH = 1_200
"""About 20 vehicles, whose possibilities take 17 MB: more costs time for fetching fresh memory."""


def batches(cells: Cells, looks: Looks, *, parts: int = PARTS_IN_BATCH) -> Iterator[tuple[slice, Cells, Looks]]:
    """Runs of whole vehicles of at most `parts` cells (a larger vehicle goes alone), with where they stand in `cells`.

    A vehicle's cells must stand together and `looks` be sorted by cell; looks are renumbered to their batch.
    """
    bounds = np.append(np.flatnonzero(np.diff(cells.vehicle, prepend=-1)), len(cells.vehicle))
    at = 0
    while at < len(bounds) - 1:
        fitting = int(np.searchsorted(bounds, bounds[at] + parts, side="right")) - 1
        after = max(fitting, at + 1)
        first, last = int(bounds[at]), int(bounds[after])
        yield slice(first, last), *_cut(cells, looks, first, last)
        at = after


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
