"""Many random lives of the model's own law, drawn with SciPy and NumPy alone: what the 360 lives stand for."""

import math

import numpy as np
from scipy import optimize, special, stats

from inspections.core.types import FloatArray, LifeBook

STAGES = np.array([0.50, 0.35, 0.15])


def random_lives(book: LifeBook, slot: int, count: int, *, scale_sd: float = 0.40, seed: int = 11) -> FloatArray:
    """Thresholds of `count` lives of a slot, shape (4, count); a scale sd of 0 means that the book is right."""
    rng = np.random.default_rng(seed)
    life, pf, cv = book.life_km[slot], book.pf_km[slot], book.life_cv[slot]
    stages = rng.gamma(4.0, 0.25, (3, count)) * (STAGES * pf)[:, None]
    spread = math.sqrt((cv * life) ** 2 - 0.25 * (STAGES**2).sum() * pf**2) / (life - pf)
    shape = optimize.brentq(lambda k: special.gamma(1 + 2 / k) / special.gamma(1 + 1 / k) ** 2 - 1 - spread**2, 0.5, 20)
    sign = rng.weibull(shape, count) * (life - pf) / special.gamma(1 + 1 / shape)
    after = np.concatenate([np.zeros((1, count)), np.cumsum(stages, axis=0)])
    return (sign + after) * _scales(count, scale_sd, rng)


def _scales(count: int, scale_sd: float, rng: np.random.Generator) -> FloatArray:
    if scale_sd == 0.0:
        return np.ones(count)
    bounds = math.log(0.35) / scale_sd, math.log(2.85) / scale_sd
    return np.exp(stats.truncnorm.rvs(*bounds, scale=scale_sd, size=count, random_state=rng))
