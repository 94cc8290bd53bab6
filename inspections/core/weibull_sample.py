"""Censored ages as the terms of the Weibull log likelihood, and that likelihood with its derivatives, by group.

With x = log age, m = log scale, k = log shape and z = e^k (x - m), the cumulative hazard is H = e^z and a group's
log likelihood is

    sum over known failures of (k - x + z)  -  sum H(low)  +  sum H(entry)  +  sum over intervals of log(1 - e^-D)

with D = H(high) - H(low) (Nelson 1982, chapters 8 and 9; left truncation: Klein & Moeschberger 2003, chapter 3). Its
first and second derivatives in (m, k) follow from dz/dm = -e^k and dz/dk = z. Every difference of hazards is taken
through expm1 of log(high / low), so that narrow intervals keep their digits.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray

LOG_OF_NOTHING = -1e6
"""Stands for log 0: every hazard there is exactly 0, and products with it stay finite."""

LARGEST_LOG_HAZARD = 300.0
LARGEST_EXPONENT = 700.0
"""Near the largest whose exponential is a finite number; hazards are kept so small that their squares are finite."""


class Segments:
    """Sums over the records of each group; the records are sorted by group."""

    __slots__ = ("counts", "groups", "present", "starts", "whole")

    def __init__(self, group: IntArray, groups: int) -> None:
        self.groups = groups
        if groups == 1:
            self.counts, self.starts = np.array([len(group)]), np.zeros(1, dtype=np.int64)[: len(group)]
            self.present, self.whole = self.counts > 0, True
            return
        self.counts = np.bincount(group, minlength=groups)
        self.present = self.counts > 0
        self.whole = bool(self.present.all())
        self.starts = (np.cumsum(self.counts) - self.counts)[self.present]

    def total(self, values: FloatArray) -> FloatArray:
        """Sum of `values`, shape (N,), in each group, shape (G,); 0 for a group without records."""
        if self.groups == 1:
            return np.array([values.sum()])
        if self.whole:
            return np.add.reduceat(values, self.starts)
        sums = np.zeros(self.groups)
        sums[self.present] = np.add.reduceat(values, self.starts) if len(values) else 0.0
        return sums

    def product(self, left: FloatArray, right: FloatArray) -> FloatArray:
        """Sum of `left * right` in each group, shape (G,)."""
        return np.array([left @ right]) if self.groups == 1 else self.total(left * right)

    def largest(self, values: FloatArray) -> FloatArray:
        """Largest of `values` in each group; `LOG_OF_NOTHING` for a group without records."""
        tops = np.full(self.groups, LOG_OF_NOTHING)
        if len(values):
            tops[self.present] = np.maximum.reduceat(values, self.starts)
        return tops

    def spread(self, per_group: FloatArray) -> FloatArray:
        """The group's value at each of its records, shape (N,)."""
        return per_group if self.groups == 1 else np.repeat(per_group, self.counts)


class Hazards(NamedTuple):
    """Terms linear in the cumulative hazard: log age, how often each counts (negative at entries)."""

    log_age: FloatArray
    weight: FloatArray
    segments: Segments


class Intervals(NamedTuple):
    """Lives that ended between two ages: log of the later, log of their ratio, weights."""

    log_high: FloatArray
    log_ratio: FloatArray
    weight: FloatArray
    segments: Segments


@dataclass(frozen=True, slots=True)
class Sample:
    """Censored ages reduced to the terms of the likelihood; per-group arrays have shape (G,)."""

    hazards: Hazards
    intervals: Intervals | None
    exact: FloatArray
    """Failures at a known age."""
    exact_log_sum: FloatArray
    exact_square_sum: FloatArray
    failures: FloatArray
    """All lives that ended, at a known age or between two."""
    records: IntArray
    is_right_censored: bool
    """Nothing but known failures and ages reached: the scale can be solved for in closed form."""

    @classmethod
    def of(
        cls,
        low: FloatArray,
        high: FloatArray,
        group: IntArray,
        groups: int,
        entry: FloatArray | None,
        weight: FloatArray | None,
    ) -> "Sample":
        """Sorts the records by group and takes each logarithm once."""
        if groups > 1 and np.any(group[1:] < group[:-1]):
            order = np.argsort(group, kind="stable")
            low, high, group = low[order], high[order], group[order]
            entry = None if entry is None else entry[order]
            weight = None if weight is None else weight[order]
        weight = np.ones(len(low)) if weight is None else weight
        segments = Segments(group, groups)
        log_low, known = _log(low), low == high
        counted, between = weight * known, (high < np.inf) & ~known
        exact = segments.total(counted)
        intervals = _intervals(low, high, weight, group, groups, between) if between.any() else None
        return cls(
            _hazards(log_low, weight, segments, entry, group),
            intervals,
            exact,
            segments.product(counted, log_low),
            segments.product(counted, log_low * log_low),
            exact if intervals is None else exact + intervals.segments.total(intervals.weight),
            segments.counts,
            entry is None and intervals is None,
        )


