"""What is left of a part's life when nothing is known but its last grade and the distance since.

The part is one met at a random moment of an endless succession of such parts (Cox, "Renewal Theory", 1962, chapter 5):
the chance to find it in a state is proportional to the time spent there, a stage in progress is length-biased, and
its remainder is uniform. The grade is what was *seen*, so a part seen as sound may be worse (see `looking`). The
scale of its life is lognormal: what the book does not know. What has survived the distance since the look is what is
left of these possibilities.

For one state and no errors of looking there is a closed form, kept as a cross-check and for hand calculation
(`closed_form_residual`): with stage means s, current stage g,

    mean      = lengthening * (1 + CV_g^2) / 2 * s_g  +  sum of later s_k         (0.72 s_g where CV_g = 0.5)
    variance  = (E[X_g^3] / (3 s_g) - ((1 + CV_g^2) s_g / 2)^2)  +  sum of later (CV s_k)^2  +  (0.32 mean)^2

and a gamma law of that mean and variance. The lengthening 1.152 is what a lognormal scale of sd 0.31 does to a
length-biased stage, exp(1.5 sd^2).
"""

from dataclasses import dataclass

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.life_shapes import gamma_survival, weibull_moment
from inspections.core.looking import seen_chances
from inspections.core.plausible_lives import (
    SIGN_ON_HIDDEN_PF_OF_LIFE,
    STAGE_SHARES,
    PlausibleLives,
    first_sign,
    lattice,
    scales,
)
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, LifeBook, Residuals

ATOMS = 40
SCALE_SD = 0.32
"""Spread of the logarithm of true lives about the book: 0.25 between makes of a part and 0.20 between vehicles."""
_UNSEEN = 4
_LENGTHENING = 0.72 / 0.625
_STAGE_MEAN_RESIDUAL, _STAGE_RESIDUAL_VARIANCE, _STAGE_VARIANCE = 0.625, 0.234375, 0.25
_EVEN = np.linspace(0.0, 1.0, ATOMS + 1)
_STRATA = _EVEN * _EVEN * (3.0 - 2.0 * _EVEN)
"""Bounds of the strata in cumulative chance: finer at both ends, where the next failures and the survivors are."""


@dataclass(frozen=True, slots=True)
class GradeTable:
    """Weighted possibilities at the look, by row of lives (R, see `PlausibleLives`) and grade seen (0 to 3, 4 unseen).

    Within a row and grade they are in order of failure.
    """

    weight: FloatArray
    """Shape (R, 5, 40)."""
    distance_km: FloatArray
    """To minor, major, dangerous and failure, shape (4, R, 5, 40)."""
    rest_km: FloatArray
    """Mean distance left to what has outlived every possibility, shape (R, 5)."""

    @classmethod
    def of(cls, book: LifeBook) -> "GradeTable":
        """The table of a whole book, for callers that judge many batches by it: 8 kB for each row."""
        return cls.of_rows(book, np.arange(2 * len(book.life_km)))

    @classmethod
    def of_rows(cls, book: LifeBook, rows: IntArray) -> "GradeTable":
        """The table of some rows (shape (R,)), in that order."""
        lives = PlausibleLives.of_rows(book, rows)
        chance, distance = _met_at_random(lives)
        seen = np.concatenate([seen_chances().T, np.ones((1, 4))])
        order = np.argsort(distance[3], axis=1)
        distance = np.take_along_axis(distance, order[None], axis=2)
        columns = [_strata(_sorted_chance(chance, each, order), distance) for each in seen]
        weight = np.stack([each[0] for each in columns], axis=1)
        table = np.stack([each[1] for each in columns], axis=2)
        return cls(weight, table, _rest_km(weight, table[3]))


def residuals_by_last_grade(
    book: LifeBook, cells: Cells, last_grade: IntArray, last_clock_km: FloatArray, *, table: GradeTable | None = None
) -> Residuals:
    """What is left of each part's life, shape (K, 40), from its last grade and the clock at that look alone.

    `last_grade` (K,) is NEVER_LOOKED where nobody has examined the part, which is then taken as met at random today
    (its `last_clock_km`, shape (K,), is not read). A part fitted since its last look counts as seen sound when fitted.
    `table` is that of the whole book, if the caller keeps it between batches.
    """
    seen = np.where(last_grade == NEVER_LOOKED, _UNSEEN, last_grade)
    row = _rows(book, cells.slot, seen)
    if table is None:
        used, row = np.unique(row, return_inverse=True)
        table = GradeTable.of_rows(book, used)
    since = np.where(seen == _UNSEEN, 0.0, np.maximum(cells.now_clock_km - last_clock_km, 0.0))
    return _residuals_since(table, row, seen, since)


def _rows(book: LifeBook, slot: IntArray, seen: IntArray) -> IntArray:
    """Row of each part, shape (K,): the second of its slot if a sign was seen on a part that should show none."""
    surprised = (book.pf_km[slot] <= 0.0) & (seen > Grade.SOUND) & (seen < _UNSEEN)
    return np.where(surprised, slot + len(book.life_km), slot)


