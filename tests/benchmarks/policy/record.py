"""What is on record of many fleets' cars, as the product would have it: fittings, looks, gauge readings, the odometer."""

from dataclasses import dataclass

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, LifeBook, Looks
from inspections.core.wear import WearReadings

_ROOM = 32
"""Looks kept of each fitted part."""


@dataclass(frozen=True, slots=True)
class Fleets:
    """Which car belongs to which fleet, and how each is used; shapes (V,)."""

    fleet_of_car: IntArray
    age_years: FloatArray
    odometer_km: FloatArray
    km_per_month: FloatArray


class Record:
    """Arrays over all cells (K,), car by car; knows nothing of the truth but what was written down."""

    def __init__(self, book: LifeBook, fleets: Fleets, slot: IntArray, fitted_clock_km: FloatArray) -> None:
        self.book, self.fleets = book, fleets
        self.cars = len(fleets.age_years)
        self.slot = slot
        self.car = np.repeat(np.arange(self.cars), len(slot) // self.cars)
        self.fitted = fitted_clock_km
        self.per_month = book.clock_km(slot, self._of_car(fleets.km_per_month), np.full(len(slot), 1.0 / 12.0))
        self.last_grade = np.full(len(slot), NEVER_LOOKED)
        self.since_month = np.zeros(len(slot), dtype=np.int64)
        """Month in which the last grade was first seen."""
        self._clock = np.zeros((len(slot), _ROOM))
        self._grade = np.zeros((len(slot), _ROOM), dtype=np.int64)
        self._worn = np.full((len(slot), _ROOM), np.nan)
        self._looks = np.zeros(len(slot), dtype=np.int64)
        self.at(0)

    def _of_car(self, values: FloatArray) -> FloatArray:
        return values[self.car]

    def at(self, month: int) -> None:
        """Turns the calendar to a month."""
        self.month = month
        km = self._of_car(self.fleets.odometer_km + month * self.fleets.km_per_month)
        self.now = self.book.clock_km(self.slot, km, self._of_car(self.fleets.age_years + month / 12.0))

    def look(self, rows: IntArray, grade: IntArray, worn: FloatArray | None = None) -> None:
        """Writes down what was seen at parts, and the worn share where it was measured (NaN elsewhere)."""
        place = self._looks[rows]
        self._clock[rows, place] = self.now[rows]
        self._grade[rows, place] = grade
        if worn is not None:
            self._worn[rows, place] = worn
        self._looks[rows] += 1
        self.since_month[rows] = np.where(grade == self.last_grade[rows], self.since_month[rows], self.month)
        self.last_grade[rows] = grade

    def fitted_new(self, rows: IntArray, before_now_km: FloatArray | float = 0.0) -> None:
        """Writes down new parts, fitted so many clock km ago; what was seen of the old ones no longer counts."""
        self.fitted[rows] = self.now[rows] - before_now_km
        self._looks[rows] = 0
        self._worn[rows] = np.nan
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
        cell, which = np.nonzero(~np.isnan(self._worn[rows]))
        return WearReadings(cell, self._clock[rows[cell], which], self._worn[rows[cell], which])

    def last_look_clock_km(self, rows: IntArray) -> FloatArray:
        """Clock at the last look at each, or at its fitting where nobody has looked since; NaN where neither is known."""
        last = self._clock[rows, np.maximum(self._looks[rows] - 1, 0)]
        return np.where(self._looks[rows] > 0, last, self.fitted[rows])
