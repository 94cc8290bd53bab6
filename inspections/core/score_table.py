"""What each grade of each slot takes from the condition score, by how long ago it was seen.

lambda(grade, since) is what a part is expected to cost over the coming year (see `yearly_cost`) at a typical 13,500 km
a year, by the grade table: a condition, unlike a forecast, must not depend on who drives the vehicle. It is made
non-decreasing in grade and in the distance since the look, so that a worse finding or an older look can never raise
the score. What counts is the loss

    d(grade, since) = lambda(grade, since) - lambda(sound, 0) >= 0

A part that nobody has looked at has the loss of a fresh look at each grade, with the chance of that grade at its age
(see `deterioration.prior_grade_mix`).
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.deterioration import prior_grade_mix
from inspections.core.grade_table import GradeTable, residuals_by_last_grade
from inspections.core.plausible_lives import OLDEST_OF_LIFE
from inspections.core.types import (
    GRADES,
    NEVER_LOOKED,
    BoolArray,
    Cells,
    CostBook,
    FloatArray,
    IntArray,
    LifeBook,
)
from inspections.core.yearly_cost import MONTHS, next_year_cost

TYPICAL_KM_PER_YEAR = 13_500.0
SCALE_MINOR = 250_000.0
"""Expected loss in a year, 2,500 euros in cents, that takes the score from 100 to 37."""
RECENT_OF_PF = 0.5
"""A look counts for coverage while it is younger than this part of the P-F interval, the usual longest interval
between looks (common practice, no source)."""

SINCE_OF_LIFE = np.array([0.0, 0.01, 0.025, 0.05, 0.075, 0.1, 0.15, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5])
AGE_OF_LIFE = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5, 2.0, OLDEST_OF_LIFE])


@dataclass(frozen=True, slots=True)
class ScoreTable:
    """Losses in minor units for every slot (S); distances as parts of the typical life."""

    loss_minor: FloatArray
    """Shape (S, 4 grades, len(SINCE_OF_LIFE)), non-decreasing along both."""
    unseen_mix: FloatArray
    """Chance of each grade of parts never looked at, shape (2, S, len(AGE_OF_LIFE), 4): known, then unknown fitting."""
    stake_minor: FloatArray
    """Expected yearly cost of a part in an unknown state, shape (S,): its share of what there is to examine."""
    life_km: FloatArray
    recent_km: FloatArray
    """How long a look counts for coverage, shape (S,); 0 where no sign can be seen."""
    safety: BoolArray
    scale_minor: float

    def loss_seen(self, slot: IntArray, grade: IntArray, since_km: FloatArray) -> FloatArray:
        """Loss [minor units], shape (K,), of parts seen in a grade so many clock km ago."""
        left, share = _between(SINCE_OF_LIFE, since_km / self.life_km[slot])
        rows = self.loss_minor[slot, grade]
        cell = np.arange(len(slot))
        return np.asarray((1.0 - share) * rows[cell, left] + share * rows[cell, left + 1])

    def fresh_loss(self, slot: IntArray) -> FloatArray:
        """Loss [minor units] of each grade just seen, shape (K, 4)."""
        return self.loss_minor[slot, :, 0]

    def loss_unseen(self, cells: Cells, part: IntArray) -> FloatArray:
        """Mean loss [minor units], shape (n,), of the parts (indices, (n,)) of `cells` if nobody looked at them."""
        return np.asarray(np.vecdot(self.mix_unseen(cells, part), self.fresh_loss(cells.slot[part])))

    def mix_unseen(self, cells: Cells, part: IntArray) -> FloatArray:
        """Chance of each grade, shape (n, 4), for the parts (indices, (n,)) of `cells` that nobody looked at."""
        slot, fitted, now = cells.slot[part], cells.fitted_clock_km[part], cells.now_clock_km[part]
        unknown = np.isnan(fitted)
        age = np.where(unknown, now, now - np.where(unknown, 0.0, fitted))
        left, share = _between(AGE_OF_LIFE, age / self.life_km[slot])
        mixes, right_share = self.unseen_mix[unknown.astype(np.int64), slot], share[:, None]
        cell = np.arange(len(slot))
        return np.asarray((1.0 - right_share) * mixes[cell, left] + right_share * mixes[cell, left + 1])


def build_score_table(
    book: LifeBook, costs: CostBook, *, scale_minor: float = SCALE_MINOR, grades: GradeTable | None = None
) -> ScoreTable:
    """The score table of a book of lives and costs; build it once and score every vehicle by it.

    `scale_minor` is what 2,500 euros are in the minor units of `costs`.
    """
    yearly, stake = _yearly_minor(book, costs, grades)
    return ScoreTable(
        loss_minor=yearly - yearly[:, :1, :1],
        unseen_mix=_unseen_mix(book),
        stake_minor=stake,
        life_km=book.life_km,
        recent_km=RECENT_OF_PF * book.pf_km,
        safety=costs.safety,
        scale_minor=scale_minor,
    )


def _yearly_minor(book: LifeBook, costs: CostBook, grades: GradeTable | None) -> tuple[FloatArray, FloatArray]:
    """lambda, (S, 4, len(SINCE_OF_LIFE)), non-decreasing in grade and distance, and of parts never looked at, (S,)."""
    shape = (len(book.life_km), len(GRADES), len(SINCE_OF_LIFE))
    slot, grade, since = (each.ravel() for each in np.indices(shape))
    slots = np.arange(shape[0])
    slot, grade = np.concatenate([slot, slots]), np.concatenate([grade, np.full_like(slots, NEVER_LOOKED)])
    looked_at = np.concatenate([-SINCE_OF_LIFE[since], np.zeros(shape[0])]) * book.life_km[slot]
    weight = book.km_weight[slot]
    horizon = weight * TYPICAL_KM_PER_YEAR + (1.0 - weight) * book.km_per_year[slot]
    cells = Cells(slot, slot, np.full(len(slot), np.nan), np.zeros(len(slot)), horizon / MONTHS)
    left = residuals_by_last_grade(book, cells, grade, looked_at, table=grades)
    cost = next_year_cost(left, costs, cells, driven_km_per_clock_km=TYPICAL_KM_PER_YEAR / horizon)
    worse = np.maximum.accumulate(cost[: -shape[0]].reshape(shape), axis=1)
    return np.maximum.accumulate(worse, axis=2), cost[-shape[0] :]


def _unseen_mix(book: LifeBook) -> FloatArray:
    """Chance of each grade by age, shape (2, S, len(AGE_OF_LIFE), 4), of a known and an unknown fitting."""
    shape = (2, len(book.life_km), len(AGE_OF_LIFE))
    unknown, slot, age = (each.ravel() for each in np.indices(shape))
    now = AGE_OF_LIFE[age] * book.life_km[slot]
    cells = Cells(slot, slot, np.where(unknown == 1, np.nan, 0.0), now, np.ones(len(slot)))
    return prior_grade_mix(book, cells).reshape(*shape, len(GRADES))


def _between(grid: FloatArray, at: FloatArray) -> tuple[IntArray, FloatArray]:
    """Left neighbour in `grid` and share of the way to the next, held to the ends; NaN counts as the start."""
    held = np.clip(np.nan_to_num(at), grid[0], grid[-1])
    left = np.clip(np.searchsorted(grid, held, side="right") - 1, 0, len(grid) - 2)
    return left, (held - grid[left]) / (grid[left + 1] - grid[left])
