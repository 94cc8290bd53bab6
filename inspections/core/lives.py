"""What a fleet's own fitted parts say about how long each kind of part lasts, with the catalogue as prior.

A part that has not ended yet is evidence too: leaving it out makes lives look a quarter too short however many
records there are, since the long ones are those still running. So every fitted part counts, as what is really known
of its life (see `part_ages`): an age, a span of ages, or an age it has outlived.

Parts without a fitting date are learned from in rounds: their ages are spread by the lives fitted last, and the
lives fitted anew (the EM algorithm: Dempster, Laird & Rubin 1977). What the missing dates cost in certainty is put
into the variances (Louis 1982; the sandwich form of Huber 1967).

Meant to be run now and then, its lives taking the catalogue's place as the judge's belief. Evidence of the fleet
multiplied into every single decision instead made simulated fleets dearer, the more so the larger they were.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np

from inspections.core.part_ages import (
    NOTICED_SD_KM,
    NOTICED_WITHIN_KM,
    Ending,
    Histories,
    Rows,
    censored,
    dated,
    ended_share,
    ended_share_sd,
    undated,
)
from inspections.core.types import FloatArray, IntArray
from inspections.core.weibull import Band, Prior, WeibullFit, fit_weibull, log_gamma, posterior_mean
from inspections.core.weibull_sample import Sample, log_likelihood

PRIOR_SHAPE = 3.0
FEWEST_ENDED = 2
"""With fewer lives ended the answer is still given, but it is the catalogue's more than the fleet's."""

MOST_ROUNDS = 30
SETTLED = 1e-3
NUDGE = 1e-3


class Lesson(IntEnum):
    """What the fleet's history adds to the catalogue for one kind of part."""

    LEARNED = 0
    TOO_FEW_FAILURES = 1

    @property
    def words(self) -> str:
        """The lesson as a page says it."""
        return ("learned from this fleet", "too few failures to learn from")[self]


@dataclass(frozen=True, slots=True)
class LearnedLives:
    """Lives by kind of part, arrays of shape (G,); distances are clock km."""

    life_km: Band
    """Mean life with its interval."""
    life_cv: FloatArray
    """Coefficient of variation of single lives."""
    book_life_km: FloatArray
    fit: WeibullFit
    lesson: IntArray
    ended: IntArray
    renewed_early: IntArray
    in_service: IntArray
    reason_unknown: IntArray
    date_unknown: IntArray

    @property
    def factor(self) -> FloatArray:
        """Learned life over the catalogue's, shape (G,)."""
        return self.life_km.value / self.book_life_km


def book_prior(book_life_km: FloatArray, scale_sd: float = 0.4) -> Prior:
    """Belief before the fleet's own records: the catalogue's mean life (shape (G,), km), off by e^(+-scale_sd)."""
    mean_over_scale = np.exp(log_gamma(np.array([1.0 + 1.0 / PRIOR_SHAPE])))
    return Prior.around(np.asarray(book_life_km, dtype=float) / mean_over_scale, scale_sd, PRIOR_SHAPE)


def learn_lives(
    histories: Histories,
    book_life_km: FloatArray,
    prior: Prior | None = None,
    level: float = 0.8,
    start: WeibullFit | None = None,
) -> LearnedLives:
    """Mean life and spread of each kind from the fleet's records and the catalogue's life (shape (G,), km).

    Under `prior` (by default `book_prior`); estimates are posterior means and intervals, at `level`, of the normal
    approximation around the posterior mode. `start`, a fit to go out from, saves rounds.
    A kind without records comes back as its prior. Early renewal is taken to say nothing of the life that was left:
    where parts are renewed because they begin to go, record them as worn out.
    """
    book = np.asarray(book_life_km, dtype=float)
    kinds = len(book)
    fit = fit_filling_gaps(histories, book_prior(book) if prior is None else prior, start)
    ended = histories.count(histories.has_ended(), kinds)
    return LearnedLives(
        life_km=fit.mean_km(level),
        life_cv=coefficient_of_variation(fit.shape),
        book_life_km=book,
        fit=fit,
        lesson=np.where(ended >= FEWEST_ENDED, Lesson.LEARNED.value, Lesson.TOO_FEW_FAILURES.value),
        ended=ended,
        renewed_early=histories.count(histories.ending == Ending.RENEWED_EARLY, kinds),
        in_service=histories.count(histories.ending == Ending.IN_SERVICE, kinds),
        reason_unknown=histories.count(histories.ending == Ending.UNKNOWN, kinds),
        date_unknown=histories.count(histories.is_undated(), kinds),
    )


