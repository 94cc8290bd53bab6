"""Weibull lives from censored ages, for many groups at once: maximum likelihood and maximum a posteriori.

A life T has S(t) = exp(-(t / scale)^shape). Everything is parametrised by log scale and log shape, where the
likelihood is closest to a parabola and no bound is needed. The search itself is in `weibull_newton`.

Literature: Nelson, "Applied Life Data Analysis" (1982), chapters 8 and 9 (censored, grouped data, Wald intervals on
the log scale); Tierney & Kadane, JASA 81 (1986), 82 (the normal approximation around a posterior mode).
"""

import math
from dataclasses import dataclass, replace
from enum import IntEnum
from statistics import NormalDist

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray
from inspections.core.weibull_newton import Found, LogPrior, climb, climb_profile
from inspections.core.weibull_sample import Sample, log_likelihood

FEWEST_FAILURES = 2
"""Below this many ended lives, age at failure has no visible spread and maximum likelihood has nothing to say."""

LARGEST_SHIFT = 0.5
NUDGE = 1e-3


class Outcome(IntEnum):
    """What came of fitting one group."""

    FITTED = 0
    TOO_FEW_FAILURES = 1
    NO_SINGLE_BEST = 2
    """The likelihood has no highest point: the failures are so alike, or so far apart, that any fit can be beaten."""

    @property
    def words(self) -> str:
        """The outcome as a sentence of a report says it."""
        return ("fitted", "too few failures to learn from", "no single best fit")[self]


@dataclass(frozen=True, slots=True)
class Ages:
    """What is known of N lives, all arrays of shape (N,), ages in km of the part's clock.

    The life ended at an age in [low_km, high_km]: equal for a failure whose age is known, `high_km` infinite for a
    part that had not failed at `low_km`, `low_km` zero for one found failed. `entry_km` is the age from which it was
    followed (left truncation: had it failed before, it would not be in the list). `weight` counts a record several
    times or in part. `group` is the row of the fit a record belongs to. Records may come in any order.
    """

    low_km: FloatArray
    high_km: FloatArray
    group: IntArray
    entry_km: FloatArray | None = None
    weight: FloatArray | None = None

    def columns(self) -> tuple[FloatArray, FloatArray, IntArray, FloatArray, FloatArray]:
        """All five arrays, with what was left out filled in: followed from new, counted once."""
        entry = np.zeros_like(self.low_km) if self.entry_km is None else self.entry_km
        return self.low_km, self.high_km, self.group, entry, np.ones_like(entry) if self.weight is None else self.weight

    def chosen(self, which: BoolArray) -> "Ages":
        """The records where `which`, shape (N,), holds."""
        low, high, group, entry, weight = self.columns()
        return Ages(low[which], high[which], group[which], entry[which], weight[which])

    def and_also(self, other: "Ages") -> "Ages":
        """The records of both."""
        low, high, group, entry, weight = (
            np.concatenate(pair) for pair in zip(self.columns(), other.columns(), strict=True)
        )
        return Ages(low, high, group, entry, weight)

    @classmethod
    def right_censored(cls, age_km: FloatArray, failed: BoolArray, group: IntArray | None = None) -> "Ages":
        """Ages at failure where `failed`, else ages reached without failing; one group unless said otherwise."""
        age = np.asarray(age_km, dtype=float)
        rows = np.zeros(len(age), dtype=np.int64) if group is None else group
        return cls(age, np.where(failed, age, np.inf), rows)


@dataclass(frozen=True, slots=True)
class Prior:
    """Independent normal beliefs about log scale and log shape of each group, arrays of shape (G,)."""

    log_scale: FloatArray
    log_scale_sd: FloatArray
    log_shape: FloatArray
    log_shape_sd: FloatArray

    @classmethod
    def around(cls, scale_km: FloatArray, scale_sd: float = 0.4, shape: float = 3.0, shape_sd: float = 0.35) -> "Prior":
        """Beliefs centred on a scale for each group, in km; the spreads are of natural logarithms."""
        centre = np.log(np.asarray(scale_km, dtype=float))
        return cls(
            centre,
            np.full_like(centre, scale_sd),
            np.full_like(centre, math.log(shape)),
            np.full_like(centre, shape_sd),
        )


