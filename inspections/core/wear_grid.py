"""What is believed of a part's wear before a reading: a grid of rates and roughnesses, and where wear may start.

Inside the wear modules lengths are fractions: wear 0 is new and 1 is the limit, distance 1 is the typical life. A
rate of 1 then means "as the book says". Single precision is used throughout the grid, since noise in a hand-held
gauge is five orders of magnitude above its rounding.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inspections.core.types import BoolArray, FloatArray

Float32Array = NDArray[np.float32]

RATE_CELLS = 81
_RATE_REACH = 3.2
"""The grid spans this many prior standard deviations to either side."""

ROUGHNESS_KM = 5000.0
"""Roughness is the coefficient of variation of the wear over this distance."""
ROUGHNESSES = np.array([0.1, 0.2, 0.35, 0.6])
ROUGHNESS_WEIGHTS = np.array([0.15, 0.25, 0.35, 0.25])
"""What is believed before reading. The readings of one part hardly change it: ten readings of a part that wears very
evenly (0.1) move a tenth of the weight, since a gauge's noise hides the rest. Kin say more (see `wear_kin`)."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Hypotheses of wear: rates, shape (R,), and how much each roughness adds to the variance, shape (Q, R)."""

    rate: FloatArray
    weight: FloatArray
    """Prior of each hypothesis, shape (Q, R); sums to 1."""
    step_variance: FloatArray
    """Variance per typical life of distance, for a part whose typical life is 5,000 km."""


@dataclass(slots=True)
class Belief:
    """Normal belief in the wear under every hypothesis, shape (S, Q, R); changed in place by the filter."""

    mean: Float32Array
    variance: Float32Array
    weight: Float32Array


@dataclass(frozen=True, slots=True)
class Rows:
    """Series of equally many readings n, in fractions of limit and life.

    `wear` and `elapsed` have shape (S, n), the rest (S,). `elapsed` is the distance since the reading before; in the
    first column since the part was fitted or, where that is unknown, since the vehicle was new.
    """

    wear: FloatArray
    elapsed: FloatArray
    fitting_known: BoolArray
    noise_variance: FloatArray
    roughness_scale: FloatArray
    """5,000 km in typical lives."""
    since_last: FloatArray
    """Distance from the last event (reading, else fitting) to now."""
    roughness_weight: FloatArray | None = None
    """What is believed of each series' roughness before its own readings, shape (S, Q); none: as of any part."""

    @property
    def readings(self) -> int:
        return int(self.wear.shape[1])

    def take(self, which: slice | NDArray[np.int64]) -> "Rows":
        """The chosen rows."""
        return Rows(
            wear=self.wear[which],
            elapsed=self.elapsed[which],
            fitting_known=self.fitting_known[which],
            noise_variance=self.noise_variance[which],
            roughness_scale=self.roughness_scale[which],
            since_last=self.since_last[which],
            roughness_weight=None if self.roughness_weight is None else self.roughness_weight[which],
        )


def wear_grid(rate_cv: float) -> Grid:
    """Lognormal rates with median 1 and coefficient of variation `rate_cv`, crossed with the roughnesses."""
    sd = np.sqrt(np.log1p(rate_cv**2))
    score = np.linspace(-_RATE_REACH, _RATE_REACH, RATE_CELLS)
    rate = np.exp(sd * score)
    rate_weight = np.exp(-0.5 * score * score)
    return Grid(
        rate=rate,
        weight=ROUGHNESS_WEIGHTS[:, None] * (rate_weight / rate_weight.sum()),
        step_variance=ROUGHNESSES[:, None] ** 2 * rate**2,
    )


def belief_at_first_event(grid: Grid, rows: Rows) -> Belief:
    """Belief in the wear of the part that was there to begin with, just before the first reading (or now).

    Fitting known: the part has worn for the elapsed distance. Unknown: a renewal process since the vehicle was new
    is seen at a chance moment (Cox 1962), so that a part of life 1/rate is of age min(vehicle, U(0, 1/rate)), and
    is met in proportion to the length of its life.
    """
    distance = (rows.elapsed[:, 0] if rows.readings else rows.since_last)[:, None]
    known = rows.fitting_known[:, None]
    age = np.where(known, distance, np.minimum(distance, 1.0 / grid.rate))
    partly = np.where(known, 0.0, np.minimum(distance * grid.rate, 1.0))
    return _belief(
        grid,
        rows,
        age_mean=age * (1.0 - partly / 2.0),
        age_variance=age**2 * (partly / 3.0 - partly**2 / 4.0),
        exposure=np.where(known, 1.0, age + 1e-6),
    )


def belief_after_renewal(grid: Grid, rows: Rows, reading: int) -> Belief:
    """Belief just before a reading, when a new part was fitted anywhere in the gap that the reading ends."""
    gap = rows.elapsed[:, reading][:, None] + np.zeros_like(grid.rate)
    return _belief(grid, rows, age_mean=gap / 2.0, age_variance=gap**2 / 12.0, exposure=np.ones_like(gap))


def _belief(grid: Grid, rows: Rows, *, age_mean: FloatArray, age_variance: FloatArray, exposure: FloatArray) -> Belief:
    """Belief from the age of the part, given per rate, shape (S, R).

    A new part's own value is taken to be known no better than one reading of it.
    """
    rate = grid.rate.astype(np.float32)
    age_mean = age_mean.astype(np.float32)
    placed = age_variance.astype(np.float32) * rate**2 + rows.noise_variance.astype(np.float32)[:, None]
    roughened = rows.roughness_scale.astype(np.float32)[:, None] * age_mean
    roughness = ROUGHNESS_WEIGHTS[None] if rows.roughness_weight is None else rows.roughness_weight
    weight = exposure * grid.weight.sum(axis=0)
    weight /= weight.sum(axis=1, keepdims=True)
    return Belief(
        mean=np.repeat((age_mean * rate)[:, None, :], len(ROUGHNESSES), axis=1),
        variance=np.asarray(
            placed[:, None, :] + roughened[:, None, :] * grid.step_variance.astype(np.float32), dtype=np.float32
        ),
        weight=weight.astype(np.float32)[:, None, :] * roughness.astype(np.float32)[:, :, None],
    )
