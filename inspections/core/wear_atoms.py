"""From a grid of weighed hypotheses to a few equally likely ones, with the distance to each level."""

from dataclasses import dataclass

import numpy as np

from inspections.core.crossing import AnyFloatArray, distance_to_level, even_spread, normal_cdf
from inspections.core.types import FloatArray, IntArray
from inspections.core.wear_grid import ROUGHNESSES, Belief, Float32Array, Grid, Rows

SPREAD = even_spread()
_SCORE = SPREAD.score.astype(np.float32)


@dataclass(frozen=True, slots=True)
class Atoms:
    """Equally likely possibilities now, shape (S, P), in fractions of limit and life."""

    wear: Float32Array
    variance: Float32Array
    rate: Float32Array
    roughness: Float32Array
    """Distance over which the wear would vary by as much as it is."""

    @property
    def wear_now(self) -> Float32Array:
        """Wear of each possibility; those that reach the limit late have worn least."""
        return np.asarray(np.maximum(self.wear - _SCORE * np.sqrt(self.variance), 0.0), dtype=np.float32)

    def passed_fraction(self) -> AnyFloatArray:
        """Chance, shape (S,), that the limit is already passed."""
        return np.asarray(normal_cdf((self.wear - 1.0) / np.sqrt(self.variance)).mean(axis=1))

    def distance_to(self, level: FloatArray) -> AnyFloatArray:
        """Distance until the wear is at a level, shape (S,), increasing along each row of the result (S, P).

        A level of infinity is never reached.
        """
        never = np.isinf(level)
        remaining = np.where(never, 1.0, level).astype(np.float32)[:, None] - self.wear
        distance = distance_to_level(remaining, self.variance, self.rate, self.roughness, _SCORE)
        distance[never] = np.inf
        distance.sort(axis=1)
        return distance


def draw_atoms(grid: Grid, rows: Rows, belief: Belief) -> Atoms:
    """Equally likely possibilities from a belief whose arrays have shape (S, C * Q, R), brought forward to now.

    Systematic draws over rates (and cuts), then over roughness, then over the normal belief, on an even lattice.
    """
    place, line, rate_at = _draw_hypotheses(belief, len(ROUGHNESSES))
    rate = grid.rate.astype(np.float32)[rate_at]
    roughness = (ROUGHNESSES**2).astype(np.float32)[line] * rows.roughness_scale.astype(np.float32)[:, None]
    since = (rows.since_last if rows.readings else np.zeros(len(line))).astype(np.float32)[:, None]
    return Atoms(
        wear=belief.mean.ravel()[place] + rate * since,
        variance=np.asarray(belief.variance.ravel()[place] + rate * rate * roughness * since, dtype=np.float32),
        rate=rate,
        roughness=roughness,
    )


def _draw_hypotheses(belief: Belief, lines: int) -> tuple[IntArray, IntArray, IntArray]:
    """Place of each draw in the belief's arrays end to end, its roughness line and its rate, all (S, P)."""
    series, all_lines, rates = belief.weight.shape
    by_rate = belief.weight.reshape(series, all_lines // lines, lines, rates).sum(axis=2).reshape(series, -1)
    group = _search(by_rate)
    cut, rate_at = group // rates, group % rates
    row = np.arange(series)[:, None]
    place = (row * all_lines + cut * lines) * rates + rate_at
    wanted = SPREAD.other_share.astype(np.float32) * by_rate[row, group]
    weight = belief.weight.ravel()
    line, reached = np.zeros_like(place), np.zeros_like(wanted)
    for index in range(lines - 1):
        reached += weight[place + index * rates]
        line += reached < wanted
    return place + line * rates, line, rate_at


def _search(weight: FloatArray) -> IntArray:
    """Column that holds each share of a row's weight, (S, P): one sorted search over all rows laid end to end."""
    series, columns = weight.shape
    share = np.cumsum(weight, axis=1, dtype=float)
    share /= share[:, -1:]
    row = np.arange(series)[:, None]
    found = np.searchsorted((share + row).ravel(), (SPREAD.share + row).ravel()).reshape(series, -1)
    return np.asarray(np.minimum(found - row * columns, columns - 1))