@dataclass(frozen=True, slots=True)
class Band:
    """An estimate with its interval; arrays of shape (G,)."""

    value: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class WeibullFit:
    """Fitted lives, arrays of shape (G,); NaN where `outcome` is not FITTED.

    Variances are those of the inverse information of log scale and log shape (of the posterior, with a prior).
    `log_likelihood` is of the data alone, each known failure counted by its density per km.
    """

    log_scale: FloatArray
    log_shape: FloatArray
    scale_variance: FloatArray
    covariance: FloatArray
    shape_variance: FloatArray
    log_likelihood: FloatArray
    failures: FloatArray
    records: IntArray
    outcome: IntArray

    @property
    def scale_km(self) -> FloatArray:
        """Age that 63.2 % do not outlive, shape (G,)."""
        return np.exp(self.log_scale)

    @property
    def shape(self) -> FloatArray:
        """Weibull shape, shape (G,): above 1 the part wears out, below 1 it fails early or not at all."""
        return np.exp(self.log_shape)

    def survival_fraction(self, age_km: FloatArray) -> FloatArray:
        """Share of each group, shape (G,), that outlives `age_km`, shape (G,) or scalar."""
        return np.asarray(np.exp(-((age_km / self.scale_km) ** self.shape)))

    def quantile_km(self, fraction: float, level: float = 0.8) -> Band:
        """Age by which `fraction` (0 to 1) of the lives have ended, with its interval at `level` (0 to 1).

        The delta method on log age, log t = log scale + log(-log(1 - fraction)) / shape.
        """
        reach = math.log(-math.log1p(-fraction)) / self.shape
        return self._band(self.log_scale + reach, -reach, level)

    def mean_km(self, level: float = 0.8) -> Band:
        """Mean life, scale * Gamma(1 + 1/shape), with its interval at `level` (0 to 1); the delta method on logs."""
        inverse = np.exp(-self.log_shape)
        return self._band(self.log_scale + log_gamma(1.0 + inverse), -inverse * digamma(1.0 + inverse), level)

    def scale_band_km(self, level: float = 0.8) -> Band:
        """The scale with its interval at `level` (0 to 1)."""
        return self._band(self.log_scale, np.zeros_like(self.log_scale), level)

    def shape_band(self, level: float = 0.8) -> Band:
        """The shape with its interval at `level` (0 to 1)."""
        return _band(self.log_shape, self.shape_variance, level)

    def _band(self, log_age: FloatArray, shape_slope: FloatArray, level: float) -> Band:
        """A band of an age whose logarithm moves by 1 with log scale and by `shape_slope` with log shape."""
        variance = (
            self.scale_variance + 2.0 * shape_slope * self.covariance + shape_slope * shape_slope * self.shape_variance
        )
        return _band(log_age, variance, level)


def _band(log_value: FloatArray, variance: FloatArray, level: float) -> Band:
    reach = NormalDist().inv_cdf(0.5 + level / 2.0) * np.sqrt(variance)
    return Band(np.exp(log_value), np.exp(log_value - reach), np.exp(log_value + reach))


def fit_weibull(ages: Ages, groups: int = 1, prior: Prior | None = None) -> WeibullFit:
    """The Weibull law of each of `groups` groups that makes the ages most likely, or most credible under `prior`.

    With a prior every group is fitted, one without records at the prior itself. Without, a group with fewer than two
    failures is TOO_FEW_FAILURES, and one whose likelihood has no highest point NO_SINGLE_BEST: results, not errors.
    Raises ValueError for ages that cannot be (negative, NaN, low above high, an entry after the end).
    Time grows in proportion to the records.
    """
    _check(ages)
    sample = Sample.of(ages.low_km, ages.high_km, ages.group, groups, ages.entry_km, ages.weight)
    if prior is not None:
        belief = LogPrior(prior.log_scale, prior.log_scale_sd**-2.0, prior.log_shape, prior.log_shape_sd**-2.0)
        return _fit(sample, climb(sample, belief), np.ones(groups, dtype=bool))
    enough = sample.failures >= FEWEST_FAILURES
    found = climb_profile(sample) if sample.is_right_censored else climb(sample, None)
    return _fit(sample, found, enough)