def coefficient_of_variation(shape: FloatArray) -> FloatArray:
    """Standard deviation of single lives over their mean, for each Weibull shape."""
    inverse = 1.0 / np.asarray(shape, dtype=float)
    return np.asarray(np.sqrt(np.expm1(log_gamma(1.0 + 2.0 * inverse) - 2.0 * log_gamma(1.0 + inverse))))


def fit_filling_gaps(histories: Histories, belief: Prior, start: WeibullFit | None = None) -> WeibullFit:
    """The Weibull law of each kind at the mean of its posterior, with variances that own up to what is missing.

    Missing dates are first filled in by `start`, if given.
    """
    kinds = len(belief.log_scale)
    share = ended_share(histories, kinds)
    noticed = histories.noticed_within(NOTICED_WITHIN_KM)
    known = rows = censored(noticed, dated(noticed), share)
    gaps = histories.is_undated().any()
    fit = start if gaps and start is not None else fit_weibull(known.ages, kinds, belief)
    for _ in range(MOST_ROUNDS if gaps else 0):
        rows = _filled(noticed, known, share, fit)
        before, fit = fit, fit_weibull(rows.ages, kinds, belief)
        if np.abs(fit.log_scale - before.log_scale).max() < SETTLED:
            break
    if not (gaps or (histories.ending == Ending.UNKNOWN).any() or histories.was_noticed().any()):
        return posterior_mean(rows.ages, fit)
    inverse: FloatArray = np.asarray(np.linalg.pinv(_fall_of_score(noticed, known, share, fit, belief)))
    missing = _variances(noticed, known, share, fit, inverse)
    centred = posterior_mean(rows.ages, _widened(fit, fit, missing, belief))
    return _widened(fit, centred, missing + _doubt(histories, share, fit, inverse), belief)


def _filled(histories: Histories, known: Rows, share: FloatArray, fit: WeibullFit) -> Rows:
    """All records as censored ages, those without a date spread by the given fit."""
    return known.and_also(censored(histories, undated(histories, fit.scale_km, fit.shape, share), share))


def _variances(
    histories: Histories, known: Rows, share: FloatArray, fit: WeibullFit, inverse: FloatArray
) -> FloatArray:
    """The variances of the equations that the fit really solves, shape (G, 2, 2).

    With score s of the filled-in ages and J the fall of its mean as the parameters rise (ages spread anew; `inverse`
    is J^-1), the variance is J^-1 V J^-T, where V is the information of filled ages less the spread of s within each
    record.
    """
    complete = _matrices(fit.scale_variance, fit.covariance, fit.shape_variance)
    spread = _scatter_within_records(histories, _filled(histories, known, share, fit), fit)
    return np.asarray(inverse @ (np.linalg.pinv(complete) - spread) @ inverse.transpose(0, 2, 1))


def _widened(plain: WeibullFit, fit: WeibullFit, variance: FloatArray, belief: Prior) -> WeibullFit:
    """The fit with given variances (G, 2, 2), no less than those of the `plain` one and no more than the belief's."""
    widest = np.stack((belief.log_scale_sd, belief.log_shape_sd)) ** 2.0
    now = np.stack((plain.scale_variance, plain.shape_variance))
    wider = np.clip(np.stack((variance[:, 0, 0], variance[:, 1, 1])) / now, 1.0, np.maximum(widest / now, 1.0))
    return replace(
        fit,
        scale_variance=now[0] * wider[0],
        covariance=plain.covariance * np.sqrt(wider[0] * wider[1]),
        shape_variance=now[1] * wider[1],
    )


