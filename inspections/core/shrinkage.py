"""What kinds of part have in common: lives shrunk towards their group.

A fleet that drives gently, or a book that promises too much, moves all lives the same way; learning each kind alone
wastes that. The log factors f_g (life over the catalogue's) are taken as drawn from a normal law with an unknown
common value c and an unknown spread s, and each is known with its own variance v_g:

    f_g ~ N(c, s^2),   estimate_g ~ N(f_g, v_g),   c ~ N(0, common_sd^2),   s ~ half-normal(spread_sd)

Given s everything is normal and in closed form; s is integrated over a grid, so that few groups do not pretend to
know it (the hierarchical normal model: Lindley & Smith 1972; Gelman et al., "Bayesian Data Analysis", chapter 5).
"""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from inspections.core.lives import LearnedLives, book_prior, fit_filling_gaps, learn_lives
from inspections.core.part_ages import Histories
from inspections.core.types import FloatArray, IntArray
from inspections.core.weibull import Band, Prior, WeibullFit

COMMON_SD = 0.4
SPREAD_SD = 0.4
SPREAD_STEPS = 60
WIDEST_SPREAD = 4.0
"""Spreads are tried up to so many times what is believed."""

ROUNDS = 3
LEAST_EVIDENCE = 1e-3
"""Records worth less than this share of the prior are taken to say nothing."""


@dataclass(frozen=True, slots=True)
class Counts:
    """How much stands behind each group, arrays of shape (G,)."""

    records: IntArray
    ended: IntArray

    @classmethod
    def of(cls, histories: Histories, group: IntArray, groups: int) -> "Counts":
        """Counts of the records by their group, shape (N,)."""
        return cls(np.bincount(group, minlength=groups), np.bincount(group[histories.has_ended()], minlength=groups))


@dataclass(frozen=True, slots=True)
class Shrunk:
    """Log factors of G groups after shrinkage, with what they have in common."""

    log_factor: FloatArray
    log_factor_sd: FloatArray
    common_log_factor: float
    common_sd: float
    spread: float
    """How far single groups lie from the common factor, in natural logarithms (posterior mean)."""
    alone: FloatArray
    """The estimates before shrinkage; NaN where a group had nothing of its own to say."""
    counts: "Counts"

    def factor(self, level: float = 0.8) -> Band:
        """Factors on the catalogue's life with their intervals at `level`, shape (G,)."""
        return _band(self.log_factor, self.log_factor_sd, level)

    def common_factor(self, level: float = 0.8) -> Band:
        """The common factor with its interval at `level`, arrays of shape (1,): what an unseen group may expect."""
        return _band(np.array([self.common_log_factor]), np.array([self.common_sd]), level)


def _band(log_value: FloatArray, sd: FloatArray, level: float) -> Band:
    reach = NormalDist().inv_cdf(0.5 + level / 2.0) * sd
    return Band(np.exp(log_value), np.exp(log_value - reach), np.exp(log_value + reach))


def shrink(
    log_factor: FloatArray,
    variance: FloatArray,
    counts: Counts,
    common_sd: float = COMMON_SD,
    spread_sd: float = SPREAD_SD,
) -> Shrunk:
    """Each group's log factor moved towards the common one, the further the less it knows of its own.

    `log_factor` and `variance` have shape (G,); an infinite or NaN variance marks a group with no evidence, which
    comes back at the common factor. `counts` are passed on. `common_sd` and `spread_sd` are what is believed
    beforehand of the common factor and of the spread around it.
    """
    known = np.isfinite(variance) & (variance > 0.0) & np.isfinite(log_factor)
    precision = np.where(known, 1.0 / np.where(known, variance, 1.0), 0.0)
    own = np.where(known, log_factor, 0.0)
    steps = np.arange(0.5, SPREAD_STEPS, dtype=np.float64)[:, None]
    spread = np.asarray(steps * (WIDEST_SPREAD * spread_sd / SPREAD_STEPS), dtype=np.float64)
    trust = precision / (1.0 + precision * spread**2)
    total = trust.sum(axis=1) + common_sd**-2.0
    common = (trust * own).sum(axis=1) / total
    chance = _chance_of_spread(spread[:, 0], spread_sd, own, precision, trust, common, total, common_sd)
    pull = 1.0 / (1.0 + precision * spread**2)
    mean = pull * common[:, None] + (1.0 - pull) * own
    scatter = spread**2 * pull + pull**2 / total[:, None]
    value = chance @ mean
    common_value = float(chance @ common)
    return Shrunk(
        log_factor=value,
        log_factor_sd=np.sqrt(chance @ (scatter + (mean - value) ** 2)),
        common_log_factor=common_value,
        common_sd=float(np.sqrt(chance @ (1.0 / total + (common - common_value) ** 2))),
        spread=float(chance @ spread[:, 0]),
        alone=np.where(known, log_factor, np.nan),
        counts=counts,
    )


def _chance_of_spread(
    spread: FloatArray,
    spread_sd: float,
    own: FloatArray,
    precision: FloatArray,
    trust: FloatArray,
    common: FloatArray,
    total: FloatArray,
    common_sd: float,
) -> FloatArray:
    """Posterior chances of the spreads on the grid, shape (S,)."""
    misfit = (trust * own**2).sum(axis=1) - total * common**2
    widths = np.log1p(precision * spread[:, None] ** 2).sum(axis=1) + np.log(total * common_sd**2)
    log_chance = -0.5 * (misfit + widths + (spread / spread_sd) ** 2)
    chance = np.exp(log_chance - log_chance.max())
    return np.asarray(chance / chance.sum())


def own_evidence(fit: WeibullFit, prior: Prior) -> tuple[FloatArray, FloatArray]:
    """What the records alone say of each log scale, as distance from the prior's centre and variance, shape (G,).

    The prior on log scale is taken out of the normal approximation of the posterior, that on log shape stays. The
    variance is infinite where nothing is left.
    """
    volume = fit.scale_variance * fit.shape_variance - fit.covariance**2
    a, b, c = fit.shape_variance / volume, -fit.covariance / volume, fit.scale_variance / volume
    prior_precision = prior.log_scale_sd**-2.0
    moved = fit.log_scale - prior.log_scale
    left = a - prior_precision - b * b / c
    told = left > LEAST_EVIDENCE * prior_precision
    variance = np.where(told, 1.0 / np.where(told, left, 1.0), np.inf)
    return moved + np.where(told, variance, 0.0) * prior_precision * moved, variance


def learn_with_common_bias(
    histories: Histories, book_life_km: FloatArray, level: float = 0.8, start: WeibullFit | None = None
) -> tuple[LearnedLives, Shrunk]:
    """Lives of all kinds at once (`book_life_km` of shape (G,)), each leaning on what the kinds have in common.

    The kinds' own evidence gives the common factor and the spread around it; these become the prior of a last fit,
    so that a kind without a single failure is corrected too. `start`, a fit to go out from, saves rounds.
    """
    book = book_prior(book_life_km)
    counts = Counts.of(histories, histories.kind, len(book.log_scale))
    common, fit = 0.0, start
    for _ in range(ROUNDS):
        belief = replace(book, log_scale=book.log_scale + common)
        fit = fit_filling_gaps(histories, belief, fit)
        moved, variance = own_evidence(fit, belief)
        shrunk = shrink(moved + common, variance, counts)
        common = shrunk.common_log_factor
    spread = np.full_like(book.log_scale, np.hypot(shrunk.spread, shrunk.common_sd))
    prior = replace(book, log_scale=book.log_scale + common, log_scale_sd=spread)
    return learn_lives(histories, book_life_km, prior, level, fit), shrunk