def _check(ages: Ages) -> None:
    low, high, entry, weight = ages.low_km, ages.high_km, ages.entry_km, ages.weight
    fine = bool((low <= high).all() and (low >= 0.0).all() and (high > 0.0).all())
    fine = fine and (entry is None or bool(((entry >= 0.0) & (entry <= low)).all()))
    if not fine or (weight is not None and not (weight >= 0.0).all()):
        raise ValueError("ages must satisfy 0 <= entry_km <= low_km <= high_km, 0 < high_km, and weights be >= 0")


def _fit(sample: Sample, found: Found, enough: BoolArray) -> WeibullFit:
    a, b, c = found.information
    with np.errstate(divide="ignore", invalid="ignore"):
        volume = a * c - b * b
        good = enough & found.converged & (volume > 0.0)
        figures = [found.log_scale, found.log_shape, c / volume, -b / volume, a / volume, found.log_likelihood]
    if not good.all():
        figures = [np.where(good, figure, np.nan) for figure in figures]
    why = np.where(enough, Outcome.NO_SINGLE_BEST.value, Outcome.TOO_FEW_FAILURES.value)
    log_scale, log_shape, scale_variance, covariance, shape_variance, value = figures
    return WeibullFit(
        log_scale,
        log_shape,
        scale_variance,
        covariance,
        shape_variance,
        value,
        sample.failures,
        sample.records,
        np.where(good, Outcome.FITTED.value, why),
    )


def posterior_mean(ages: Ages, fit: WeibullFit) -> WeibullFit:
    """A fit under a prior moved from the mode of the posterior to its mean, in log scale and log shape.

    Few failures leave a posterior with a long tail to long lives; its mode, taken over many kinds of part, is too
    pessimistic by some per cent. Lindley's approximation (1980) from the third derivatives of the log likelihood,
    at most `LARGEST_SHIFT` standard deviations.
    """
    low, high, group, entry, weight = ages.columns()
    sample = Sample.of(low, high, group, len(fit.log_scale), entry, weight)

    def hessian(scale_nudge: float, shape_nudge: float) -> FloatArray:
        here = log_likelihood(sample, fit.log_scale + scale_nudge, fit.log_shape + shape_nudge)
        return np.stack((here.mm, here.mk, here.kk))

    mmm, mmk, mkk = (hessian(NUDGE, 0.0) - hessian(-NUDGE, 0.0)) / (2.0 * NUDGE)
    kkk = (hessian(0.0, NUDGE)[2] - hessian(0.0, -NUDGE)[2]) / (2.0 * NUDGE)
    a, b, c = fit.scale_variance, fit.covariance, fit.shape_variance
    along_m, along_k = mmm * a + 2.0 * mmk * b + mkk * c, mmk * a + 2.0 * mkk * b + kkk * c
    most_m, most_k = LARGEST_SHIFT * np.sqrt(a), LARGEST_SHIFT * np.sqrt(c)
    return replace(
        fit,
        log_scale=fit.log_scale + np.clip(0.5 * (along_m * a + along_k * b), -most_m, most_m),
        log_shape=fit.log_shape + np.clip(0.5 * (along_m * b + along_k * c), -most_k, most_k),
    )


def log_gamma(x: FloatArray) -> FloatArray:
    """Natural logarithm of the gamma function of each positive element."""
    return np.asarray([math.lgamma(value) for value in x.ravel()]).reshape(x.shape)


def digamma(x: FloatArray) -> FloatArray:
    """Derivative of `log_gamma` at each positive element (Abramowitz & Stegun, 6.3.5 and 6.3.18), to 1e-13."""
    shift = 10
    steps = sum(1.0 / (x + k) for k in range(shift))
    y = 1.0 / (x + shift)
    square = y * y
    tail = square * (1 / 12 - square * (1 / 120 - square * (1 / 252 - square * (1 / 240 - square / 132))))
    return np.asarray(-np.log(y) - 0.5 * y - tail - steps)
