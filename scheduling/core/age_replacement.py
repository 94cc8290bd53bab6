"""Replacing by distance alone: Barlow & Hunter (1960), "Optimum preventive maintenance policies", policy I.

With R the survival function of a Weibull life, C(T) = (planned R(T) + failure F(T)) / integral of R from 0 to T is the
long-run cost per km of replacing at T or at failure. Where the hazard rises and a failure costs more than the planned
job, h(T) times that integral less F(T) rises too, and C is least where it equals planned / (failure - planned).
For parts that cannot be looked at; where signs can be seen, looking is cheaper (see `long_run`).
"""

from dataclasses import dataclass
from math import gamma

import numpy as np

from scheduling.core.types import FloatArray

BISECTIONS = 100
TERMS = 200
FURTHEST = 30.0
"""Hazard (T / scale) ** shape beyond which the part has failed for certain (e^-30): no age is worth naming."""


@dataclass(frozen=True, slots=True)
class AgeReplacement:
    """The best age, shape (S,): infinite where running to failure is cheapest."""

    age_km: FloatArray
    cost_minor_per_km: FloatArray
    run_to_failure_minor_per_km: FloatArray


def age_replacement(
    scale_km: FloatArray, shape: FloatArray, planned_minor: FloatArray, failure_minor: FloatArray
) -> AgeReplacement:
    """The age at which replacing is cheapest in the long run, for Weibull lives of `scale_km` and `shape`.

    All arguments have shape (S,); costs are for one replacement, by plan and after a failure, both positive.
    """
    gammas = np.array([gamma(1.0 + 1.0 / float(each)) for each in shape])
    to_failure = failure_minor / (scale_km * gammas)
    finite = (shape > 1.0) & (failure_minor > planned_minor)
    extra = np.where(finite, failure_minor - planned_minor, 1.0)
    level = np.where(finite, planned_minor / extra, np.inf)
    hazard = _hazard_where(level, shape)
    age = np.where(np.isfinite(hazard), scale_km * hazard ** (1.0 / shape), np.inf)
    aged = _cost_at(hazard, scale_km, shape, planned_minor, failure_minor)
    return AgeReplacement(age, np.where(np.isfinite(hazard), aged, to_failure), to_failure)


def cost_per_km_at(
    age_km: FloatArray, scale_km: FloatArray, shape: FloatArray, planned_minor: FloatArray, failure_minor: FloatArray
) -> FloatArray:
    """C(T), shape (S,): the long-run cost per km of replacing at `age_km` or at failure."""
    return _cost_at((age_km / scale_km) ** shape, scale_km, shape, planned_minor, failure_minor)


def _cost_at(
    hazard: FloatArray, scale_km: FloatArray, shape: FloatArray, planned: FloatArray, failure: FloatArray
) -> FloatArray:
    at = np.minimum(hazard, FURTHEST)
    survive = np.exp(-at)
    return np.asarray((planned * survive + failure * (1.0 - survive)) / (scale_km * _mean_age(at, shape)))


def _hazard_where(level: FloatArray, shape: FloatArray) -> FloatArray:
    """Cumulative hazard H = (T / scale) ** shape at which h(T) integral R - F(T) reaches `level`, by bisection."""
    low, high = np.full_like(level, 1e-300), np.full_like(level, FURTHEST)
    reached = _rise(high, shape) >= level
    for _ in range(BISECTIONS):
        middle = np.where(high > 1e-3, 0.5 * (low + high), np.sqrt(low * high))
        below = _rise(middle, shape) < level
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(reached, 0.5 * (low + high), np.inf)


def _rise(hazard: FloatArray, shape: FloatArray) -> FloatArray:
    """h(T) integral of R - F(T), in units where the scale is 1."""
    rate = shape * hazard ** (1.0 - 1.0 / shape)
    return np.asarray(rate * _mean_age(hazard, shape) + np.expm1(-hazard))


def _mean_age(hazard: FloatArray, shape: FloatArray) -> FloatArray:
    """Integral of R from 0 to T for scale 1: the lower incomplete gamma function of 1/shape, by its power series.

    With a = 1/shape it is T exp(-H) (1 + H/(a+1) + H^2/((a+1)(a+2)) + ...), Abramowitz & Stegun 6.5.29; all terms
    are positive, so nothing cancels.
    """
    power = 1.0 / shape
    term, total = np.ones_like(hazard), np.ones_like(hazard)
    for number in range(1, TERMS):
        term = term * hazard / (power + number)
        total = total + term
    return np.asarray(hazard**power * np.exp(-hazard) * total)
