"""What a vehicle's parts are expected to cost over some years, in jobs and in risk, and how far that may vary.

The part is looked at every so often and renewed at the first look after it became major (a look misses that with
MISSED_FRACTION, the next does not) or when it fails, whichever comes first, at e = min(T, U). Over the horizon h

    jobs = C 1[e <= h] + g max(h - e, 0)
    risk = (C_f - C) 1[T <= U, T <= h] + e2 (km major) + e3 (km dangerous), both until min(e, h)

with C the planned job, C_f the job after a failure, g the long-run cost per km of the part that follows, e2 and e3 the
costs per km driven in those states. Mean and variance run over the possibilities; parts count as independent.
"""

from dataclasses import dataclass
from math import exp, log, log1p, sqrt

import numpy as np

from inspections.core.looking import MISSED_FRACTION, first_found_km
from inspections.core.types import CostBook, FloatArray, IntArray, Residuals
from scheduling.core.keep_or_replace import Span

_ROWS_AT_ONCE = 256
_NORMAL_90 = 1.2815515655446004
"""Standard normal quantile of 90 %: four in five lie within 80 % bounds."""

_LEAST_MINOR = 1e-6
"""Less than a millionth of a cent has no range."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Mean and variance of a sum over the whole horizon, in minor units and their square."""

    mean: float = 0.0
    variance: float = 0.0

    def __add__(self, other: "Moments") -> "Moments":
        return Moments(self.mean + other.mean, self.variance + other.variance)

    def a_year(self, years: float) -> Span:
        """The mean and 80 % range of the sum spread over so many years."""
        return spread(self.mean / years, self.variance / years**2)


@dataclass(frozen=True, slots=True)
class RunningCosts:
    """Over the whole horizon."""

    jobs: Moments
    risk: Moments

    def __add__(self, other: "RunningCosts") -> "RunningCosts":
        return RunningCosts(self.jobs + other.jobs, self.risk + other.risk)


@dataclass(frozen=True, slots=True)
class Use:
    """How the parts at hand are used; shape (N,)."""

    horizon_km: FloatArray
    """Clock km over the years that count."""
    look_km: FloatArray
    """Clock km between looks."""
    driven_per_clock_km: FloatArray
    """Km of the road for a km of the part's own clock."""
    first_look_km: FloatArray
    """Clock km until the next look; 0 where nobody ever looked: it is due."""


def spread(mean: float, variance: float) -> Span:
    """A sum that is never negative, as mean with 80 % range: lognormal with these moments."""
    if mean < _LEAST_MINOR or variance <= 0.0:
        return Span.exactly(max(mean, 0.0))
    sigma = sqrt(log1p(variance / mean**2))
    middle = log(mean) - sigma**2 / 2.0
    low, high = exp(middle - _NORMAL_90 * sigma), exp(middle + _NORMAL_90 * sigma)
    return Span(min(low, mean), mean, max(high, mean))


def running_costs(
    residuals: Residuals, costs: CostBook, slot: IntArray, use: Use, credit_minor_per_km: FloatArray
) -> RunningCosts:
    """Of parts with these residuals (N, P) at these slots (N,), all together; `credit_minor_per_km` has shape (S,)."""
    total = RunningCosts(Moments(), Moments())
    for first in range(0, len(slot), _ROWS_AT_ONCE):
        part = slice(first, first + _ROWS_AT_ONCE)
        total += _block(residuals, part, costs, slot[part], use, credit_minor_per_km)
    return total


def renewed_costs(costs_slot: IntArray, use: Use, credit_minor_per_km: FloatArray) -> RunningCosts:
    """Of parts just renewed: the long-run cost of a new one over the horizon."""
    return RunningCosts(Moments(float((credit_minor_per_km[costs_slot] * use.horizon_km).sum())), Moments())


def _block(
    residuals: Residuals, part: slice, costs: CostBook, slot: IntArray, use: Use, credit: FloatArray
) -> RunningCosts:
    every = use.look_km[part]
    seen = first_found_km(residuals.to_major_km[part], use.first_look_km[part], every)
    jobs, risk = np.zeros((2, len(slot))), np.zeros((2, len(slot)))
    for share, until in ((1.0 - MISSED_FRACTION, seen), (MISSED_FRACTION, seen + every[:, None])):
        for sums, values in zip((jobs, risk), _outcomes(residuals, part, until, costs, slot, use, credit), strict=True):
            weight = share * residuals.weight[part]
            sums += (np.vecdot(weight, values), np.vecdot(weight, values**2))
    return RunningCosts(_moments(jobs), _moments(risk))


def _moments(sums: FloatArray) -> Moments:
    return Moments(float(sums[0].sum()), float(np.maximum(sums[1] - sums[0] ** 2, 0.0).sum()))


def _outcomes(
    residuals: Residuals,
    part: slice,
    until: FloatArray,
    costs: CostBook,
    slot: IntArray,
    use: Use,
    credit: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Jobs and risk of each possibility (N, P) when it is renewed at `until`, or at failure."""
    failure, horizon = residuals.to_failure_km[part], use.horizon_km[part][:, None]
    end = np.minimum(failure, until)
    stop = np.minimum(end, horizon)
    renewed, failed = end <= horizon, (failure <= until) & (failure <= horizon)
    planned = costs.planned_minor[slot][:, None]
    dangerous_from = np.minimum(residuals.to_dangerous_km[part], stop)
    major_from = np.minimum(residuals.to_major_km[part], stop)
    pace = use.driven_per_clock_km[part][:, None]
    exposure = costs.dangerous_minor_per_km[slot][:, None] * (stop - dangerous_from)
    exposure += costs.major_minor_per_km[slot][:, None] * (dangerous_from - major_from)
    jobs = planned * renewed + credit[slot][:, None] * (horizon - stop)
    return jobs, (costs.failure_minor[slot][:, None] - planned) * failed + pace * exposure
