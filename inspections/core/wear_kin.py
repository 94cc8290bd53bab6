"""How unevenly a part wears, as its kin tell it: parts of one kind at one vehicle, on the same roads, under one foot.

One part's readings say little about its roughness, since the gauge's noise hides it, but several parts' say more.
With the prior w_q over roughnesses and the evidence e_j(q) of series j's readings (the posterior over the prior),

    before its own readings series i is believed to be of roughness q with   w_q * product over kin j != i of e_j(q)

so that a series alone keeps the prior, and none counts its own readings twice. Series that look as if a new part had
been fitted unrecorded bear no witness: the jump would pass for roughness.
"""

import numpy as np

from inspections.core.types import FloatArray, IntArray
from inspections.core.wear_filter import run_filter
from inspections.core.wear_grid import ROUGHNESS_WEIGHTS, Grid, Rows, belief_at_first_event
from inspections.core.wear_renewal import renewal_suspects

_LEAST = 1e-12


def series_with_kin(kin: IntArray) -> IntArray:
    """Which series, ascending, have another of the same kin, shape (K,) of any integers."""
    _, of, count = np.unique(kin, return_inverse=True, return_counts=True)
    return np.flatnonzero(count[of] > 1)


def roughness_evidence(grid: Grid, rows: Rows) -> FloatArray:
    """Log evidence of each roughness by each series' readings, up to a constant, shape (S, Q); 0 of those in doubt."""
    belief = belief_at_first_event(grid, rows)
    trace = run_filter(grid, rows, belief)
    evidence = np.log(np.maximum(belief.weight.sum(axis=2, dtype=np.float64), _LEAST) / ROUGHNESS_WEIGHTS)
    evidence[renewal_suspects(grid, rows, trace)] = 0.0
    return np.asarray(evidence)


def weights_by_kin(kin: IntArray, evidence: FloatArray) -> FloatArray:
    """Belief in each roughness before a series' own readings, shape (K, Q), rows summing to 1.

    `kin`, shape (K,), says which series belong together; `evidence`, shape (K, Q), is the log evidence of each.
    """
    _, of = np.unique(kin, return_inverse=True)
    total = np.stack([np.bincount(of, column) for column in evidence.T], axis=1)
    others = total[of] - evidence
    weight = ROUGHNESS_WEIGHTS * np.exp(others - others.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))
