"""How old a part of unknown history already was when its record starts.

The vehicle has run `clock` km from new. Given the scale of its lives (which belongs to the vehicle and the make of the
part, and so is not changed by having survived), the original part is still there if its life X exceeds the clock, and
is then as old as the vehicle. Otherwise, with chance H = P(X <= clock), renewals have set in and the part met is one
of age below X, longer lives being met more often in proportion to their length (length-biased sampling: Cox, "Renewal
Theory", 1962, chapter 5; Feller, "An Introduction to Probability Theory", vol. 2, XI.4). The rate of renewals is taken
as even, H / E[min(X, clock)], so that

    weight(X) = 1[X > clock] + H min(X, clock) / E[min(X, clock)]

and an age spread evenly over min(X, clock). Far from new that is the stationary law, weight X / E[X]; close to new
nearly all parts are the original ones. The exact renewal density in place of the even rate was tried and changed no
forecast visibly.
"""

import numpy as np

from inspections.core.types import FloatArray


def ages_at_start(
    failure_km: FloatArray, age_fraction: FloatArray, clock_km: FloatArray, groups: int
) -> tuple[FloatArray, FloatArray]:
    """Age [km] when the record starts, and weight, of each life of each part; both of shape (n, P).

    `failure_km` (n, P) are the lives, in `groups` equal runs of one scale each; `age_fraction` (P,) says where in its
    span of possible ages each life is met; `clock_km` (n,) is the clock from new at the start. The weights of a scale
    average 1.
    """
    clock = clock_km[:, None]
    span = np.minimum(failure_km, clock)
    original = failure_km > clock
    by_scale = (len(clock_km), groups, failure_km.shape[1] // groups)
    gone = 1.0 - original.reshape(by_scale).mean(axis=2)
    rate = np.repeat(gone / np.maximum(span.reshape(by_scale).mean(axis=2), 1e-9), by_scale[2], axis=1)
    replaced = rate * span
    weight = replaced + original
    met_at = age_fraction * weight
    young = met_at < replaced
    age = np.where(young, met_at / np.where(young, rate, 1.0), clock)
    return age, weight
