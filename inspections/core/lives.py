"""What a fleet's own fitted parts say about how long each kind of part lasts, with the catalogue as prior.

A part that has not ended yet is evidence too: leaving it out makes lives look a quarter too short however many
records there are, since the long ones are those still running. So every fitted part counts, as what is really known
of its life: an age, a span of ages, or an age it has outlived.

Two things may be missing. Where nobody knows *why* a part came off, it counts partly as ended and partly as renewed
early, in the proportion seen where the reason is known. Where nobody knows *when* it was fitted, its age when first
seen is spread over the ages that a renewed part could have at that reading (renewal theory: Cox 1962, chapter 5),
and the spread is sharpened with the lives learned, round by round (the EM algorithm: Dempster, Laird & Rubin 1977).
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray
from inspections.core.weibull import Ages, Band, Prior, WeibullFit, fit_weibull, log_gamma

PRIOR_SHAPE = 3.0
FEWEST_ENDED = 2
"""With fewer lives ended the answer is still given, but it is the catalogue's more than the fleet's."""

SHORTEST_LIFE_KM = 1.0
"""A part that ended at the reading at which it was fitted has run a kilometre at most."""

AGE_STEPS = 8
OLDEST_LOG_HAZARD = 7.0
"""Supposed ages reach to where one part in a thousand survives."""

ROUNDS = 12
SETTLED = 1e-3


class Ending(IntEnum):
    """How a fitted part's record ends."""

    IN_SERVICE = 0
    FAILED = 1
    """On the road or in use: it ended at the reading at which it came off."""
    WORN_OUT = 2
    """Found at the end of its life by looking: it ended somewhere between the last good look and the removal."""
    RENEWED_EARLY = 3
    """Came off while it would still have served."""
    UNKNOWN = 4


class Lesson(IntEnum):
    """What the fleet's history adds to the catalogue for one kind of part."""

    LEARNED = 0
    TOO_FEW_FAILURES = 1

    @property
    def words(self) -> str:
        """The lesson as a page says it."""
        return ("learned from this fleet", "too few failures to learn from")[self]


@dataclass(frozen=True, slots=True)
class Histories:
    """Fitted parts of a fleet, arrays of shape (N,); readings are of the part's clock, in km.

    `kind` is the row of the kind of part. `fitted_clock_km` is NaN where the part came with the vehicle, history
    unknown. `first_seen_clock_km` is the reading from which the fleet would have recorded its end: at fitting, or
    when the vehicle joined. `last_good_clock_km` is the last reading at which it was known to serve (never below
    first seen). `ended_clock_km` is the reading at removal, or the latest. `ending` holds values of `Ending`.
    """

    kind: IntArray
    fitted_clock_km: FloatArray
    first_seen_clock_km: FloatArray
    last_good_clock_km: FloatArray
    ended_clock_km: FloatArray
    ending: IntArray


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
    life = np.asarray(book_life_km, dtype=float)
    return Prior.around(life / float(np.exp(log_gamma(np.array([1.0 + 1.0 / PRIOR_SHAPE]))[0])), scale_sd, PRIOR_SHAPE)


def learn_lives(
    histories: Histories, book_life_km: FloatArray, prior: Prior | None = None, level: float = 0.8
) -> LearnedLives:
    """Mean life and spread of each kind from the fleet's records and the catalogue's life (shape (G,), km).

    Maximum a posteriori under `prior` (by default `book_prior`), intervals at `level` by the normal approximation.
    Raises ValueError where readings run backwards.
    """
    belief = book_prior(book_life_km) if prior is None else prior
    groups = len(belief.log_scale)
    fit = _fit_filling_gaps(histories, belief)

    def count(chosen: BoolArray) -> IntArray:
        return np.bincount(histories.kind[chosen], minlength=groups)

    ended = count(_has_ended(histories))
    return LearnedLives(
        life_km=fit.mean_km(level),
        life_cv=coefficient_of_variation(fit.shape),
        book_life_km=np.asarray(book_life_km, dtype=float),
        fit=fit,
        lesson=np.where(ended >= FEWEST_ENDED, Lesson.LEARNED.value, Lesson.TOO_FEW_FAILURES.value),
        ended=ended,
        renewed_early=count(histories.ending == Ending.RENEWED_EARLY),
        in_service=count(histories.ending == Ending.IN_SERVICE),
        reason_unknown=count(histories.ending == Ending.UNKNOWN),
        date_unknown=count(np.isnan(histories.fitted_clock_km)),
    )


def coefficient_of_variation(shape: FloatArray) -> FloatArray:
    """Standard deviation of single lives over their mean, for each Weibull shape."""
    inverse = 1.0 / np.asarray(shape, dtype=float)
    return np.asarray(np.sqrt(np.expm1(log_gamma(1.0 + 2.0 * inverse) - 2.0 * log_gamma(1.0 + inverse))))


def _has_ended(histories: Histories) -> BoolArray:
    return (histories.ending == Ending.FAILED) | (histories.ending == Ending.WORN_OUT)


def _fit_filling_gaps(histories: Histories, belief: Prior) -> WeibullFit:
    """The fit, repeated with the unknown ages spread by the last one until it stands still."""
    _check(histories)
    share = _ended_share(histories, len(belief.log_scale))
    undated = np.isnan(histories.fitted_clock_km)
    dated_ages = _ages(histories, _dated_rows(histories, ~undated), share)
    fit = fit_weibull(dated_ages, len(share), belief)
    for _ in range(ROUNDS if undated.any() else 0):
        spread = _spread_rows(histories, undated, fit, share)
        before, fit = fit, fit_weibull(dated_ages.and_also(_ages(histories, spread, share)), len(share), belief)
        if np.abs(fit.log_scale - before.log_scale).max() < SETTLED:
            break
    return fit


