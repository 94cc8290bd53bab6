"""What the judge's speed is held against: its arithmetic written out plainly in NumPy, a chunk of parts at a time.

Nothing is checked, nothing sorted, every part has the same number of looks. `known_chance` is the least there is:
every part fitted at a known clock and seen sound, so that its record starts at age 0. `mixed_cost` does for parts as
bought and parts with a finding what the judge's formulas ask for (see `as_bought` and `lives_at_finding`), each on the
rows that need it, and goes on to next year's cost; it leaves out that a part which outlived every life starts anew.
"""

import numpy as np

from inspections.core.lives_at_finding import STAYING_EVERY
from inspections.core.looking import seen_steps
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.types import BoolArray, Cells, CostBook, FloatArray, IntArray, Looks

CHUNK = 128
HORIZON_KM = 10_000.0


def known_chance(lives: PlausibleLives, cells: Cells, looks: Looks, each: int, *, split: bool) -> FloatArray:
    """Chance of failure within 10,000 km; `each` looks a part; `split` the exponential as the judge does, or not."""
    chance = np.empty(len(cells.slot))
    clock, grade = looks.clock_km.reshape(-1, each), looks.grade.reshape(-1, each)
    steps = seen_steps()
    for first in range(0, len(chance), CHUNK):
        part = slice(first, first + CHUNK)
        slot, fitted = cells.slot[part], cells.fitted_clock_km[part]
        threshold = [row[slot] for row in lives.threshold_km]
        growth = [row[slot] for row in lives.growth.swapaxes(0, 1)] if split else threshold
        smoothing = lives.smoothing_km[slot, None]
        weight = np.repeat(lives.weight[None, :], len(slot), axis=0)
        for look in range(each):
            position = clock[part, look] - fitted
            step = steps[grade[part, look]]
            likelihood = step[:, :1] + np.zeros_like(weight)
            reach = np.exp((position - lives.centre_km[slot]) / lives.smoothing_km[slot])[:, None]
            for k in range(3):
                if split:
                    likelihood += step[:, k + 1, None] * reach / (growth[k] + reach)
                else:
                    passed = 1.0 / (1.0 + np.exp(np.minimum((threshold[k] - position[:, None]) / smoothing, 700.0)))
                    likelihood += step[:, k + 1, None] * passed
            weight *= likelihood
        driven = (cells.now_clock_km[part] - fitted)[:, None]
        left = [np.maximum(row - driven, 0.0) for row in threshold]
        weight *= left[3] > 0.0
        weight /= weight.sum(axis=1, keepdims=True)
        chance[part] = (weight * (left[3] <= HORIZON_KM)).sum(axis=1)
    return chance


def mixed_cost(lives: PlausibleLives, costs: CostBook, cells: Cells, looks: Looks, each: int) -> FloatArray:
    """Next year's cost of parts whose fitting may be unknown and which may have findings; `each` looks a part."""
    cost = np.empty(len(cells.slot))
    clock, grade = looks.clock_km.reshape(-1, each), looks.grade.reshape(-1, each)
    for first in range(0, len(cost), CHUNK):
        part = slice(first, first + CHUNK)
        unknown = np.isnan(cells.fitted_clock_km[part])
        start = np.where(unknown, clock[part, 0], cells.fitted_clock_km[part])
        since, driven = clock[part] - start[:, None], cells.now_clock_km[part] - start
        weight, left = _filtered(lives, cells.slot[part], unknown, start, since, grade[part], driven)
        horizon = 12.0 * cells.clock_km_per_month[part]
        cost[part] = _year(costs, cells.slot[part], weight, left, horizon[:, None])
    return cost


