"""What a job will cost and take, from what is said of such jobs and from those that were closed.

The logarithm y of what one job took (hours, or the price of its parts) is normal with an unknown level and an unknown
spread, believed normal-inverse-gamma, which stays so when jobs are observed (Gelman et al., Bayesian Data Analysis,
3rd ed., section 3.3):

    level | s2 ~ N(m, s2 / k),   s2 ~ inverse-gamma(a, b);   the next y ~ t(2 a) about m, scale sqrt(b (k + 1) / (a k))
    k' = k + n,  m' = (k m + sum y) / k',  a' = a + n / 2,
    b' = b + sum (y - mean)^2 / 2 + k n (mean - m)^2 / (2 k')

Before any job m is the usual figure, and b such that the next y lies between low and high four times in five. What is
said beforehand weighs as much as one job on the level (k = 1) and as eight on the spread (a = 4): half of the range
that a catalogue gives is the difference between fleets, half that between jobs. Common practice, no source.

One absurd bill (a slip of the pen, a chain of broken bolts) must not become the estimate: each y counts at most
`FURTHEST` spreads away from the middle of all of them, in which the figure said beforehand counts as two.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspections.core.types import FloatArray

LEVEL = 0.8
PRIOR_JOBS = 1.0
PRIOR_SHAPE = 4.0
FURTHEST = 2.0
HOURS_FACTOR = 1.5
"""Four jobs in five take between the usual hours divided by this and multiplied by it. Common practice, no source."""
LEAST_LOG_RANGE = 0.05
"""Half of a range, as a logarithm, that is taken to be wider where less is said: no price is certain."""

_NORMAL_90 = 1.2815515655446004


@dataclass(frozen=True, slots=True)
class Range:
    """A usual figure, and the bounds between which four in five lie: `low <= likely <= high`."""

    low: float
    likely: float
    high: float

    def times(self, factor: float) -> "Range":
        """The same in another unit."""
        return Range(self.low * factor, self.likely * factor, self.high * factor)


def usual_hours(hours: float) -> Range:
    """The range of the hours that a job usually takes."""
    return Range(hours / HOURS_FACTOR, hours, hours * HOURS_FACTOR)


def sharpened(said: Range, observed: Sequence[float]) -> Range:
    """What the next such job takes, given what is `said` of it and what those before took, in the same unit.

    Without observations what is said stands as it is. What is not above 0 (parts that lay on the shelf) tells nothing
    of a price and is left out; so is everything where 0 is said to be usual.
    """
    seen = np.log([value for value in observed if value > 0.0])
    if not len(seen) or said.likely <= 0.0:
        return said
    middle, half = np.log(said.likely), _half_range(said)
    scale = half / t_quantile_90(2.0 * PRIOR_SHAPE)
    spread = PRIOR_SHAPE * scale**2 * PRIOR_JOBS / (PRIOR_JOBS + 1.0)
    seen = _drawn_in(seen, middle, FURTHEST * half / _NORMAL_90)
    count, mean = len(seen), float(seen.mean())
    jobs, shape = PRIOR_JOBS + count, PRIOR_SHAPE + count / 2.0
    level = (PRIOR_JOBS * middle + seen.sum()) / jobs
    spread += ((seen - mean) ** 2).sum() / 2.0 + PRIOR_JOBS * count * (mean - middle) ** 2 / (2.0 * jobs)
    reach = t_quantile_90(2.0 * shape) * np.sqrt(spread * (jobs + 1.0) / (shape * jobs))
    return Range(*(float(np.exp(level + step)) for step in (-reach, 0.0, reach)))


def _half_range(said: Range) -> float:
    """Half of the range as a logarithm; where low is 0, the upper half stands for both."""
    low = said.low if said.low > 0.0 else said.likely**2 / max(said.high, said.likely)
    return max(float(np.log(max(said.high, said.likely) / low)) / 2.0, LEAST_LOG_RANGE)


def _drawn_in(seen: FloatArray, middle: float, furthest: float) -> FloatArray:
    centre = float(np.median([middle, middle, *seen.tolist()]))
    return np.asarray(np.clip(seen, centre - furthest, centre + furthest))


def t_quantile_90(freedom: float) -> float:
    """The 90 % quantile of Student's t, for 8 and more degrees of freedom right to 0.0002.

    Cornish and Fisher's expansion (Abramowitz & Stegun, Handbook of Mathematical Functions, 26.7.5).
    """
    z = _NORMAL_90
    terms = (
        (z**3 + z) / 4.0,
        (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0,
        (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0,
    )
    return z + sum(term / freedom**power for power, term in enumerate(terms, start=1))


def together(likely: float, *parts: Range) -> tuple[float, float]:
    """Low and high of a sum whose usual value is `likely`, of independent parts: their distances add as squares."""
    below = float(np.hypot.reduce([0.0, *(part.likely - part.low for part in parts)]))
    above = float(np.hypot.reduce([0.0, *(part.high - part.likely for part in parts)]))
    return max(likely - below, 0.0), likely + above
