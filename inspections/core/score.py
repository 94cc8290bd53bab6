"""The condition score of vehicles, 0 to 100, with its interval, its coverage and its reasons.

With the losses d of a vehicle's parts (see `score_table`),

    score = 100 exp(-sum of d / scale),  at most 25 while a safety part is dangerous
    points of a part = (100 - score) d / sum of d

so that points and score add up to 100, a part as sound as when just seen costs nothing, no worse finding raises the
score, and mending one part gives back what it took whatever else is wrong. (The exponential turns added losses into
shares of what is left; 2,500 euros of expected loss a year leave 37.)

Parts that nobody looked at enter with their mean loss. The interval is 80 %: their summed loss is nothing at all with
the chance that all of them are sound, else it is taken as a gamma variable of its mean and variance, with quantiles by
Wilson & Hilferty (PNAS 17, 1931). Its lower end falls to the cap when a safety part among them is dangerous with more
than 10 % chance.
"""

from dataclasses import dataclass

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.score_table import ScoreTable
from inspections.core.types import NEVER_LOOKED, BoolArray, Cells, FloatArray, IntArray

INTERVAL_LEVEL = 0.8
DANGEROUS_CAP = 25.0
_TAIL = 0.5 * (1.0 - INTERVAL_LEVEL)
_NORMAL_90 = 1.2815515655446004
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Scores:
    """Vehicles (V) and, for `points`, their parts (K)."""

    score: FloatArray
    low: FloatArray
    high: FloatArray
    """The 80 % interval around `score`, of one value where every part was looked at."""
    coverage_fraction: FloatArray
    """Share of what is at stake in parts that show signs which was examined within half their P-F interval."""
    worst_grade: IntArray
    """Worst grade last seen; NEVER_LOOKED where no part was looked at."""
    do_not_drive: BoolArray
    """A safety part was last seen dangerous."""
    points: FloatArray
    """What each part takes from the score, shape (K,); with the score they add up to 100."""


def score_vehicles(
    table: ScoreTable, cells: Cells, last_grade: IntArray, delta_km: FloatArray, n_vehicles: int
) -> Scores:
    """Scores of a batch of vehicles, from the last grade of every part, shape (K,), and the clock km since, (K,).

    `last_grade` is NEVER_LOOKED where nobody has examined the part (its `delta_km` is not read). A part fitted since
    its last look counts as seen sound when fitted. ValueError if a `delta_km` is negative or missing.
    """
    seen = last_grade != NEVER_LOOKED
    if not np.all(delta_km[seen] >= 0.0):
        raise ValueError("The clock since the last look cannot be negative or unknown.")
    looked = np.flatnonzero(seen)
    loss = np.zeros(len(seen))
    loss[looked] = table.loss_seen(cells.slot[looked], last_grade[looked], delta_km[looked])
    # A part seen sound, however long ago, is no worse than one that nobody ever looked at.
    sound = np.flatnonzero(last_grade == Grade.SOUND)
    loss[sound] = np.minimum(loss[sound], table.loss_unseen(cells, sound))
    unseen = _unseen(table, cells, np.flatnonzero(~seen), n_vehicles)
    known = _by_vehicle(cells.vehicle, loss, n_vehicles)
    loss[~seen] = unseen.loss
    unsafe = table.safety[cells.slot] & (last_grade == Grade.DANGEROUS)
    do_not_drive = _by_vehicle(cells.vehicle, unsafe, n_vehicles) > 0.0
    cap = np.where(do_not_drive, DANGEROUS_CAP, 100.0)
    total = _by_vehicle(cells.vehicle, loss, n_vehicles)
    score = _score(table, total, cap)
    low_cap = np.where(unseen.unsafe_chance > _TAIL, DANGEROUS_CAP, cap)
    return Scores(
        score=score,
        low=np.minimum(_score(table, known + unseen.most, low_cap), score),
        high=np.maximum(_score(table, known + unseen.least, cap), score),
        coverage_fraction=_coverage(table, cells, seen, delta_km, n_vehicles),
        worst_grade=_worst(cells, last_grade, n_vehicles),
        do_not_drive=do_not_drive,
        points=_points(cells, score, loss, total, unsafe, n_vehicles),
    )


