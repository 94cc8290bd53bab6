"""The wear filter: one scalar Kalman filter for every hypothesis, with Student-t weights against bad readings.

Given a rate and a roughness the wear is a random walk with drift, so that Kalman's (1960) recursion is exact but for
the readings' heavy tails; those enter as a weight on each reading (West 1981) and a Student-t evidence.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import FloatArray
from inspections.core.wear_grid import Belief, Float32Array, Grid, Rows

STUDENT_FREEDOM = np.float32(5.0)
NOISE_SHRINK = 0.6
"""(5 - 2) / 5: gives a Student t of 5 degrees the variance that was asked for."""
_FARTHEST = np.float32(1e4)
"""Squared deviations are cut here, which keeps single precision from overflowing."""
WORN_FRACTION = 0.85
"""From this share of the limit on, an owner is apt to have renewed the part."""


@dataclass(frozen=True, slots=True)
class Trace:
    """What the filter found at each reading, shape (S, n): log evidence, and chance that the part was worn by then."""

    log_evidence: FloatArray
    worn_fraction: FloatArray


def run_filter(grid: Grid, rows: Rows, belief: Belief, *, first: int = 0) -> Trace:
    """Take in the readings from column `first` on; `belief` is as just before that reading, and is changed in place.

    Columns before `first` of the trace are 0.
    """
    trace = Trace(np.zeros_like(rows.wear), np.zeros_like(rows.wear))
    noise = rows.noise_variance.astype(np.float32)[:, None, None]
    for reading in range(first, rows.readings):
        if reading > first:
            wear_on(grid, belief, rows.elapsed[:, reading], rows.roughness_scale)
        trace.worn_fraction[:, reading] = _worn_fraction(belief)
        wear = rows.wear[:, reading].astype(np.float32)[:, None, None]
        trace.log_evidence[:, reading] = _take_in(belief, wear, noise)
    return trace


def wear_on(grid: Grid, belief: Belief, elapsed: FloatArray, roughness_scale: FloatArray) -> None:
    """Let every hypothesis wear for a distance, shape (S,)."""
    belief.mean += (elapsed[:, None] * grid.rate).astype(np.float32)[:, None, :]
    spread = (elapsed * roughness_scale).astype(np.float32)[:, None, None]
    belief.variance += spread * grid.step_variance.astype(np.float32)


def renewal_log_evidence(grid: Grid, rows: Rows, reading: int) -> FloatArray:
    """Log evidence, shape (S,), of one reading alone if a new part had been fitted in the gap before it.

    A sieve, so it leaves out roughness, which matters little for a part that is nearly new.
    """
    gap = rows.elapsed[:, reading].astype(np.float32)[:, None]
    rate = grid.rate.astype(np.float32)
    spread = (rate * gap) ** 2 / np.float32(12.0) + np.float32(2.0) * rows.noise_variance.astype(np.float32)[:, None]
    wear = rows.wear[:, reading].astype(np.float32)[:, None]
    likelihood, _ = _student(wear - rate * gap / np.float32(2.0), spread)
    return np.asarray(np.log(likelihood @ grid.weight.sum(axis=0)))


def _student(deviation: Float32Array, spread: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Student-t likelihood up to a constant, and the squared deviation in units of the spread."""
    squared = np.minimum(deviation * deviation / spread, _FARTHEST)
    bulge = 1.0 + squared / STUDENT_FREEDOM
    return 1.0 / (np.sqrt(spread) * (bulge * bulge * bulge)), squared


def _take_in(belief: Belief, wear: Float32Array, noise: Float32Array) -> FloatArray:
    """Update every hypothesis by one reading; returns the log evidence of the reading, shape (S,)."""
    deviation = wear - belief.mean
    likelihood, squared = _student(deviation, belief.variance + noise)
    belief.weight *= likelihood
    evidence = belief.weight.sum(axis=(1, 2), keepdims=True)
    belief.weight /= evidence
    doubted_noise = noise * ((STUDENT_FREEDOM + squared) / (STUDENT_FREEDOM + np.float32(1.0)))
    gain = belief.variance / (belief.variance + doubted_noise)
    belief.mean += gain * deviation
    belief.variance -= gain * belief.variance
    return np.asarray(np.log(evidence[:, 0, 0].astype(float)))


def _worn_fraction(belief: Belief) -> FloatArray:
    """Chance, shape (S,), that the wear is past the worn share; the middle roughness stands for all."""
    middle = belief.mean.shape[1] // 2
    score = (belief.mean[:, middle] - WORN_FRACTION) / np.sqrt(belief.variance[:, middle])
    chance = 0.5 + 0.5 * np.tanh(0.8 * score)
    return np.asarray((belief.weight.sum(axis=1) * chance).sum(axis=1), dtype=float)
