"""Parts of vehicles whose lives are a multiple of the book's: judged by one set of plausible lives all the same.

A life that is f times as long is the book's life on a clock that runs f times as slowly. So distances are divided by f
before the judge reads them and what is left of the lives is multiplied by f afterwards: as exact as lives of their own
for every model, at no cost. A longer life is given no longer warning, though: beyond the first sign no factor above 1
counts.
"""

from dataclasses import replace

import numpy as np

from inspections.core.types import Cells, FloatArray, Looks, Residuals


def on_the_books_clock(cells: Cells, looks: Looks, factor: FloatArray) -> tuple[Cells, Looks]:
    """Cells and looks as if the book's lives were theirs; `factor` (K,) is each cell's life over the book's."""
    if (factor == 1.0).all():
        return cells, looks
    slower = replace(
        cells,
        fitted_clock_km=cells.fitted_clock_km / factor,
        now_clock_km=cells.now_clock_km / factor,
        clock_km_per_month=cells.clock_km_per_month / factor,
    )
    return slower, replace(looks, clock_km=looks.clock_km / factor[looks.cell])


def on_their_own_clock(left: Residuals, factor: FloatArray) -> Residuals:
    """What is left of lives told on the book's clock, told on the parts' own; `factor` (K,) as above."""
    if (factor == 1.0).all():
        return left
    longer, warning = factor[:, None], np.minimum(factor, 1.0)[:, None]
    minor = longer * left.to_minor_km
    later = (left.to_major_km, left.to_dangerous_km, left.to_failure_km)
    return Residuals(left.weight, minor, *(minor + warning * (each - left.to_minor_km) for each in later))
