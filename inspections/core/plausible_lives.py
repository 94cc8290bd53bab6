"""The lives that a part may lead, as a fixed set of possibilities for each slot of the book.

A life is four distances on the slot's clock from fitting: until the part would first be graded minor, major and
dangerous, and until it fails. The time to the first sign is Weibull; three gamma stages (CV 0.5) share the distance
from sign to failure (the P-F interval of Nowlan & Heap, "Reliability-Centered Maintenance", 1978) by 50, 35 and 15 %;
the delay-time model of Christer & Waller, J. Opl Res. Soc. 35, 1984, has one such stage. A scale multiplies the whole
life: what the book does not know about this make of part, this vehicle and its use.

The possibilities are 360 points chosen without random numbers, so that the same book gives the same lives. First sign,
scale and age at the start of the record come from a rank-1 lattice (Korobov 1959; Sloan & Joe, "Lattice Methods for
Multiple Integration", 1994), scales from 0.35 to 2.85 drawn more widely than believed and weighted back, so that a
book wrong by a factor of two still leaves lives to choose from. What a finding leaves plausible are the few lives
whose first sign falls in a short stretch of the clock; therefore the three stages follow an additive recurrence
(Kronecker sequence of the generalised golden ratio) along the order of the first signs, and any few neighbours show
the whole range of stages.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from inspections.core.life_shapes import stage_quantile, weibull_quantile, weibull_scale, weibull_shape
from inspections.core.types import FloatArray, IntArray, LifeBook

STAGE_SHARES = (0.50, 0.35, 0.15)
"""How minor, major and dangerous share the distance from first sign to failure."""
SCALE_SD = 0.40
"""Spread (of the natural logarithm) of true lives about the book before looking."""
LEAST_SCALE, GREATEST_SCALE = 0.35, 2.85
LIVES = 360

SMOOTHING_OF_PF = 0.04
"""Logistic width of a grade's threshold, of the P-F interval: small against every stage, or failures of parts graded
`dangerous`, the shortest stage, come out too rare (0.06 makes them a twentieth rarer)."""
SMOOTHING_OF_LIFE = 0.005
"""The least width, of the typical life: nobody knows the odometer at fitting more exactly than that."""
SIGN_ON_HIDDEN_PF_OF_LIFE = 0.10
"""P-F interval, of the typical life, once a sign was seen on a part whose book says that none can be."""
OLDEST_OF_LIFE = 3.4
"""No part is taken to have been older than this many typical lives when its record starts."""

_LATTICE = np.array([1, 203, 193])
"""Of least wrap-around discrepancy in scale and first sign, then with the age; the truest chances among equals."""
_RECURRENCE = 1.2207440846057594
"""The generalised golden ratio of three dimensions, x^4 = x + 1."""
_DRAWN_SCALE_SD = 0.50
_REACH = 690.0
"""Largest exponent kept, just inside what a double holds."""
_CENTRE_OF_LIFE = 3.0
_LEAST_FIRST_SIGN = 0.05
_LEAST_FIRST_SIGN_CV = 0.10
_STAGE_VARIANCE = 0.25 * sum(share * share for share in STAGE_SHARES)


@dataclass(frozen=True, slots=True)
class PlausibleLives:
    """R rows of P lives; row s is slot s of the book, row S + s the same slot once a sign was seen though hidden.

    `growth` holds exp((threshold - centre) / smoothing) of the first three thresholds, so that the logistic
    1 / (1 + exp((threshold - position) / smoothing)) of a look costs no exponential for each life.
    """

    threshold_km: FloatArray
    """Minor, major, dangerous, failure: shape (4, R, P), never falling along the first axis."""
    growth: FloatArray
    """Shape (R, 3, P)."""
    centre_km: FloatArray
    smoothing_km: FloatArray
    """Shape (R,), as `centre_km`."""
    oldest_km: FloatArray
    """Age beyond which no part's record starts, shape (R,)."""
    sign_shape: FloatArray
    sign_scale_km: FloatArray
    """Weibull law of the first sign at scale 1, each of shape (R,)."""
    weight: FloatArray
    """Shape (P,), sums to 1."""
    scale: FloatArray
    """Shape (P,), rising."""
    age_fraction: FloatArray
    """Where in its span the age at the start of the record lies, shape (P,), 0 to 1."""

    @classmethod
    def of(cls, book: LifeBook) -> "PlausibleLives":
        """All lives of a book, for callers that judge many batches by it: 15 kB for each row."""
        return cls.of_rows(book, np.arange(2 * len(book.life_km)))

    @classmethod
    def of_rows(cls, book: LifeBook, rows: IntArray) -> "PlausibleLives":
        """The lives of some rows (integers, shape (R,)) of a book, in that order."""
        slot = rows % len(book.life_km)
        life = book.life_km[slot]
        shown = np.where(rows >= len(book.life_km), SIGN_ON_HIDDEN_PF_OF_LIFE * life, 0.0)
        pf = np.where(book.pf_km[slot] > 0.0, book.pf_km[slot], shown)
        mean, shape = first_sign(life, book.life_cv[slot], pf)
        sign_scale = weibull_scale(mean, shape)
        scale_point, sign_point, age_point = lattice()
        scale, weight = scales(scale_point, SCALE_SD)
        sign = scale * sign_scale[:, None] * weibull_quantile(sign_point, shape[:, None])
        threshold = sign + scale * pf[:, None] * _after_sign(sign)
        centre = _CENTRE_OF_LIFE * life
        smoothing = np.maximum(SMOOTHING_OF_PF * pf, SMOOTHING_OF_LIFE * life)
        exponent = (threshold[:3].swapaxes(0, 1) - centre[:, None, None]) / smoothing[:, None, None]
        return cls(
            # Rows are picked out of both all the time, and must lie in one piece.
            threshold_km=np.ascontiguousarray(threshold),
            growth=np.ascontiguousarray(np.exp(np.clip(exponent, -_REACH, _REACH))),
            centre_km=centre,
            smoothing_km=smoothing,
            oldest_km=OLDEST_OF_LIFE * life,
            sign_shape=shape,
            sign_scale_km=sign_scale,
            weight=weight,
            scale=scale,
            age_fraction=age_point,
        )

    def growth_of(self, row: IntArray, distance_km: FloatArray) -> FloatArray:
        """exp((distance - centre) / smoothing), shape (n, ...), of distances (n, ...) on the clocks of `row` (n,)."""
        each = (slice(None), *(None,) * (distance_km.ndim - 1))
        exponent = distance_km - self.centre_km[row][each]
        exponent /= self.smoothing_km[row][each]
        np.maximum(exponent, -_REACH, out=exponent)
        np.minimum(exponent, _REACH, out=exponent)
        return np.asarray(np.exp(exponent, out=exponent))


