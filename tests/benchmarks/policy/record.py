"""What is on record of many fleets' cars, as the product would have it: fittings, looks, readings, the odometer."""

from collections.abc import Callable

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, LifeBook, Looks
from inspections.core.wear import WearReadings

_ROOM = 32
"""Looks kept of each fitted part."""
_LEAST_CLOCK_KM_PER_MONTH = 1.0


class Record:
    """Arrays over all cells (K,), car by car, each with the same slots; it knows only what was written down."""

    def __init__(self, book: LifeBook, cars: int) -> None:
        slots, cells = len(book.life_km), cars * len(book.life_km)
        self.book, self.cars, self.month = book, cars, 0
        self.slot = np.tile(np.arange(slots), cars)
        self.car = np.repeat(np.arange(cars), slots)
        self.now = np.zeros(cells)
        self.km_per_month = np.ones(cars)
        self.per_month = np.ones(cells)
        self.fitted = np.full(cells, np.nan)
        self.last_grade = np.full(cells, NEVER_LOOKED)
        self.since_month = np.zeros(cells, dtype=np.int64)
        """Month in which the last grade was first seen."""
        self._clock, self._reading = np.zeros((cells, _ROOM)), np.full((cells, _ROOM), np.nan)
        self._grade = np.zeros((cells, _ROOM), dtype=np.int64)
        self._looks = np.zeros(cells, dtype=np.int64)
        self.listeners: list[Callable[[IntArray, FloatArray, bool], None]] = []
        """Told of parts before they come off: rows, clock, whether they failed."""

    def at(self, month: int, km: FloatArray, years: FloatArray) -> None:
        """Turns the calendar: each car's distance and age, shapes (V,)."""
        self.month = month
        self.now = self.book.clock_km(self.slot, km[self.car], years[self.car])

    def used(self, km_per_month: FloatArray) -> None:
        """How much each car is driven, shape (V,)."""
        self.km_per_month = km_per_month
        per_month = self.book.clock_km(self.slot, km_per_month[self.car], np.full(len(self.slot), 1.0 / 12.0))
        self.per_month = np.maximum(per_month, _LEAST_CLOCK_KM_PER_MONTH)

    def look(self, rows: IntArray, grade: IntArray, reading: FloatArray | None = None) -> None:
        """Writes down what was seen at parts, and what a gauge showed (NaN where there is none)."""
        place = self._looks[rows]
        self._clock[rows, place] = self.now[rows]
        self._grade[rows, place] = grade
        if reading is not None:
            self._reading[rows, place] = reading
        self._looks[rows] += 1
        self.since_month[rows] = np.where(grade == self.last_grade[rows], self.since_month[rows], self.month)
        self.last_grade[rows] = grade

    def fitted_new(self, rows: IntArray, before_now_km: FloatArray | float = 0.0, *, failed: bool = False) -> None:
        """Writes down new parts, fitted so many clock km ago; what was seen of the old ones no longer counts."""
        fitted = self.now[rows] - before_now_km
        for listener in self.listeners:
            listener(rows, fitted, failed)
        self.fitted[rows] = fitted
        self._looks[rows] = 0
        self._reading[rows] = np.nan
        self.last_grade[rows] = Grade.SOUND

    def cells(self, rows: IntArray) -> Cells:
        """These fitted parts as the judge takes them."""
        return Cells(self.car[rows], self.slot[rows], self.fitted[rows], self.now[rows], self.per_month[rows])

    def looks(self, rows: IntArray) -> Looks:
        """What was seen of them, counted by their place in `rows`."""
        cell, which = np.nonzero(np.arange(_ROOM) < self._looks[rows, None])
        return Looks(cell, self._clock[rows[cell], which], self._grade[rows[cell], which])

    def readings(self, rows: IntArray) -> WearReadings:
        """What was measured of them, counted by their place in `rows`."""
        cell, which = np.nonzero(~np.isnan(self._reading[rows]))
        return WearReadings(cell, self._clock[rows[cell], which], self._reading[rows[cell], which])

    def last_look_clock_km(self, rows: IntArray) -> FloatArray:
        """Clock at the last look, or at the fitting where nobody has looked since; NaN where neither is known."""
        last = self._clock[rows, np.maximum(self._looks[rows] - 1, 0)]
        return np.where(self._looks[rows] > 0, last, self.fitted[rows])
