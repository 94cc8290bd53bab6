"""How old a part of unknown history already was when its record starts.

The vehicle has run `clock` km from new. The original part is still there if its life X exceeds the clock, and is then
as old as the vehicle. Otherwise, with chance H = P(X <= clock), renewals have set in and the part met is one of age
below X, longer lives being met more often in proportion to their length (length-biased sampling: Cox, "Renewal
Theory", 1962, chapter 5; Feller, "An Introduction to Probability Theory and Its Applications", vol. 2, XI.4). The
rate of renewals is taken as even, H / E[min(X, clock)], so that

    weight(X) = 1[X > clock] + H min(X, clock) / E[min(X, clock)]

and a renewed part's age is spread evenly over min(X, clock). Far from new that is the stationary law, weight
X / E[X]; close to new nearly all parts are the original ones. Two refinements were tried and left out, since they
did not improve the forecasts: the exact renewal density in place of the even rate, and weights taken within lives of
one scale (a vehicle that is hard on its parts has lived through more of them).
"""

import numpy as np

from inspections.core.types import FloatArray

_SHORTEST_KM = 1e-6
_NEVER_PER_KM = 1e-300


def renewal_rate(failure_km: FloatArray, chance: FloatArray, clock_km: FloatArray) -> FloatArray:
    """Renewals for each clock km so far, shape (n,), of parts with lives `failure_km` (n, P) of weights `chance`."""
    original = np.vecdot((failure_km > clock_km[:, None]).astype(np.float64), chance)
    return _rate(original, np.vecdot(np.minimum(failure_km, clock_km[:, None]), chance))


def _rate(original_fraction: FloatArray, mean_span_km: FloatArray) -> FloatArray:
    return np.asarray(np.maximum(1.0 - original_fraction, 0.0) / np.maximum(mean_span_km, _SHORTEST_KM))


def ages_at_start(
    failure_km: FloatArray, chance: FloatArray, age_fraction: FloatArray, clock_km: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Age [km] when the record starts, and weight, of each life of each part; both of shape (n, P).

    `failure_km` (n, P) are the lives of new parts and `chance` (P,) their weights, which sum to 1; `age_fraction` (P,)
    says where in its span of possible ages each life is met; `clock_km` (n,) is the clock from new at the start.
    The weights of a part sum to 1; no age reaches the life's end.
    """
    clock = clock_km[:, None]
    span, original = np.minimum(failure_km, clock), (failure_km > clock).astype(np.float64)
    rate = _rate(np.vecdot(original, chance), np.vecdot(span, chance))[:, None]
    weight = np.multiply(span, rate, out=span)
    weight += original
    # Past its share of renewals a life is met as an original part, as old as the vehicle.
    age = age_fraction * weight
    age *= 1.0 / np.maximum(rate, _NEVER_PER_KM)
    np.minimum(age, clock, out=age)
    weight *= chance
    return age, weight