@dataclass(frozen=True, slots=True)
class _Unseen:
    """What may be wrong with the parts that nobody looked at (n), added up by vehicle (V)."""

    loss: FloatArray
    """Mean loss of each part, shape (n,)."""
    least: FloatArray
    most: FloatArray
    """The 10 % and 90 % quantiles of a vehicle's summed loss, each (V,)."""
    unsafe_chance: FloatArray
    """Chance, shape (V,), that a safety part among them is dangerous."""


def _unseen(table: ScoreTable, cells: Cells, part: IntArray, n_vehicles: int) -> _Unseen:
    slot, vehicle = cells.slot[part], cells.vehicle[part]
    mix, loss = table.mix_unseen(cells, part), table.fresh_loss(slot)
    mean = table.loss_unseen(cells, part)
    variance = np.vecdot(mix, (loss - mean[:, None]) ** 2)
    least, most = _quantiles(_by_vehicle(vehicle, mean, n_vehicles), _by_vehicle(vehicle, variance, n_vehicles))
    nothing = _chance_of_all(vehicle, np.vecdot(mix, (loss <= 0.0).astype(np.float64)), n_vehicles)
    safe = _chance_of_all(vehicle, 1.0 - table.safety[slot] * mix[:, Grade.DANGEROUS], n_vehicles)
    return _Unseen(
        loss=mean,
        least=np.where(nothing > _TAIL, 0.0, least),
        most=np.where(nothing > 1.0 - _TAIL, 0.0, most),
        unsafe_chance=1.0 - safe,
    )


def _chance_of_all(vehicle: IntArray, chance: FloatArray, n_vehicles: int) -> FloatArray:
    return np.asarray(np.exp(_by_vehicle(vehicle, np.log(np.maximum(chance, _TINY)), n_vehicles)))


def _quantiles(mean: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The 10 % and 90 % quantiles of gamma variables of the given means and variances."""
    ratio = np.sqrt(variance / np.where(mean > 0.0, 9.0 * mean**2, 1.0))
    low, high = (mean * np.maximum(1.0 - ratio**2 + z * ratio, 0.0) ** 3 for z in (-_NORMAL_90, _NORMAL_90))
    return low, high


def _score(table: ScoreTable, loss: FloatArray, cap: FloatArray) -> FloatArray:
    return np.asarray(np.minimum(100.0 * np.exp(-loss / table.scale_minor), cap))


def _points(
    cells: Cells, score: FloatArray, loss: FloatArray, total: FloatArray, unsafe: BoolArray, n_vehicles: int
) -> FloatArray:
    """Shares by loss; where losing costs nothing, a cap's points fall on the dangerous parts alike."""
    free = total <= 0.0
    share = np.where(free[cells.vehicle], unsafe, loss)
    whole = _by_vehicle(cells.vehicle, share, n_vehicles)
    lost = (100.0 - score) / np.where(whole > 0.0, whole, 1.0)
    return np.asarray(lost[cells.vehicle] * share)


def _coverage(table: ScoreTable, cells: Cells, seen: BoolArray, delta_km: FloatArray, n_vehicles: int) -> FloatArray:
    visible = table.recent_km[cells.slot] > 0.0
    stake = np.where(visible, table.stake_minor[cells.slot], 0.0)
    recent = seen & (np.where(seen, delta_km, np.inf) <= table.recent_km[cells.slot])
    whole = _by_vehicle(cells.vehicle, stake, n_vehicles)
    examined = _by_vehicle(cells.vehicle, stake * recent, n_vehicles)
    return np.asarray(examined / np.where(whole > 0.0, whole, 1.0))


def _worst(cells: Cells, last_grade: IntArray, n_vehicles: int) -> IntArray:
    worst = np.full(n_vehicles, NEVER_LOOKED)
    np.maximum.at(worst, cells.vehicle, last_grade)
    return worst


def _by_vehicle(vehicle: IntArray, values: FloatArray | BoolArray, n_vehicles: int) -> FloatArray:
    return np.asarray(np.bincount(vehicle, values, n_vehicles), dtype=np.float64)
