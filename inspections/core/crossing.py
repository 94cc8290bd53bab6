"""When a steady but noisy climb reaches a level: the closed form and the spread points that wear and usage share."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from inspections.core.types import FloatArray

AnyFloatArray = NDArray[np.floating]
"""Single or double precision; what goes in decides what comes out."""

SPREAD_POINTS = 144
_LATTICE_GENERATOR = 83
"""A rank-1 lattice (Korobov 1959); of all generators this one came closest to the exact quantiles of wear mixtures."""
_PLASTIC_STEP = 0.7548776662466927
"""An irrational step for a third coordinate that stays out of tune with the lattice."""

INTERVAL_LEVEL = 0.8
_LOW, _HIGH = (1.0 - INTERVAL_LEVEL) / 2.0, (1.0 + INTERVAL_LEVEL) / 2.0


@dataclass(frozen=True, slots=True)
class Band:
    """A quantity with its median and 80 % interval; each array has shape (K,)."""

    low: FloatArray
    median: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Spread:
    """Points, shape (144,), that fill the unit cube evenly: `share` increases, `score` is standard normal."""

    share: FloatArray
    other_share: FloatArray
    score: FloatArray


def even_spread() -> Spread:
    """Spread points for drawing without chance: the same input always gives the same quantiles."""
    index = np.arange(SPREAD_POINTS)
    shuffled = ((index * _LATTICE_GENERATOR) % SPREAD_POINTS + 0.5) / SPREAD_POINTS
    return Spread(
        share=(index + 0.5) / SPREAD_POINTS,
        other_share=np.asarray((index * _PLASTIC_STEP + 0.5) % 1.0, dtype=float),
        score=normal_scores(shuffled),
    )


def normal_scores(share: FloatArray) -> FloatArray:
    """Standard normal quantiles of shares strictly between 0 and 1, any shape (meant for few values)."""
    inverse = NormalDist().inv_cdf
    return np.array([inverse(float(value)) for value in share.ravel()]).reshape(share.shape)


def normal_cdf(score: AnyFloatArray) -> AnyFloatArray:
    """Chance that a standard normal falls below `score`, any shape, to 1e-7 (Abramowitz & Stegun 1964, 26.2.17)."""
    size = np.abs(score)
    t = 1.0 / (1.0 + 0.2316419 * size)
    series = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    tail = 0.3989422804014327 * np.exp(-0.5 * size * size) * series
    return np.where(score >= 0.0, 1.0 - tail, tail)


def distance_to_level(
    remaining: AnyFloatArray,
    variance: AnyFloatArray,
    rate: AnyFloatArray,
    roughness: AnyFloatArray,
    score: AnyFloatArray,
) -> AnyFloatArray:
    """Distance after which a climb has covered `remaining`, at a normal score of lateness (0: median; broadcast).

    After a distance d the climb is normal with mean ``rate * d`` and variance ``variance + rate**2 * roughness * d``;
    the returned d solves ``remaining - rate * d = -score * sd(d)``, so that the chance of being there by d is the
    normal CDF of `score` (the time-to-level law of Birnbaum & Saunders 1969, with an uncertain start). 0 where the
    level is already passed. Units: `remaining` and sqrt(`variance`) alike, `rate` the same per distance, `roughness`
    a distance.
    """
    half = 0.5 * score * score * rate * roughness
    inside = half * half + 2.0 * remaining * half + score * score * variance
    covered = remaining + half + np.sign(score) * np.sqrt(np.maximum(inside, 0.0))
    return np.asarray(np.maximum(covered, 0.0) / rate)


def band_of(samples: AnyFloatArray) -> Band:
    """Median and 80 % interval of equally likely samples, shape (K, P), along the last axis (Hazen's positions)."""
    ordered = np.sort(samples, axis=1)
    last = ordered.shape[1] - 1

    def quantile(share: float) -> FloatArray:
        place = min(max(share * (last + 1) - 0.5, 0.0), float(last))
        below = min(int(place), last - 1)
        part = place - below
        return np.asarray((1.0 - part) * ordered[:, below] + part * ordered[:, below + 1])

    return Band(low=quantile(_LOW), median=quantile(0.5), high=quantile(_HIGH))
