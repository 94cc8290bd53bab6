"""Fitted parts as censored ages: what is really known of each life, and how gaps in the records are filled.

Two things may be missing. Where nobody knows *why* a part came off, it counts partly as ended and partly as renewed
early, in the proportion seen where the reason is known. Where nobody knows *when* it was fitted, it stands at
several supposed ages at once, weighted by how well each explains what came of it under a given law of lives.
"""

from dataclasses import dataclass, replace
from enum import IntEnum
from itertools import pairwise

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray
from inspections.core.weibull import Ages

SHORTEST_LIFE_KM = 1.0
"""A part that ended at the reading at which it was fitted has run a kilometre at most."""

NOTICED_WITHIN_KM = 20_000.0
"""A part worn out of which no look is on record is taken to have been noticed within so much of its clock (common
practice, no source: something over a year's use)."""
NOTICED_SD_KM = 15_000.0
"""How far that may be off."""

USUAL_ENDED_SHARE = 0.75
"""Share of removals that are ends of life where no reason at all is on record (common practice, no source)."""
SHARE_WORTH = 2.0
"""Removals that the share of all kinds counts for beside a kind's own."""

AGE_STEPS = 8
OLDEST_LOG_HAZARD = 7.0
"""Supposed ages reach to where one part in a thousand survives."""


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


@dataclass(frozen=True, slots=True)
class Histories:
    """Fitted parts of a fleet, arrays of shape (N,); readings are of the part's clock, in km.

    `kind` is the row of the kind of part. `fitted_clock_km` is NaN where the part came with the vehicle, history
    unknown. `first_seen_clock_km` is the reading from which the fleet would have recorded its end: at fitting, or
    when the vehicle joined. `last_good_clock_km` is the last reading at which it was known to serve (first seen at
    least). `ended_clock_km` is the reading at removal, or the latest. `ending` holds values of `Ending`.
    """

    kind: IntArray
    fitted_clock_km: FloatArray
    first_seen_clock_km: FloatArray
    last_good_clock_km: FloatArray
    ended_clock_km: FloatArray
    ending: IntArray

    def __post_init__(self) -> None:
        fitted = np.where(np.isnan(self.fitted_clock_km), 0.0, self.fitted_clock_km)
        readings = (fitted, self.first_seen_clock_km, self.last_good_clock_km, self.ended_clock_km)
        if not all((early <= late).all() for early, late in pairwise(readings)):
            raise ValueError("readings must run fitted <= first seen <= last good <= ended")

    def is_undated(self) -> BoolArray:
        """Parts whose fitting nobody recorded, shape (N,)."""
        return np.isnan(self.fitted_clock_km)

    def has_ended(self) -> BoolArray:
        """Parts known to have come to the end of their life, shape (N,)."""
        return np.asarray((self.ending == Ending.FAILED) | (self.ending == Ending.WORN_OUT))

    def was_noticed(self) -> BoolArray:
        """Parts that came off worn out, or nobody knows why, and that no look on record saw before; shape (N,)."""
        worn = (self.ending == Ending.WORN_OUT) | (self.ending == Ending.UNKNOWN)
        return np.asarray(worn & (self.last_good_clock_km <= self.first_seen_clock_km))

    def noticed_within(self, distance_km: float) -> "Histories":
        """The same, those that `was_noticed` served until so far before they came off.

        Their end is not evenly likely all the way since they were first seen: that is true where looks come of
        themselves, and false where only a worn part makes somebody look. Taken so, lives come out far too short.
        """
        served = np.maximum(self.ended_clock_km - distance_km, self.last_good_clock_km)
        return replace(self, last_good_clock_km=np.where(self.was_noticed(), served, self.last_good_clock_km))

    def scaled(self, factor: FloatArray) -> "Histories":
        """The same with every record's readings multiplied, by factors of shape (N,)."""
        return replace(
            self,
            fitted_clock_km=self.fitted_clock_km * factor,
            first_seen_clock_km=self.first_seen_clock_km * factor,
            last_good_clock_km=self.last_good_clock_km * factor,
            ended_clock_km=self.ended_clock_km * factor,
        )

    def count(self, chosen: BoolArray, kinds: int) -> IntArray:
        """How many of the chosen records each kind has, shape (G,)."""
        return np.bincount(self.kind[chosen], minlength=kinds)


@dataclass(frozen=True, slots=True)
class Supposed:
    """Records with a supposed age when first seen and how far it is believed, shape (R,)."""

    record: IntArray
    age_km: FloatArray
    weight: FloatArray


def ended_share(histories: Histories, kinds: int) -> FloatArray:
    """Share of removals that were ends of life where the reason is known, a kind with few leaning on all kinds."""
    ended, removed = _ended_and_removed(histories, kinds)
    everywhere = (ended.sum() + SHARE_WORTH * USUAL_ENDED_SHARE) / (removed.sum() + SHARE_WORTH)
    return np.asarray((ended + SHARE_WORTH * everywhere) / (removed + SHARE_WORTH))


