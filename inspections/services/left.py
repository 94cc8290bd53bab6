"""What is left of the lives of a batch's parts, and what the coming year is expected to cost for that."""

import dataclasses
from collections.abc import Iterator
from typing import Protocol

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.life_factor import on_the_books_clock, on_their_own_clock
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.looking import look_interval_clock_km
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.tended_year import tended_year_cost
from inspections.core.types import (
    NEVER_LOOKED,
    BoolArray,
    Cells,
    FloatArray,
    IntArray,
    LifeBook,
    Looks,
    Residuals,
)
from inspections.core.unlooked import unlooked_year_cost
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch

_CELLS_AT_ONCE = 1_024


class Watcher(Protocol):
    """Somebody who needs what is left of some parts of a batch, while it is at hand: of many vehicles none is kept."""

    wanted: BoolArray
    """Which cells, shape (K,)."""

    def see(self, rows: IntArray, left: Residuals) -> None:
        """What is left of the cells at `rows` (ascending): of the next vehicles all wanted ones, and others."""


def residuals_at(batch: Batch, rows: IntArray) -> Residuals:
    """What is left of the cells at `rows` (ascending): by measurement where there is one, else by eye and age."""
    cells, looks = _subset(batch, rows)
    factor = batch.life_factor[cells.vehicle]
    on_book = on_the_books_clock(cells, looks, factor)
    left = residuals_by_life_filter(batch.book, *on_book, lives=_lives_of(batch.book))
    by_eye = on_their_own_clock(left, factor)
    place = np.searchsorted(batch.measured.cell, rows)
    place = np.minimum(place, max(len(batch.measured.cell) - 1, 0))
    if not len(batch.measured.cell):
        return by_eye
    known = np.flatnonzero(batch.measured.cell[place] == rows)
    by_figure = batch.measured.residuals(place[known], by_eye.weight.shape[1])
    for field in dataclasses.fields(Residuals):
        getattr(by_eye, field.name)[known] = getattr(by_figure, field.name)
    return by_eye


_lives: dict[bytes, PlausibleLives] = {}
_LIVES_KEPT = 8
"""About 12 MB each; fleets that learned nothing share the catalogue's."""


def _lives_of(book: LifeBook) -> PlausibleLives:
    """The plausible lives of a book, kept between batches."""
    key = book.life_km.tobytes() + book.life_cv.tobytes() + book.pf_km.tobytes()
    if key not in _lives:
        if len(_lives) >= _LIVES_KEPT:
            _lives.clear()
        _lives[key] = PlausibleLives.of(book)
    return _lives[key]


def yearly_minor(batch: Batch, rows: IntArray, residuals: Residuals) -> FloatArray:
    """Expected cost of the next twelve months of each cell at `rows`, at its vehicle's own use; the fleet's money.

    The vehicle is taken to be looked at as it should be, and what is found to be put right.
    """
    return _tended_minor(batch, rows, residuals, looks_to_come_km(batch))


def _tended_minor(
    batch: Batch, rows: IntArray, residuals: Residuals, looks: tuple[FloatArray, FloatArray]
) -> FloatArray:
    cells, (first, every) = cells_at(batch.cells, rows), looks
    driven = batch.km_per_year[cells.vehicle] / 12.0 / cells.clock_km_per_month
    return tended_year_cost(
        residuals, fleet_costs(batch.prices), cells, first[rows], every[rows], driven_km_per_clock_km=driven
    )


def looks_to_come_km(batch: Batch) -> tuple[FloatArray, FloatArray]:
    """Clock km to the next look at each part, (K,), and between looks.

    What was never looked at is due, and so is what is known to be major: it need not be found.
    """
    every = look_interval_clock_km(batch.cells.clock_km_per_month, batch.km_per_year[batch.cells.vehicle] / 12.0)
    due = (batch.last_grade == NEVER_LOOKED) | (batch.last_grade >= Grade.MAJOR)
    return np.where(due, 0.0, np.maximum(every - batch.since_look_km, 0.0)), every


def cells_at(cells: Cells, rows: IntArray) -> Cells:
    """The cells at `rows`."""
    return Cells(*(getattr(cells, field.name)[rows] for field in dataclasses.fields(Cells)))


def _subset(batch: Batch, rows: IntArray) -> tuple[Cells, Looks]:
    """The cells at `rows` (ascending) and the looks at them, renumbered."""
    looks = batch.looks
    place = np.minimum(np.searchsorted(rows, looks.cell), max(len(rows) - 1, 0))
    inside = rows[place] == looks.cell if len(rows) else np.zeros(len(looks.cell), dtype=bool)
    return cells_at(batch.cells, rows), Looks(place[inside], looks.clock_km[inside], looks.grade[inside])


def next_year_minor(batch: Batch, watcher: Watcher | None) -> FloatArray:
    """Expected cost of the next twelve months at each vehicle's own use, shape (V,), minor units of the fleet.

    Parts that nobody looked at and nobody asks about are most of them, and take less when reckoned by themselves.
    """
    vehicle, looks = batch.cells.vehicle, looks_to_come_km(batch)
    apart = _only_cost_asked(batch, watcher)
    minor = np.zeros(len(vehicle))
    minor[apart] = _unlooked_minor(batch, np.flatnonzero(apart), looks)
    for rows in _whole_vehicles(vehicle, np.flatnonzero(~apart)):
        left = residuals_at(batch, rows)
        minor[rows] = _tended_minor(batch, rows, left, looks)
        if watcher is not None:
            watcher.see(rows, left)
    return np.asarray(np.bincount(vehicle, minor, len(batch.vehicles)), dtype=np.float64)


def _only_cost_asked(batch: Batch, watcher: Watcher | None) -> BoolArray:
    """Cells as bought, without a look or figure, of lives as the book has them, that no watcher wants; shape (K,)."""
    cells = batch.cells
    apart = np.isnan(cells.fitted_clock_km) & (batch.life_factor == 1.0)[cells.vehicle]
    apart[batch.looks.cell] = False
    apart[batch.measured.cell] = False
    if watcher is not None:
        apart &= ~watcher.wanted
    return np.asarray(apart)


def _unlooked_minor(batch: Batch, rows: IntArray, looks: tuple[FloatArray, FloatArray]) -> FloatArray:
    cells, (first, every) = cells_at(batch.cells, rows), looks
    driven = batch.km_per_year[cells.vehicle] / 12.0 / cells.clock_km_per_month
    lives, costs = _lives_of(batch.book), fleet_costs(batch.prices)
    return unlooked_year_cost(lives, costs, cells, first[rows], every[rows], driven_km_per_clock_km=driven)


def _whole_vehicles(vehicle: IntArray, rows: IntArray) -> Iterator[IntArray]:
    """Runs of `rows` (ascending) of whole vehicles, of about as many cells as are worked on at once."""
    ends = np.flatnonzero(np.diff(vehicle[rows], append=-1)) + 1
    start = 0
    for end in ends.tolist():
        if end - start >= _CELLS_AT_ONCE or end == len(rows):
            yield rows[start:end]
            start = end
