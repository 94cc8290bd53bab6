"""The plain types that the judge and the decider speak: grades, lives, looks and what is left of a part's life.

A *slot* is a part at a position of the catalogue; a *cell* is one slot of one vehicle (one fitted part). All
computing runs over flat arrays of cells, of one vehicle or of a hundred thousand.

The *clock* of a slot mixes distance and time, in kilometres:
``clock_km = km_weight * km + (1 - km_weight) * years * km_per_year``, with `km` the vehicle's distance from new and
`years` its age, so that a part that only ages and one that only rolls are treated alike.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleetcare.kernel.grades import Grade

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

NEVER_LOOKED = -1
"""Stands where a grade would, for a part that nobody has examined."""

GRADES = tuple(Grade)


@dataclass(frozen=True, slots=True)
class LifeBook:
    """What is believed of each slot's life before looking; every array has shape (S,), distances on the clock."""

    life_km: FloatArray
    life_cv: FloatArray
    pf_km: FloatArray
    """First visible sign to failure; 0 where no sign can be seen (a hidden part)."""
    km_weight: FloatArray
    km_per_year: FloatArray

    def clock_km(self, slot: IntArray, km: FloatArray, years: FloatArray) -> FloatArray:
        """Clock reading of each cell's slot (shape (K,)) at a distance [km] and age [years] of its vehicle."""
        weight = self.km_weight[slot]
        return weight * km + (1.0 - weight) * years * self.km_per_year[slot]


SHARED_WORK_SHARE = 0.8
"""Of its access and follow-ups, what a planned job pays for on average, the rest being shared with other jobs of the
visit: the one figure by which both the cost book and the decider reckon a job that is done some day. Common practice,
no source; of 0.6, 0.8 and 1.0 the policy benchmark's tuning seeds were cheapest and safest with this."""


@dataclass(frozen=True, slots=True)
class CostBook:
    """What each slot costs, shape (S,), in minor units of one currency (floats here; stored sums are integers)."""

    planned_minor: FloatArray
    """The planned job: parts, labour and `SHARED_WORK_SHARE` of its access and follow-ups."""
    failure_minor: FloatArray
    """The same done after a failure on the road: dearer work, tow, secondary damage, what it may cause."""
    major_minor_per_km: FloatArray
    """Exposure and secondary damage for each km driven while the part is `major`."""
    dangerous_minor_per_km: FloatArray
    safety: BoolArray


@dataclass(frozen=True, slots=True)
class Cells:
    """Fitted parts, shape (K,)."""

    vehicle: IntArray
    """Row of the vehicle in this batch, non-decreasing."""
    slot: IntArray
    fitted_clock_km: FloatArray
    """Clock when fitted; NaN when as bought, history unknown."""
    now_clock_km: FloatArray
    clock_km_per_month: FloatArray
    """How fast the clock runs at the vehicle's own use; always positive."""


@dataclass(frozen=True, slots=True)
class Looks:
    """What was seen of graded parts, shape (N,), sorted by cell and, within a cell, by time."""

    cell: IntArray
    clock_km: FloatArray
    grade: IntArray


@dataclass(frozen=True, slots=True)
class Residuals:
    """What is left of each cell's life as weighted possibilities, shape (K, P); weights of a row sum to 1.

    Distances are clock km from now until the part would first be graded minor, major, dangerous, and until it
    fails; 0 where that is already so. They never decrease from left to right.
    """

    weight: FloatArray
    to_minor_km: FloatArray
    to_major_km: FloatArray
    to_dangerous_km: FloatArray
    to_failure_km: FloatArray

    def at(self, rows: IntArray) -> "Residuals":
        """Some of the rows."""
        return Residuals(*(getattr(self, name)[rows] for name in Residuals.__slots__))

    def failure_chance_fraction(self, horizon_km: FloatArray) -> FloatArray:
        """Chance, shape (K,), that the part fails within `horizon_km` (shape (K,)) of clock distance from now."""
        fails = self.to_failure_km <= horizon_km[:, None]
        return np.asarray((self.weight * fails).sum(axis=1))