def ended_share_sd(histories: Histories, kinds: int) -> FloatArray:
    """How far `ended_share` may be off (standard deviation of the beta law it is the mean of), shape (G,)."""
    _, removed = _ended_and_removed(histories, kinds)
    share = ended_share(histories, kinds)
    return np.asarray(np.sqrt(share * (1.0 - share) / (removed + SHARE_WORTH + 1.0)))


def _ended_and_removed(histories: Histories, kinds: int) -> tuple[IntArray, IntArray]:
    """Ends of life, and with them the early renewals: all removals whose reason is known."""
    ended = histories.count(histories.has_ended(), kinds)
    return ended, ended + histories.count(histories.ending == Ending.RENEWED_EARLY, kinds)


def dated(histories: Histories) -> Supposed:
    """The records whose fitting is known, at the age they had when first seen."""
    record = np.flatnonzero(~histories.is_undated())
    age = histories.first_seen_clock_km[record] - histories.fitted_clock_km[record]
    return Supposed(record, age, np.ones(len(record)))


def undated(histories: Histories, scale_km: FloatArray, shape: FloatArray, share: FloatArray) -> Supposed:
    """The records whose fitting is unknown, each at `AGE_STEPS` + 1 supposed ages whose weights sum to 1.

    `scale_km` and `shape` (G,) are the Weibull law of each kind, `share` (G,) its `ended_share`. The weight of an
    age is its chance at that reading times the chance of what came of the part from there (Bayes' rule).
    """
    record = np.flatnonzero(histories.is_undated())
    kind = histories.kind[record][:, None]
    scale, steep = scale_km[kind], shape[kind]
    age, chance = _ages_when_first_seen(histories.first_seen_clock_km[record][:, None], scale, steep)
    good, end = _good_and_end(histories, record[:, None], age)
    # In logarithms throughout: a steep law makes every supposed age all but impossible, and yet one is the likeliest.
    with np.errstate(divide="ignore"):
        at_age, at_good, at_end = ((reading / scale) ** steep for reading in (age, good, end))
        within, beyond = _speaks_for(histories.ending[record][:, None], share[kind], (steep - 1.0) * np.log(end))
        outcome = np.logaddexp(within + np.log(-np.expm1(at_good - at_end)), beyond + at_good - at_end)
        told = np.log(chance) + at_age - at_good + outcome
    weight = np.exp(told - told.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    return Supposed(np.repeat(record, age.shape[1]), age.ravel(), weight.ravel())


def _speaks_for(ending: IntArray, share: FloatArray, log_density: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How much an ending speaks for a life over by the last reading, and for one that goes on to it or beyond; logs."""
    unknown, failed = ending == Ending.UNKNOWN, ending == Ending.FAILED
    never = np.full_like(share, -np.inf)
    within = np.select([unknown, failed | (ending == Ending.RENEWED_EARLY)], [np.log(share), never], 0.0)
    beyond = np.select([unknown, failed, ending == Ending.WORN_OUT], [np.log1p(-share), log_density, never], 0.0)
    return within, beyond


def _ages_when_first_seen(
    clock_km: FloatArray, scale_km: FloatArray, shape: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Ages a part may have at a reading of the clock, with their chances; from (M, 1) to (M, AGE_STEPS + 1).

    The last column is the part fitted from new, whose chance is its survival S(clock). The others share the rest in
    proportion to S(age) F(clock - age): it has lasted so long, and there was a reason to renew by then (the age of a
    renewal process, Cox 1962, chapter 5, with the renewal rate rising as F). Gauss-Legendre points.
    """
    point, share = np.polynomial.legendre.leggauss(AGE_STEPS)
    longest = np.minimum(clock_km, scale_km * OLDEST_LOG_HAZARD ** (1.0 / shape))
    age = 0.5 * (point + 1.0) * longest
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


@dataclass(frozen=True, slots=True)
class Rows:
    """Censored ages with the record each comes from, shape (R,)."""

    ages: Ages
    record: IntArray

    def and_also(self, other: "Rows") -> "Rows":
        """The rows of both."""
        return Rows(self.ages.and_also(other.ages), np.concatenate((self.record, other.record)))


def censored(histories: Histories, supposed: Supposed, share: FloatArray) -> Rows:
    """Supposed records as censored ages; a removal for an unknown reason gives two, one ended and one outlived.

    `share` (G,) is each kind's `ended_share`. Failures count at their age, worn-out parts between the last good look
    and the removal, early renewals as outliving the removal, parts in service as outliving their last good look.
    """
    kind, ending = histories.kind[supposed.record], histories.ending[supposed.record]
    good, end = _good_and_end(histories, supposed.record, supposed.age_km)
    low = np.where((ending == Ending.FAILED) | (ending == Ending.RENEWED_EARLY), end, good)
    high = np.where((ending == Ending.IN_SERVICE) | (ending == Ending.RENEWED_EARLY), np.inf, end)
    unknown = ending == Ending.UNKNOWN
    ended = np.where(unknown, share[kind], 1.0)
    rows = Rows(Ages(low, high, kind, supposed.age_km, supposed.weight * ended), supposed.record)
    if not unknown.any():
        return rows
    outlived = Ages(end, np.full_like(end, np.inf), kind, supposed.age_km, supposed.weight * (1.0 - ended))
    return rows.and_also(Rows(outlived.chosen(unknown), supposed.record[unknown]))