def _filtered(
    lives: PlausibleLives,
    slot: IntArray,
    unknown: BoolArray,
    start: FloatArray,
    since: FloatArray,
    grade: IntArray,
    driven: FloatArray,
) -> tuple[FloatArray, list[FloatArray]]:
    """Weight and distances left, (n, P) each."""
    threshold = [row[slot] for row in lives.threshold_km]
    growth = [row[slot] for row in lives.growth.swapaxes(0, 1)]
    weight = np.repeat(lives.weight[None, :], len(slot), axis=0)
    position = np.zeros_like(weight)
    found = (grade > 0).any(axis=1)
    start = np.minimum(start, lives.oldest_km[slot])
    for rows in np.flatnonzero(unknown & ~found), np.flatnonzero(found):
        if not len(rows):
            continue
        mine = [row[rows] for row in threshold]
        if not found[rows[0]]:
            position[rows], weight[rows] = _met(mine[3], lives.weight, lives.age_fraction, start[rows])
            for row in growth:
                row[rows] *= np.exp(-position[rows] / lives.smoothing_km[slot[rows], None])
            continue
        at = np.where(grade[rows] > 0, since[rows], -np.inf).max(axis=1)
        position[rows], weight[rows] = _put_at_finding(lives, slot[rows], mine, unknown[rows], start[rows], at)
        for k in range(3):
            exponent = (mine[k] - position[rows] - lives.centre_km[slot[rows], None]) / lives.smoothing_km[
                slot[rows], None
            ]
            growth[k][rows] = np.exp(np.clip(exponent, -690.0, 690.0))
    steps = seen_steps()
    for look in range(since.shape[1]):
        step = steps[grade[:, look]]
        likelihood = step[:, :1] + np.zeros_like(weight)
        reach = np.exp(np.clip((since[:, look] - lives.centre_km[slot]) / lives.smoothing_km[slot], -690.0, 690.0))
        for k in range(3):
            likelihood += step[:, k + 1, None] * reach[:, None] / (growth[k] + reach[:, None])
        weight *= likelihood
    position += driven[:, None]
    left = [np.maximum(row - position, 0.0) for row in threshold]
    weight *= left[3] > 0.0
    weight /= weight.sum(axis=1, keepdims=True)
    return weight, left


def _met(failure: FloatArray, chance: FloatArray, age_fraction: FloatArray, clock: FloatArray) -> list[FloatArray]:
    """Ages and weights of parts as bought."""
    gone = (failure <= clock[:, None]) @ chance
    rate = (gone / (np.minimum(failure, clock[:, None]) @ chance))[:, None]
    renewed = rate * np.minimum(failure, clock[:, None])
    weight = renewed + (failure > clock[:, None])
    met = age_fraction * weight
    age = np.where(met < renewed, met / np.where(rate > 0.0, rate, 1.0), clock[:, None])
    return [age, weight * chance]


def _put_at_finding(
    lives: PlausibleLives,
    slot: IntArray,
    threshold: list[FloatArray],
    unknown: BoolArray,
    start: FloatArray,
    since: FloatArray,
) -> list[FloatArray]:
    """Positions and weights of lives moved to a finding, every fourth left where it was."""
    stays = slice(None, None, STAYING_EVERY)
    span = threshold[3] - threshold[0]
    ago = lives.age_fraction * span
    onset = np.where(unknown, start, 0.0)[:, None] + since[:, None] - ago
    scale, shape = lives.scale * lives.sign_scale_km[slot, None], lives.sign_shape[slot, None]
    age = np.maximum(onset, 0.0) / scale
    density = np.where(onset > 0.0, shape / scale * age ** (shape - 1.0) * np.exp(-(age**shape)), 0.0)
    position = threshold[0] + ago - since[:, None]
    rows = np.flatnonzero(unknown)
    chance = lives.weight[stays] / lives.weight[stays].sum()
    at_start, staying = np.zeros((len(slot), len(chance))), np.repeat(chance[None, :], len(slot), axis=0)
    if len(rows):
        clock = start[rows]
        gone = (threshold[3][rows] <= clock[:, None]) @ lives.weight
        rate = gone / (np.minimum(threshold[3][rows], clock[:, None]) @ lives.weight)
        before = np.maximum(onset[rows] - clock[:, None], 0.0) / scale[rows]
        density[rows] += rate[:, None] * (np.exp(-(before ** shape[rows])) - np.exp(-(age[rows] ** shape[rows])))
        at_start[rows], staying[rows] = _met(threshold[3][rows, stays], chance, lives.age_fraction[stays], clock)
    moved = lives.weight / lives.weight[np.arange(len(lives.weight)) % STAYING_EVERY != 0].sum()
    weight = moved * span * density
    position[:, stays] = at_start
    weight[:, stays] = staying * (threshold[0][:, stays] - at_start > since[:, None])
    return [position, weight]


def _year(
    costs: CostBook, slot: IntArray, weight: FloatArray, left: list[FloatArray], horizon: FloatArray
) -> FloatArray:
    """Next year's cost, see `yearly_cost`."""
    _, major, dangerous, failure = left
    end = np.minimum(failure, horizon)
    in_danger = end - np.minimum(dangerous, end)
    in_major = end - np.minimum(major, end) - in_danger
    fails = (weight * (failure <= horizon)).sum(axis=1)
    due = (weight * (major <= horizon)).sum(axis=1)
    exposed = costs.major_minor_per_km[slot] * (weight * in_major).sum(axis=1)
    exposed += costs.dangerous_minor_per_km[slot] * (weight * in_danger).sum(axis=1)
    return np.asarray(costs.failure_minor[slot] * fails + costs.planned_minor[slot] * (due - fails) + exposed)
