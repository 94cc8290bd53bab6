"""The search behind `weibull`: Newton's method on the censored Weibull log likelihood, all groups in step.

With x = log age, m = log scale, k = log shape and z = e^k (x - m), the cumulative hazard is H = e^z and a group's
log likelihood is

    sum over known failures of (k - x + z)  -  sum H(low)  +  sum H(entry)  +  sum over intervals of log(1 - e^-D)

with D = H(high) - H(low). Its first and second derivatives in (m, k) follow from dz/dm = -e^k and dz/dk = z. Every
difference of hazards is taken through expm1 of log(high / low), so that narrow intervals keep their digits.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray

LOG_OF_NOTHING = -1e6
"""Stands for log 0: every hazard there is exactly 0, and products with it stay finite."""

LARGEST_LOG_HAZARD = 300.0
LARGEST_EXPONENT = 700.0
"""Near the largest whose exponential is a finite number; hazards are kept so small that their squares are finite."""

LOG_SHAPE_RANGE = (-4.0, 6.0)
"""A search that leaves shapes of 0.02 to 400 is following a likelihood without a highest point."""

MOST_STEPS = 100
LARGEST_STEP = 1.0
NEWTON_DONE = 1e-7
"""A Newton step this small is taken and ends the search: the error left is its square."""


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


class LogPrior(NamedTuple):
    """Normal beliefs about log scale and log shape of each group, with precisions 1 / sd^2."""

    log_scale: FloatArray
    scale_precision: FloatArray
    log_shape: FloatArray
    shape_precision: FloatArray


class Found(NamedTuple):
    """Where the search ended, arrays of shape (G,); `information` is minus the second derivatives (mm, mk, kk)."""

    log_scale: FloatArray
    log_shape: FloatArray
    information: tuple[FloatArray, FloatArray, FloatArray]
    log_likelihood: FloatArray
    converged: BoolArray


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


def _belief_height(belief: LogPrior, log_scale: FloatArray, log_shape: FloatArray) -> Height:
    m, k = log_scale - belief.log_scale, log_shape - belief.log_shape
    pm, pk = belief.scale_precision, belief.shape_precision
    return Height(-0.5 * (pm * m * m + pk * k * k), -pm * m, -pk * k, -pm, np.zeros_like(m), -pk)


def climb(sample: Sample, belief: LogPrior | None) -> Found:
    """The highest point of log likelihood plus log prior of each group, by Newton's method with a safe step.

    Where the surface is not hollow downwards the Hessian is shifted until it is; a step that gains less than a
    ten-thousandth of what its slope promises is cut to a third. So every step taken climbs, and a search can only
    end where the slope vanishes. A group whose search runs off to absurd shapes is left unconverged.
    """

    def height(m: FloatArray, k: FloatArray) -> Height:
        here = log_likelihood(sample, m, k)
        return here if belief is None else here.plus(_belief_height(belief, m, k))

    m, k = _start(sample, belief)
    here = height(m, k)
    step_m, step_k = _newton_step(here)
    converged = np.zeros(len(m), dtype=bool)
    walking = np.ones(len(m), dtype=bool) if belief is not None else sample.failures > 0.0
    for _ in range(MOST_STEPS):
        there = height(m + step_m, k + step_k)
        taken = walking & _climbs(here, there, step_m, step_k)
        m, k, here = np.where(taken, m + step_m, m), np.where(taken, k + step_k, k), there.where(taken, here)
        next_m, next_k = _newton_step(here)
        cut = np.where(walking, 1.0 / 3.0, 1.0)
        step_m, step_k = np.where(taken, next_m, cut * step_m), np.where(taken, next_k, cut * step_k)
        converged |= taken & (np.maximum(np.abs(next_m), np.abs(next_k)) <= NEWTON_DONE)
        walking &= ~converged & (k > LOG_SHAPE_RANGE[0]) & (k < LOG_SHAPE_RANGE[1])
        if not walking.any():
            break
    m, k = np.where(converged, m + step_m, m), np.where(converged, k + step_k, k)
    believed = 0.0 if belief is None else _belief_height(belief, m, k).value
    return Found(m, k, (-here.mm, -here.mk, -here.kk), here.value - believed, converged)


def _start(sample: Sample, belief: LogPrior | None) -> tuple[FloatArray, FloatArray]:
    """A scale that fits a guessed shape: failures over hazard, with the prior worth 1 / (shape * sd)^2 failures."""
    terms, between = sample.hazards, sample.intervals
    nothing = np.zeros_like(sample.failures)
    k = nothing + 0.5 if belief is None else belief.log_shape
    shape, spread = np.exp(k), terms.segments.spread
    reference = terms.segments.largest(terms.log_age)
    if between is not None:
        reference = np.maximum(reference, between.segments.largest(between.log_high))
    if belief is not None:
        reference = np.maximum(reference, belief.log_scale)
    seen = terms.segments.total(terms.weight * np.exp(spread(shape) * (terms.log_age - spread(reference))))
    if between is not None:
        seen = seen + 0.5 * between.segments.total(between.weight)
    worth = nothing if belief is None else belief.scale_precision / (shape * shape)
    believed = nothing if belief is None else worth * np.exp(shape * (belief.log_scale - reference))
    with np.errstate(divide="ignore", invalid="ignore"):
        m = reference + np.log((believed + seen) / (worth + sample.failures)) / shape
    return np.where(np.isfinite(m), m, nothing if belief is None else belief.log_scale), k


def _newton_step(here: Height) -> tuple[FloatArray, FloatArray]:
    """The step to the top of the local parabola, at most `LARGEST_STEP` long in either direction."""
    a, b, c = -here.mm, -here.mk, -here.kk
    middle, radius = 0.5 * (a + c), np.hypot(0.5 * (a - c), b)
    shift = np.maximum(0.0, 1e-3 * (np.abs(middle) + radius) - (middle - radius)) * (middle - radius <= 0.0)
    a, c = a + shift, c + shift
    with np.errstate(divide="ignore", invalid="ignore"):
        volume = a * c - b * b
        step_m, step_k = (c * here.m - b * here.k) / volume, (a * here.k - b * here.m) / volume
        cut = np.minimum(1.0, LARGEST_STEP / np.maximum(np.abs(step_m), np.abs(step_k)))
        return cut * step_m, cut * step_k


def _climbs(here: Height, there: Height, step_m: FloatArray, step_k: FloatArray) -> BoolArray:
    """Whether the step gained what it must (Armijo's rule), give or take the rounding of the sums."""
    promised = here.m * step_m + here.k * step_k
    return np.asarray(there.value - here.value >= 1e-4 * promised - 1e-12 * (1.0 + np.abs(here.value)))


def climb_profile(sample: Sample) -> Found:
    """Maximum likelihood from known failures and ages reached only: one equation a group, in u = 1 / shape.

    With y = log age less the group's largest, the scale drops out (Nelson 1982, chapter 8, section 3) and u solves

        u + mean of y over failures = sum y e^(y/u) / sum e^(y/u)

    whose two sides cross once between 0 and minus that mean. Newton's method, kept inside the bracket.
    """
    top = sample.hazards.segments.largest(sample.hazards.log_age)
    exact = np.maximum(sample.exact, 1e-300)
    mean = sample.exact_log_sum / exact
    deficit = top - mean
    solvable = (sample.exact > 0.0) & (deficit > 1e-12 * np.abs(top))
    moments = _Moments(sample.hazards, top)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        spread = np.sqrt(np.abs(sample.exact_square_sum / exact - mean * mean))
        u_start = np.minimum(np.maximum(0.78 * spread, 0.1 * deficit), deficit)
        solve = _solve_single if len(u_start) == 1 else _solve_profile
        u, log_s0, centre, variance, converged = solve(moments, deficit, u_start, solvable)
        m, k, shape = top + u * (log_s0 - np.log(exact)), -np.log(u), 1.0 / u
        bend, here = shape * exact, shape * (centre + top - m)
        information = (shape * bend, -bend * here, exact * (1.0 + here * here) + bend * shape * variance)
        value = exact * (shape * (mean - m) - 1.0 + k - mean)
        return Found(m, k, information, value, converged)


class _Moments:
    """Total, mean and variance of y = log age - top under the weights e^(y / u), for each group."""

    __slots__ = ("_first", "_grown", "_second", "_segments", "_weight", "_y")

    def __init__(self, terms: Hazards, top: FloatArray) -> None:
        self._segments, self._weight = terms.segments, terms.weight
        self._y = terms.log_age - terms.segments.spread(top)
        self._first = terms.weight * self._y
        self._second = self._first * self._y
        self._grown = np.empty_like(self._y)

    def of_single(self, u: float) -> tuple[float, float, float]:
        """Total, mean and variance of the only group."""
        grown = np.exp(np.multiply(self._y, 1.0 / u, out=self._grown), out=self._grown)
        s0 = float(self._weight @ grown)
        centre = float(self._first @ grown) / s0
        return s0, centre, float(self._second @ grown) / s0 - centre * centre

    def at(self, u: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Total, mean and variance of each group, shape (G,)."""
        grown = np.exp(np.multiply(self._y, self._segments.spread(1.0 / u), out=self._grown), out=self._grown)
        product = self._segments.product
        s0 = product(self._weight, grown)
        centre = product(self._first, grown) / s0
        return s0, centre, product(self._second, grown) / s0 - centre * centre


def _solve_profile(
    moments: _Moments, deficit: FloatArray, u: FloatArray, solvable: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, BoolArray]:
    """The root u of each solvable group, with log total, centre and variance there, and whether it was reached."""
    low, high = np.zeros_like(u), deficit
    for _ in range(MOST_STEPS):
        s0, centre, variance = moments.at(u)
        excess = u - deficit - centre
        low, high = np.where(excess < 0.0, u, low), np.where(excess > 0.0, u, high)
        step = excess / (1.0 + variance / (u * u))
        small = np.abs(step) <= NEWTON_DONE * u
        trial = u - step
        before, u = u, np.where(small | ((trial > low) & (trial < high)), trial, 0.5 * (low + high))
        if (small | ~solvable).all():
            break
    return u, np.log(s0) + (1.0 / u - 1.0 / before) * centre, centre, variance, solvable & small


def _solve_single(
    moments: _Moments, deficits: FloatArray, starts: FloatArray, solvable: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, BoolArray]:
    """`_solve_profile` for one group in plain floats: three times as fast as arrays of length 1."""
    deficit, u = float(deficits[0]), float(starts[0])
    low, high, small = 0.0, deficit, False
    before, s0, centre, variance = u, 1.0, 0.0, 0.0
    for _ in range(MOST_STEPS if solvable[0] else 0):
        s0, centre, variance = moments.of_single(u)
        excess = u - deficit - centre
        low, high = (u, high) if excess < 0.0 else (low, u)
        step = excess / (1.0 + variance / (u * u))
        small = abs(step) <= NEWTON_DONE * u
        before, u = u, u - step if small or low < u - step < high else 0.5 * (low + high)
        if small:
            break
    log_s0 = math.log(s0) + (1.0 / u - 1.0 / before) * centre if small else math.nan
    return np.array([u]), np.array([log_s0]), np.array([centre]), np.array([variance]), np.array([small])