def _residuals_since(table: GradeTable, row: IntArray, seen: IntArray, since_km: FloatArray) -> Residuals:
    """The possibilities of a row and grade seen (each (K,)) that have survived `since_km` (K,) of clock."""
    left = table.distance_km[:, row, seen] - since_km[:, None]
    weight = table.weight[row, seen] * (left[3] > 0.0)
    outlived = np.flatnonzero(weight.sum(axis=1) <= 0.0)
    if len(outlived):
        rest = -np.log1p(-(np.arange(ATOMS) + 0.5) / ATOMS)
        left[3, outlived] = table.rest_km[row[outlived], seen[outlived], None] * rest
        weight[outlived] = 1.0
    weight /= weight.sum(axis=1, keepdims=True)
    return Residuals(weight, *np.maximum(left, 0.0))


def closed_form_residual(book: LifeBook, slot: IntArray, grade: IntArray) -> tuple[FloatArray, FloatArray]:
    """Mean [km] and variance [km^2] of the distance to failure in a state (grade, shape (K,)), each of shape (K,)."""
    stages, shape = _stage_means(book, slot, grade)
    rows = np.arange(len(slot))
    current = stages[rows, grade]
    later = np.where(np.arange(4) > grade[:, None], stages, 0.0)
    sound = grade == 0
    half = np.where(sound, 0.5 * weibull_moment(shape, 2), _STAGE_MEAN_RESIDUAL)
    spread = np.where(sound, weibull_moment(shape, 3) / 3.0 - half**2, _STAGE_RESIDUAL_VARIANCE)
    mean = _LENGTHENING * half * current + later.sum(axis=1)
    variance = spread * current**2 + _STAGE_VARIANCE * (later**2).sum(axis=1) + (SCALE_SD * mean) ** 2
    return mean, variance


def closed_form_failure_chance(
    book: LifeBook, slot: IntArray, grade: IntArray, survived_km: FloatArray, horizon_km: FloatArray
) -> FloatArray:
    """Chance, shape (K,), to fail within `horizon_km` after `survived_km` since the look: a gamma law, conditioned."""
    mean, variance = closed_form_residual(book, slot, grade)
    shape, scale = mean**2 / variance, variance / mean
    alive = gamma_survival(shape, survived_km / scale)
    return np.asarray(1.0 - gamma_survival(shape, (survived_km + horizon_km) / scale) / np.maximum(alive, 1e-300))


def _stage_means(book: LifeBook, slot: IntArray, grade: IntArray) -> tuple[FloatArray, FloatArray]:
    """Mean length of each stage, shape (K, 4), and the Weibull shape of the first one, shape (K,)."""
    life, pf = book.life_km[slot], book.pf_km[slot]
    pf = np.where((pf <= 0.0) & (grade > 0), SIGN_ON_HIDDEN_PF_OF_LIFE * life, pf)
    mean, shape = first_sign(life, book.life_cv[slot], pf)
    return np.column_stack([mean, pf[:, None] * np.array(STAGE_SHARES)]), shape


def _met_at_random(lives: PlausibleLives) -> tuple[FloatArray, FloatArray]:
    """Chance of each state and life, (4, R, P), and distances from there, (4 thresholds, R, 4 P), states one by one."""
    threshold = lives.threshold_km
    begins = np.concatenate([np.zeros_like(threshold[:1]), threshold[:3]])
    lasts = threshold - begins
    position = begins + lives.age_fraction * lasts
    distance = np.maximum(threshold[:, None] - position, 0.0)
    states, rows, points = lasts.shape
    believed = scales(lattice()[0], SCALE_SD)[1]
    return believed * lasts, distance.transpose(0, 2, 1, 3).reshape(4, rows, states * points)


def _sorted_chance(chance: FloatArray, seen_given_state: FloatArray, order: IntArray) -> FloatArray:
    weighed = (seen_given_state[:, None, None] * chance).transpose(1, 0, 2).reshape(order.shape)
    return np.take_along_axis(weighed, order, axis=1)


def _strata(chance: FloatArray, distance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weights (R, 40) and mean distances (4, R, 40) of the strata of possibilities sorted by failure, (R, N)."""
    rows = len(chance)
    chance = chance / chance.sum(axis=1, keepdims=True)
    middle = np.cumsum(chance, axis=1) - 0.5 * chance
    stratum = np.clip(np.searchsorted(_STRATA, middle, side="right") - 1, 0, ATOMS - 1)
    where = (stratum + ATOMS * np.arange(rows)[:, None]).ravel()
    weight = np.asarray(np.bincount(where, chance.ravel(), rows * ATOMS), dtype=np.float64)
    sums = [np.bincount(where, (chance * each).ravel(), rows * ATOMS) for each in distance]
    means = np.array(sums) / np.where(weight > 0.0, weight, 1.0)
    return weight.reshape(rows, ATOMS), means.reshape(4, rows, ATOMS)


def _rest_km(weight: FloatArray, to_failure: FloatArray) -> FloatArray:
    """Mean excess over the last stratum but one: the pace at which the longest survivors fail."""
    beyond = np.cumsum(weight, axis=2) > _STRATA[-4]
    tail = weight * beyond
    first = np.where(beyond, to_failure, np.inf).min(axis=2)
    return np.asarray((tail * to_failure).sum(axis=2) / tail.sum(axis=2) - first)