def _matrices(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    return np.stack((np.stack((a, b), axis=-1), np.stack((b, c), axis=-1)), axis=-2)


def _scatter_within_records(histories: Histories, rows: Rows, fit: WeibullFit) -> FloatArray:
    """Weighted variance of the score over the rows of a record, summed over each kind's records: shape (G, 2, 2)."""
    ages, kind = rows.ages, rows.ages.group
    single = Sample.of(ages.low_km, ages.high_km, np.arange(len(kind)), len(kind), ages.entry_km, None)
    score = log_likelihood(single, fit.log_scale[kind], fit.log_shape[kind])
    weight = ages.columns()[4]

    def per_record(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(rows.record, weight * values, minlength=len(histories.kind)), dtype=float)

    def scatter(left: FloatArray, right: FloatArray) -> FloatArray:
        within = per_record(left * right) - per_record(left) * per_record(right)
        return np.asarray(np.bincount(histories.kind, within, minlength=len(fit.log_scale)), dtype=float)

    return _matrices(scatter(score.m, score.m), scatter(score.m, score.k), scatter(score.k, score.k))


def _doubt(histories: Histories, share: FloatArray, fit: WeibullFit, inverse: FloatArray) -> FloatArray:
    """Variance, shape (G, 2, 2), from what is only supposed of how worn parts were noticed and why others came off.

    Where a supposition may have moved the score by d, it moved the parameters by J^-1 d.
    """
    doubt = np.zeros_like(inverse)
    for moved in _moved_scores(histories, share, fit):
        shift = inverse @ moved[:, :, None]
        doubt = doubt + shift @ shift.transpose(0, 2, 1)
    return doubt


def _moved_scores(histories: Histories, share: FloatArray, fit: WeibullFit) -> Iterator[FloatArray]:
    """By how much each supposition about the records may have moved the score, each of shape (G, 2).

    How many removals of unknown reason were ends of life, and how soon a worn part was noticed where nobody looks.
    """

    def score(share: FloatArray, within_km: float) -> FloatArray:
        noticed = histories.noticed_within(within_km)
        return _score(_filled(noticed, censored(noticed, dated(noticed), share), share, fit), fit)

    if (histories.ending == Ending.UNKNOWN).any():
        step = NUDGE * share * (1.0 - share)
        by_share = score(share + step, NOTICED_WITHIN_KM) - score(share - step, NOTICED_WITHIN_KM)
        yield by_share * (ended_share_sd(histories, len(share)) / (2.0 * step))[:, None]
    if histories.was_noticed().any():
        nearer, farther = (NOTICED_WITHIN_KM + sign * NOTICED_SD_KM for sign in (-1.0, 1.0))
        yield 0.5 * (score(share, farther) - score(share, nearer))


def _score(rows: Rows, fit: WeibullFit) -> FloatArray:
    """Slope of each kind's log likelihood in log scale and log shape, shape (G, 2)."""
    low, high, group, entry, weight = rows.ages.columns()
    here = log_likelihood(Sample.of(low, high, group, len(fit.log_scale), entry, weight), fit.log_scale, fit.log_shape)
    return np.stack((here.m, here.k), axis=-1)


def _fall_of_score(histories: Histories, known: Rows, share: FloatArray, fit: WeibullFit, belief: Prior) -> FloatArray:
    """Minus the derivative of the filled-in score, log prior included, by central differences: shape (G, 2, 2)."""

    def score(scale_nudge: float, shape_nudge: float) -> FloatArray:
        near = replace(fit, log_scale=fit.log_scale + scale_nudge, log_shape=fit.log_shape + shape_nudge)
        pull_m = (near.log_scale - belief.log_scale) / belief.log_scale_sd**2.0
        pull_k = (near.log_shape - belief.log_shape) / belief.log_shape_sd**2.0
        return _score(_filled(histories, known, share, near), near) - np.stack((pull_m, pull_k), axis=-1)

    along_scale = score(-NUDGE, 0.0) - score(NUDGE, 0.0)
    along_shape = score(0.0, -NUDGE) - score(0.0, NUDGE)
    return np.stack((along_scale, along_shape), axis=-1) / (2.0 * NUDGE)
