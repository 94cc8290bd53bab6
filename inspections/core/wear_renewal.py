"""New parts that nobody wrote down: a series is cut where a renewal explains the readings better than wear does.

The part may have been renewed in any gap, uniformly within it. Every gap starts a filter of its own, and the chance
of each cut follows by summing over all ways of cutting before it: Bayesian change points (Barry & Hartigan 1992).
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import BoolArray, FloatArray
from inspections.core.wear_filter import Trace, renewal_log_evidence, run_filter
from inspections.core.wear_grid import Belief, Grid, Rows, belief_after_renewal, belief_at_first_event

UNRECORDED_FRACTION = 0.5
"""Chance that a part which should be worn out was renewed without a record (common practice, no source)."""
_UNRECORDED_AT_RANDOM = 0.03
"""The same for a part with no reason to be renewed, in one gap."""
_WORTH_A_LOOK_FRACTION = 0.1
_IMPOSSIBLE = 1e-30


@dataclass(frozen=True, slots=True)
class Cuts:
    """Belief under each last renewal, and its chance.

    Cut 0 is "never renewed", cut g "last renewed in the gap before reading g - 1"; G = n + 1.
    """

    belief: Belief
    """Arrays of shape (S, G * Q, R), weights summing to 1 over cuts and hypotheses."""
    chance: FloatArray
    """Shape (S, G)."""


def renewal_suspects(grid: Grid, rows: Rows, trace: Trace) -> BoolArray:
    """Which series, shape (S,), hold a reading that a new part would explain with a chance above a tenth."""
    suspect = np.zeros(len(rows.noise_variance), dtype=bool)
    chance = _renewal_chance(rows, trace)
    for reading in range(rows.readings):
        odds = renewal_log_evidence(grid, rows, reading) - trace.log_evidence[:, reading]
        suspect |= odds + np.log(chance[:, reading]) > np.log(_WORTH_A_LOOK_FRACTION)
    return suspect


def cut_at_renewals(grid: Grid, rows: Rows) -> Cuts:
    """Belief after all readings under every possible last renewal, weighed by its chance."""
    beliefs, traces = [], []
    for cut in range(rows.readings + 1):
        first = max(cut - 1, 0)
        belief = belief_after_renewal(grid, rows, first) if cut else belief_at_first_event(grid, rows)
        traces.append(run_filter(grid, rows, belief, first=first))
        beliefs.append(belief)
    chance = _cut_chances(rows, traces)
    weights = [belief.weight * chance[:, cut, None, None] for cut, belief in enumerate(beliefs)]
    together = Belief(
        mean=np.concatenate([belief.mean for belief in beliefs], axis=1),
        variance=np.concatenate([belief.variance for belief in beliefs], axis=1),
        weight=np.concatenate(weights, axis=1).astype(np.float32),
    )
    return Cuts(together, chance)


def _renewal_chance(rows: Rows, trace: Trace) -> FloatArray:
    """Chance, shape (S, n), of a renewal in the gap before each reading of a part that was still there."""
    chance = np.asarray(UNRECORDED_FRACTION * trace.worn_fraction + _UNRECORDED_AT_RANDOM)
    chance[:, 0] = np.where(rows.fitting_known, chance[:, 0], _IMPOSSIBLE)
    return chance


def _cut_chances(rows: Rows, traces: list[Trace]) -> FloatArray:
    """Chance of each last renewal, shape (S, G): a forward sum over the cuts before it."""
    renewed, upto = [], []
    for cut, trace in enumerate(traces):
        chance = _renewal_chance(rows, trace)
        kept = np.log1p(-chance)
        kept[:, :cut] = 0.0
        renewed.append(np.log(chance))
        upto.append(np.cumsum(trace.log_evidence + kept, axis=1))
    begun = [np.zeros(len(rows.noise_variance))]
    for cut in range(1, len(traces)):
        before = [
            begun[earlier] + (upto[earlier][:, cut - 2] if cut > 1 else 0.0) + renewed[earlier][:, cut - 1]
            for earlier in range(cut)
        ]
        begun.append(np.logaddexp.reduce(np.stack(before), axis=0))
    total = np.stack([start + sums[:, -1] for start, sums in zip(begun, upto, strict=True)], axis=1)
    return np.asarray(np.exp(total - np.logaddexp.reduce(total, axis=1)[:, None]))
