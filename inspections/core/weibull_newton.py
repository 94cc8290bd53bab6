"""The search behind `weibull`: the highest point of each group's log likelihood, all groups in step.

Two ways: Newton's method in log scale and log shape for any kind of censoring, with or without a prior; and, where
there are only known failures and ages reached, Newton's method on the one equation left when the scale drops out.
"""

import math
from typing import NamedTuple, TypeVar

import numpy as np

from inspections.core.types import BoolArray, FloatArray
from inspections.core.weibull_sample import Hazards, Height, Sample, log_likelihood

T = TypeVar("T", float, FloatArray)

LOG_SHAPE_RANGE = (-4.0, 6.0)
"""A search that leaves shapes of 0.02 to 400 is following a likelihood without a highest point."""

START = 0.78
"""Standard deviation of log age to 1 / shape: the square root of 6 over pi, where nothing is censored."""

LEAST_DEFICIT = 1e-12
"""Failures that are all as old as the oldest record, up to rounding, leave the shape without bound."""

MOST_STEPS = 100
LARGEST_STEP = 1.0
NEWTON_DONE = 1e-8
"""A Newton step this small is taken and ends the search: the error left is its square."""


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
    moments = _Moments(sample.hazards, top)
    return _climb_single(sample, moments) if len(top) == 1 else _climb_many(sample, moments, top)


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

    def of_many(self, u: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Total, mean and variance of each group, shape (G,)."""
        grown = np.exp(np.multiply(self._y, self._segments.spread(1.0 / u), out=self._grown), out=self._grown)
        product = self._segments.product
        s0 = product(self._weight, grown)
        centre = product(self._first, grown) / s0
        return s0, centre, product(self._second, grown) / s0 - centre * centre


def _climb_many(sample: Sample, moments: _Moments, top: FloatArray) -> Found:
    exact = np.maximum(sample.exact, 1e-300)
    mean = sample.exact_log_sum / exact
    deficit = top - mean
    solvable = (sample.exact > 0.0) & (deficit > LEAST_DEFICIT * np.abs(top))
    low, high = np.zeros_like(top), deficit
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        u = np.clip(START * np.sqrt(np.abs(sample.exact_square_sum / exact - mean * mean)), 0.1 * deficit, deficit)
        for _ in range(MOST_STEPS):
            s0, centre, variance = moments.of_many(u)
            excess = u - deficit - centre
            low, high = np.where(excess < 0.0, u, low), np.where(excess > 0.0, u, high)
            step = excess / (1.0 + variance / (u * u))
            small = np.abs(step) <= NEWTON_DONE * u
            trial = u - step
            before, u = u, np.where(small | ((trial > low) & (trial < high)), trial, 0.5 * (low + high))
            if (small | ~solvable).all():
                break
        log_hazard = np.log(s0) + (1.0 / u - 1.0 / before) * centre - np.log(exact)
        m, k, a, b, c, value = _peak(exact, mean, top, u, np.log(u), log_hazard, centre, variance)
    return Found(m, k, (a, b, c), value, solvable & small)


def _climb_single(sample: Sample, moments: _Moments) -> Found:
    """`_climb_many` for one group in plain floats, twice as fast as with arrays of length 1."""
    top, exact = float(sample.hazards.segments.largest(sample.hazards.log_age)[0]), float(sample.exact[0])
    mean = float(sample.exact_log_sum[0]) / exact if exact > 0.0 else math.inf
    deficit = top - mean
    if not deficit > LEAST_DEFICIT * abs(top):
        lost = np.full(1, np.nan)
        return Found(lost, lost, (lost, lost, lost), lost, np.zeros(1, dtype=bool))
    low, high, small = 0.0, deficit, False
    spread = math.sqrt(abs(float(sample.exact_square_sum[0]) / exact - mean * mean))
    u = min(max(START * spread, 0.1 * deficit), deficit)
    for _ in range(MOST_STEPS):
        s0, centre, variance = moments.of_single(u)
        excess = u - deficit - centre
        low, high = (u, high) if excess < 0.0 else (low, u)
        step = excess / (1.0 + variance / (u * u))
        small = abs(step) <= NEWTON_DONE * u
        before, u = u, u - step if small or low < u - step < high else 0.5 * (low + high)
        if small:
            break
    log_hazard = math.log(s0 / exact) + (1.0 / u - 1.0 / before) * centre
    peak = np.array(_peak(exact, mean, top, u, math.log(u), log_hazard, centre, variance))[:, None]
    return Found(peak[0], peak[1], (peak[2], peak[3], peak[4]), peak[5], np.array([small]))


def _peak(exact: T, mean: T, top: T, u: T, log_u: T, log_hazard: T, centre: T, variance: T) -> tuple[T, ...]:
    """Log scale, log shape, information (mm, mk, kk) and log likelihood at the root; floats or arrays alike."""
    m, shape = top + u * log_hazard, 1.0 / u
    bend, here = exact * shape, (centre + top - m) * shape
    value = exact * ((mean - m) * shape - 1.0 - log_u - mean)
    return m, -log_u, bend * shape, -(bend * here), exact * (here * here + 1.0) + bend * shape * variance, value
