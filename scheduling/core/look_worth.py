"""What a look is worth at a part that nobody has seen for too long.

Its state is a guess, p_s = P(state s). Whoever waits unseeing pays W = min over the ways d of sum_s p_s J_s(d), with
J_s(d) the expected cost of waiting d given the state (see `waiting`). Whoever looks first sees grade g with
P(g | s) and then either waits in the way that is best given g, or does the job for C:

    L = sum_g min( min_d sum_s p_s P(g | s) J_s(d),  C sum_s p_s P(g | s) )

W - L is never negative: a look only adds choices. It is worth its minutes where it saves more than they cost. A part
that shows no sign before it fails has no state to see, and saves nothing.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import Cells, CostBook, Residuals
from scheduling.core.types import BoolArray, FloatArray, IntArray
from scheduling.core.waiting import waiting_by_group

STATES = 4
LEAST_BAD_CHANCE = 0.01
"""Below this chance of being minor or worse a look is not reckoned with: it would only confirm."""


@dataclass(frozen=True, slots=True)
class LookWorth:
    """What one look now saves at each of N parts; shape (N,)."""

    saving_minor: FloatArray
    """Before its own cost; never negative."""
    bad_chance_fraction: FloatArray
    """That it is minor or worse by now."""
    dangerous_chance_fraction: FloatArray


def unseen_too_long(
    grade: IntArray, since_look_km: FloatArray, look_interval_km: FloatArray, safety: BoolArray
) -> BoolArray:
    """Parts to look at again: last seen longer ago than their interval, or safety parts that nobody ever examined.

    All shapes (K,); `grade` is -1 where a part was never examined, distances are clock km.
    """
    return np.asarray(np.where(grade < 0, safety, since_look_km > look_interval_km))


def promising(residuals: Residuals, cells: Cells, look_interval_km: FloatArray, costs: CostBook, most: int) -> IntArray:
    """Of cells (N) the `most` of each vehicle at which a look promises most, ascending: a cheap guess at `look_worth`.

    It is what failing before the next look would cost beyond the job, and driving on in the worst states until then.
    """
    slot, state = cells.slot, _state_chances(residuals)
    fails = (residuals.weight * (residuals.to_failure_km <= look_interval_km[:, None])).sum(axis=1)
    danger = state[:, 3] * costs.dangerous_minor_per_km[slot] + state[:, 2] * costs.major_minor_per_km[slot]
    promise = fails * (costs.failure_minor[slot] - costs.planned_minor[slot]) + danger * look_interval_km
    order = np.lexsort((-promise, cells.vehicle))
    vehicle = cells.vehicle[order]
    place = np.arange(len(order)) - np.searchsorted(vehicle, vehicle)
    return np.asarray(np.sort(order[place < most]))


def look_worth(
    residuals: Residuals,
    cells: Cells,
    look_interval_km: FloatArray,
    costs: CostBook,
    credit_minor_per_km: FloatArray,
    seen_chances: FloatArray,
    found: BoolArray,
) -> LookWorth:
    """What a look saves at `cells` with these residuals (N, P).

    `look_interval_km` (N,) is the clock distance to the next look that is due anyway, `credit_minor_per_km` (S,) the
    long-run cost of a new part, `seen_chances` (4, 4) P(seen grade | state), `found` (N,) whether the part has a
    finding already, so that its job could be done now without another look.
    """
    state_chance = _state_chances(residuals)
    bad = np.flatnonzero(state_chance[:, 1:].sum(axis=1) >= LEAST_BAD_CHANCE)
    saving = np.zeros(len(state_chance))
    if len(bad):
        left = Residuals(*(getattr(residuals, name)[bad] for name in Residuals.__slots__))
        few = Cells(*(getattr(cells, name)[bad] for name in Cells.__slots__))
        by_way = _by_state(left, few, look_interval_km[bad], costs, credit_minor_per_km)
        planned = costs.planned_minor[few.slot]
        saving[bad] = _saving(state_chance[bad], by_way, planned, seen_chances, found[bad])
    return LookWorth(saving, state_chance[:, 1:].sum(axis=1), state_chance[:, 3])


def _states(left: Residuals) -> IntArray:
    passed = [left.to_minor_km <= 0.0, left.to_major_km <= 0.0, left.to_dangerous_km <= 0.0]
    return np.asarray(np.sum(passed, axis=0))


def _state_chances(left: Residuals) -> FloatArray:
    """P(state now), shape (N, 4)."""
    cells = len(left.weight)
    place = _states(left) + STATES * np.arange(cells)[:, None]
    chance = np.bincount(place.ravel(), left.weight.ravel(), STATES * cells)
    return np.asarray(chance.reshape(cells, STATES), dtype=np.float64)


def _by_state(
    left: Residuals, cells: Cells, interval: FloatArray, costs: CostBook, credit_minor_per_km: FloatArray
) -> FloatArray:
    """J_s(d), shape (N, 4, ways): of a state that cannot be, whatever; it is weighted with 0."""
    ways, _ = waiting_by_group(left, _states(left), STATES, cells.clock_km_per_month, interval, interval)
    slot = np.repeat(cells.slot, STATES)
    failed = ways.failure_fraction
    by_way = (
        failed * costs.failure_minor[slot][:, None]
        + (1.0 - failed) * costs.planned_minor[slot][:, None]
        + ways.dangerous_km * costs.dangerous_minor_per_km[slot][:, None]
        + ways.major_km * costs.major_minor_per_km[slot][:, None]
        - ways.driven_km * credit_minor_per_km[slot][:, None]
    )
    return np.asarray(by_way.reshape(len(left.weight), STATES, -1))


def _saving(
    state_chance: FloatArray, by_way: FloatArray, planned: FloatArray, seen_chances: FloatArray, found: BoolArray
) -> FloatArray:
    unseeing = np.einsum("ns,nsd->nd", state_chance, by_way).min(axis=1)
    before = np.minimum(unseeing, np.where(found, planned, np.inf))
    joint = state_chance[:, :, None] * seen_chances[None]
    best_wait = np.einsum("nsg,nsd->ngd", joint, by_way).min(axis=2)
    after = np.minimum(best_wait, joint.sum(axis=1) * planned[:, None]).sum(axis=1)
    return np.asarray(np.maximum(before - after, 0.0))


def worth_looking(
    saving_minor: FloatArray, minutes_minor: FloatArray, setting: IntArray, setting_minor: FloatArray
) -> BoolArray:
    """Which looks pay: each saves more than its own minutes, and those that share a setting-up also pay for that.

    `saving_minor` and `minutes_minor` have shape (N,); `setting` (N,) says which setting-up each look takes (the
    vehicle on its stands), `setting_minor` what each of them costs.
    """
    margin = saving_minor - minutes_minor
    together = np.bincount(setting, weights=np.maximum(margin, 0.0), minlength=len(setting_minor))
    return np.asarray((margin > 0.0) & (together > setting_minor)[setting])