def lattice() -> FloatArray:
    """Evenly spread points of the unit cube, shape (3, P), the first coordinate rising."""
    return np.asarray((_LATTICE[:, None] * np.arange(LIVES) % LIVES + 0.5) / LIVES)


def scales(fraction: FloatArray, scale_sd: float) -> tuple[FloatArray, FloatArray]:
    """Scales at `fraction` (P,) of the law they are drawn from, and their weights under the law believed, both (P,).

    Both laws are lognormal of median 1 between LEAST_SCALE and GREATEST_SCALE; `scale_sd` is the believed spread of
    the logarithm. Weights sum to 1.
    """
    drawn = NormalDist(0.0, _DRAWN_SCALE_SD)
    low, high = drawn.cdf(math.log(LEAST_SCALE)), drawn.cdf(math.log(GREATEST_SCALE))
    log_scale = np.array([drawn.inv_cdf(low + (high - low) * each) for each in fraction])
    weight = np.exp(0.5 * log_scale**2 * (_DRAWN_SCALE_SD**-2 - scale_sd**-2))
    return np.exp(log_scale), np.asarray(weight / weight.sum())


def first_sign(life_km: FloatArray, life_cv: FloatArray, pf_km: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean [km] and Weibull shape of the time to the first sign, each of shape (R,).

    The mean is the life less the P-F interval; the spread is what the stages leave of the life's variance.
    """
    mean = np.maximum(life_km - pf_km, _LEAST_FIRST_SIGN * life_km)
    variance = (life_cv * life_km) ** 2 - _STAGE_VARIANCE * pf_km**2
    cv = np.sqrt(np.maximum(variance, (_LEAST_FIRST_SIGN_CV * mean) ** 2)) / mean
    return mean, weibull_shape(cv)


def _after_sign(sign_km: FloatArray) -> FloatArray:
    """Ends of no stage, then of each stage, as parts of the P-F interval, shape (4, R, P), by order of first sign."""
    stages = stage_quantile(_recurrence()) * np.array(STAGE_SHARES)[:, None]
    after = np.concatenate([np.zeros((1, LIVES)), np.cumsum(stages, axis=0)])
    return np.asarray(after[:, np.argsort(np.argsort(sign_km, axis=1), axis=1)])


def _recurrence() -> FloatArray:
    """Points of the unit cube, shape (3, P), any few neighbours of which are spread over it, each coordinate even."""
    step = _RECURRENCE ** -np.arange(1.0, 4.0)
    order = np.argsort(np.argsort((step[:, None] * np.arange(LIVES)) % 1.0, axis=1), axis=1)
    return np.asarray((order + 0.5) / LIVES)
