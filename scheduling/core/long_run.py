"""What a new part costs per clock km in the long run: the price of a km of life not yet used up.

Three policies are compared, and the cheapest counts: replace at a fixed distance (age replacement, Barlow & Hunter
1960), run to failure, and look at it regularly and replace it at the first look after it became major.
"""

import math
from functools import lru_cache

import numpy as np

from inspections.core.looking import MISSED_FRACTION
from inspections.core.types import CostBook, LifeBook, Residuals
from scheduling.core.types import FloatArray

STAGE_ENDS = (0.5, 0.85)
"""Shares of the way from the first sign to failure at which a part becomes major, and dangerous."""
PHASES = (0.25, 0.5, 0.75, 1.0)
"""A new part may be fitted anywhere between two looks: share of the interval left until its first."""
AGES = tuple(np.linspace(0.02, 0.98, 25))
"""Quantiles of the life at which replacement by age is tried."""


def new_part_residuals(book: LifeBook, points: int = 64) -> Residuals:
    """A new part of each slot as `points` equally likely lives, shape (S, points): Weibull, by its quantiles."""
    shape = np.array([weibull_shape(float(cv)) for cv in book.life_cv])
    scale = book.life_km / np.array([math.gamma(1.0 + 1.0 / each) for each in shape])
    quantile = (np.arange(points) + 0.5) / points
    failure = scale[:, None] * (-np.log1p(-quantile)) ** (1.0 / shape[:, None])
    sign = np.maximum(failure - book.pf_km[:, None], 0.0)
    major, dangerous = (sign + share * (failure - sign) for share in STAGE_ENDS)
    return Residuals(np.full_like(failure, 1.0 / points), sign, major, dangerous, failure)


def long_run_cost_per_km(new: Residuals, costs: CostBook, look_interval_km: FloatArray) -> FloatArray:
    """Expected cost of one life divided by its expected length, of the cheapest policy; shape (S,), minor per clock km.

    `new` describes a new part of each slot (S, P); `look_interval_km`, shape (S,), is the clock distance between
    looks. By the renewal reward theorem a cost per cycle over the length of a cycle is the long-run cost per km.
    """
    aged = [_at(new, costs, np.broadcast_to(age, new.weight.shape)) for age in _ages(new)]
    policies = [*aged, _at(new, costs, new.to_failure_km), _by_looks(new, costs, look_interval_km)]
    return np.asarray(np.min(policies, axis=0))


def _ages(new: Residuals) -> list[FloatArray]:
    order = np.argsort(new.to_failure_km, axis=1)
    reached = np.cumsum(np.take_along_axis(new.weight, order, axis=1), axis=1)
    sorted_km = np.take_along_axis(new.to_failure_km, order, axis=1)
    places = [np.argmax(reached >= quantile * reached[:, -1:], axis=1) for quantile in AGES]
    return [np.take_along_axis(sorted_km, place[:, None], axis=1) for place in places]


def _at(new: Residuals, costs: CostBook, until: FloatArray) -> FloatArray:
    cost, length = _cycle(new, costs, until)
    return cost / np.maximum(length, 1e-9)


def _by_looks(new: Residuals, costs: CostBook, interval_km: FloatArray) -> FloatArray:
    every = interval_km[:, None]
    total_cost, total_length = np.zeros(len(interval_km)), np.zeros(len(interval_km))
    for phase in PHASES:
        seen = every * (np.maximum(np.ceil(new.to_major_km / every - phase), 0.0) + phase)
        for share, until in ((1.0 - MISSED_FRACTION, seen), (MISSED_FRACTION, seen + every)):
            cost, length = _cycle(new, costs, until)
            total_cost += share * cost
            total_length += share * length
    return total_cost / np.maximum(total_length, 1e-9)


def _cycle(new: Residuals, costs: CostBook, until: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Expected cost and length of one life when possibility p is replaced at `until` (S, P), or at failure."""
    end = np.minimum(new.to_failure_km, until)
    failed = new.to_failure_km <= until
    not_dangerous = np.minimum(new.to_dangerous_km, end)
    dangerous = end - not_dangerous
    major = not_dangerous - np.minimum(new.to_major_km, end)
    cost = np.where(failed, costs.failure_minor[:, None], costs.planned_minor[:, None])
    cost += costs.dangerous_minor_per_km[:, None] * dangerous + costs.major_minor_per_km[:, None] * major
    return np.asarray((new.weight * cost).sum(axis=1)), np.asarray((new.weight * end).sum(axis=1))


@lru_cache(maxsize=512)
def weibull_shape(cv: float) -> float:
    """Shape of the Weibull distribution with this coefficient of variation (0.02 to 10; beyond, the nearest)."""
    low, high = 0.2, 80.0
    for _ in range(80):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if _weibull_cv(middle) > cv else (low, middle)
    return math.sqrt(low * high)


def _weibull_cv(shape: float) -> float:
    log_ratio = math.lgamma(1.0 + 2.0 / shape) - 2.0 * math.lgamma(1.0 + 1.0 / shape)
    return math.sqrt(math.expm1(log_ratio))