def _check(histories: Histories) -> None:
    fitted = np.where(np.isnan(histories.fitted_clock_km), 0.0, histories.fitted_clock_km)
    steps = (fitted, histories.first_seen_clock_km, histories.last_good_clock_km, histories.ended_clock_km)
    if not all(bool((early <= late).all()) for early, late in zip(steps, steps[1:], strict=False)):
        raise ValueError("readings must run fitted <= first seen <= last good <= ended")


def _ended_share(histories: Histories, groups: int) -> FloatArray:
    """Share of removals that were ends of life where the reason is known, a kind with few leaning on all kinds."""
    ended = np.bincount(histories.kind[_has_ended(histories)], minlength=groups)
    removed = ended + np.bincount(histories.kind[histories.ending == Ending.RENEWED_EARLY], minlength=groups)
    everywhere = (ended.sum() + 1.0) / (removed.sum() + 2.0)
    return np.asarray((ended + 2.0 * everywhere) / (removed + 2.0))


@dataclass(frozen=True, slots=True)
class _Rows:
    """Records with a supposed age when first seen and how far it is believed, shape (R,)."""

    record: IntArray
    age_km: FloatArray
    weight: FloatArray


def _dated_rows(histories: Histories, dated: BoolArray) -> _Rows:
    record = np.flatnonzero(dated)
    age = histories.first_seen_clock_km[record] - histories.fitted_clock_km[record]
    return _Rows(record, age, np.ones(len(record)))


def _spread_rows(histories: Histories, undated: BoolArray, fit: WeibullFit, ended_share: FloatArray) -> _Rows:
    """Each undated record at several supposed ages, weighted by what came of it if lives follow the given fit."""
    record = np.flatnonzero(undated)
    kind, ending = histories.kind[record][:, None], histories.ending[record][:, None]
    scale, shape = fit.scale_km[kind], fit.shape[kind]
    age, chance = _ages_when_first_seen(histories.first_seen_clock_km[record][:, None], scale, shape)
    good, end = _good_and_end(histories, record[:, None], age)
    outlived = ((good / scale) ** shape) - ((age / scale) ** shape)
    between = ((end / scale) ** shape) - ((good / scale) ** shape)
    within, beyond = _endings_told(ending, ended_share[kind], end ** (shape - 1.0))
    with np.errstate(divide="ignore"):
        told = np.log(chance) - outlived + np.log(within * -np.expm1(-between) + beyond * np.exp(-between))
    weight = np.exp(told - told.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    return _Rows(np.repeat(record, age.shape[1]), age.ravel(), weight.ravel())


def _endings_told(ending: IntArray, share: FloatArray, density: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How much each ending speaks for a life that ended by the last reading, and for one that ends beyond it."""
    within = np.select([ending == Ending.UNKNOWN, ending == Ending.RENEWED_EARLY, ending == Ending.FAILED], [share, 0.0, 0.0], 1.0)
    beyond = np.select(
        [ending == Ending.UNKNOWN, ending == Ending.WORN_OUT, ending == Ending.FAILED], [1.0 - share, 0.0, density], 1.0
    )
    return within, beyond


def _ages_when_first_seen(
    clock_km: FloatArray, scale_km: FloatArray, shape: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Ages that a part may have at a clock reading, with their chances; arguments (M, 1), results (M, AGE_STEPS + 1).

    The last column is the part fitted from new, whose chance is its survival S(clock). The rest share 1 - S(clock)
    in proportion to S(age) * F(clock - age): it has lasted so long, and there was a reason to renew by then.
    """
    node, share = np.polynomial.legendre.leggauss(AGE_STEPS)
    longest = np.minimum(clock_km, scale_km * OLDEST_LOG_HAZARD ** (1.0 / shape))
    age = 0.5 * (node + 1.0) * longest
    renewed = share * np.exp(-((age / scale_km) ** shape)) * -np.expm1(-(((clock_km - age) / scale_km) ** shape))
    original = np.exp(-((clock_km / scale_km) ** shape))
    total = renewed.sum(axis=1, keepdims=True)
    renewed = (1.0 - original) * np.divide(renewed, total, out=np.zeros_like(renewed), where=total > 0.0)
    return np.hstack((age, clock_km)), np.hstack((renewed, original))


def _good_and_end(histories: Histories, record: IntArray, age_km: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Age last known to serve and age at the last reading, for records of a supposed age when first seen."""
    first = histories.first_seen_clock_km[record]
    good = age_km + (histories.last_good_clock_km[record] - first)
    return good, np.maximum(age_km + (histories.ended_clock_km[record] - first), np.maximum(good, SHORTEST_LIFE_KM))


def _ages(histories: Histories, rows: _Rows, ended_share: FloatArray) -> Ages:
    """Rows as censored ages; a removal for an unknown reason gives two, one ended and one outlived."""
    kind, ending = histories.kind[rows.record], histories.ending[rows.record]
    good, end = _good_and_end(histories, rows.record, rows.age_km)
    low = np.where((ending == Ending.FAILED) | (ending == Ending.RENEWED_EARLY), end, good)
    high = np.where((ending == Ending.IN_SERVICE) | (ending == Ending.RENEWED_EARLY), np.inf, end)
    unknown = ending == Ending.UNKNOWN
    share = np.where(unknown, ended_share[kind], 1.0)
    ended = Ages(low, high, kind, rows.age_km, rows.weight * share)
    outlived = Ages(end, np.full_like(end, np.inf), kind, rows.age_km, rows.weight * (1.0 - share))
    return ended.and_also(outlived.chosen(unknown)) if unknown.any() else ended