def _log(ages: FloatArray) -> FloatArray:
    if ages.all():
        return np.log(ages)
    with np.errstate(divide="ignore"):
        return np.maximum(np.log(ages), LOG_OF_NOTHING)


def _hazards(
    log_low: FloatArray, weight: FloatArray, segments: Segments, entry: FloatArray | None, group: IntArray
) -> Hazards:
    if entry is None:
        return Hazards(log_low, weight, segments)
    late = entry > 0.0
    both = np.concatenate((group, group[late]))
    order = np.argsort(both, kind="stable")
    logs = np.concatenate((log_low, _log(entry[late])))[order]
    signed = np.concatenate((weight, -weight[late]))[order]
    return Hazards(logs, signed, Segments(both[order], segments.groups))


def _intervals(
    low: FloatArray, high: FloatArray, weight: FloatArray, group: IntArray, groups: int, between: BoolArray
) -> Intervals:
    early, late = low[between], high[between]
    ratio = np.full(len(early), -LOG_OF_NOTHING)
    np.log1p((late - early) / np.where(early > 0.0, early, 1.0), out=ratio, where=early > 0.0)
    return Intervals(np.log(late), ratio, weight[between], Segments(group[between], groups))


class Height(NamedTuple):
    """Value and derivatives of an objective at one point of each group, arrays of shape (G,)."""

    value: FloatArray
    m: FloatArray
    k: FloatArray
    mm: FloatArray
    mk: FloatArray
    kk: FloatArray

    def plus(self, other: "Height") -> "Height":
        """Height of a sum of objectives."""
        return Height(*(mine + theirs for mine, theirs in zip(self, other, strict=True)))

    def where(self, chosen: BoolArray, other: "Height") -> "Height":
        """This height for the chosen groups, the other's for the rest."""
        return Height(*(np.where(chosen, mine, theirs) for mine, theirs in zip(self, other, strict=True)))


def log_likelihood(sample: Sample, log_scale: FloatArray, log_shape: FloatArray) -> Height:
    """Log likelihood of each group and its derivatives at one pair of parameters a group, shape (G,)."""
    shape = np.exp(log_shape)
    height = _hazard_height(sample.hazards, log_scale, shape)
    spread = shape * (sample.exact_log_sum - sample.exact * log_scale)
    value = sample.exact * log_shape - sample.exact_log_sum + spread
    pull = -sample.exact * shape
    nothing = np.zeros_like(shape)
    height = height.plus(Height(value, pull, sample.exact + spread, nothing, pull, spread))
    if sample.intervals is None:
        return height
    return height.plus(_interval_height(sample.intervals, log_scale, shape))


def _hazard_height(terms: Hazards, log_scale: FloatArray, shape: FloatArray) -> Height:
    spread, total = terms.segments.spread, terms.segments.total
    z = spread(shape) * (terms.log_age - spread(log_scale))
    hazard = terms.weight * np.exp(np.minimum(z, LARGEST_LOG_HAZARD))
    first = hazard * z
    h0, h1, h2 = total(hazard), total(first), total(first * z)
    return Height(-h0, shape * h0, -h1, -shape * shape * h0, shape * (h0 + h1), -(h1 + h2))


def _interval_height(terms: Intervals, log_scale: FloatArray, shape: FloatArray) -> Height:
    """The sum of log(1 - exp(-D)), by the ratios of D's derivatives to D, which stay finite as D vanishes."""
    spread, total, weight = terms.segments.spread, terms.segments.total, terms.weight
    steep = spread(shape)
    z = steep * (terms.log_high - spread(log_scale))
    gap = steep * terms.log_ratio
    with np.errstate(over="ignore"):
        lag = gap / np.expm1(gap)
    difference = -np.exp(np.minimum(z, LARGEST_LOG_HAZARD)) * np.expm1(-gap)
    with np.errstate(divide="ignore"):
        value = np.log(-np.expm1(-difference))
    share = np.ones_like(difference)
    np.divide(difference, np.expm1(np.minimum(difference, LARGEST_EXPONENT)), out=share, where=difference > 0.0)
    tilt = weight * share
    bend = tilt * (difference + share)
    slope = z + lag
    curve = z * (z + 1.0) + lag * (2.0 * z - gap + 1.0)
    t0, t1, b0, b1 = total(tilt), total(tilt * slope), total(bend), total(bend * slope)
    return Height(
        total(weight * value),
        -shape * t0,
        t1,
        shape * shape * (t0 - b0),
        shape * (b1 - t0 - t1),
        total(tilt * curve - bend * slope * slope),
    )
