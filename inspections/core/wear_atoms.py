"""From a grid of weighed hypotheses to a few equally likely ones, with the distance to each level."""

from dataclasses import dataclass

import numpy as np

from inspections.core.crossing import distance_to_level, even_spread, normal_cdf
from inspections.core.types import FloatArray, IntArray
from inspections.core.wear_grid import ROUGHNESSES, Belief, Grid, Rows

SPREAD = even_spread()


@dataclass(frozen=True, slots=True)
class Atoms:
    """Equally likely possibilities now, shape (S, P), in fractions of limit and life."""

    wear: FloatArray
    variance: FloatArray
    rate: FloatArray
    roughness: FloatArray
    """Distance over which the wear would vary by as much as it is."""

    @property
    def wear_now(self) -> FloatArray:
        """Wear of each possibility; those that reach the limit late have worn least."""
        return np.maximum(self.wear - SPREAD.score * np.sqrt(self.variance), 0.0)

    def passed_fraction(self) -> FloatArray:
        """Chance, shape (S,), that the limit is already passed."""
        return np.asarray(normal_cdf((self.wear - 1.0) / np.sqrt(self.variance)).mean(axis=1))

    def distance_to(self, level: FloatArray) -> FloatArray:
        """Distance until the wear is at a level, shape (S,), increasing along each row of the result (S, P).

        A level of infinity is never reached.
        """
        remaining = level[:, None] - self.wear
        far = np.isinf(remaining)
        distance = distance_to_level(
            np.where(far, 1.0, remaining), self.variance, self.rate, self.roughness, SPREAD.score
        )
        return np.sort(np.where(far, np.inf, distance), axis=1)


def draw_atoms(grid: Grid, rows: Rows, belief: Belief) -> Atoms:
    """Equally likely possibilities from a belief whose arrays have shape (S, C * Q, R), brought forward to now.

    Systematic draws over rates (and cuts), then over roughness, then over the normal belief, on an even lattice.
    """
    row = np.arange(len(rows.noise_variance))[:, None]
    line, rate_at = _draw_hypotheses(belief, len(ROUGHNESSES))
    rate = grid.rate[rate_at]
    roughness = ROUGHNESSES[line % len(ROUGHNESSES)] ** 2 * rows.roughness_scale[:, None]
    since = rows.since_last[:, None] if rows.readings else 0.0
    return Atoms(
        wear=belief.mean[row, line, rate_at] + rate * since,
        variance=belief.variance[row, line, rate_at] + rate**2 * roughness * since,
        rate=rate,
        roughness=roughness,
    )


def _draw_hypotheses(belief: Belief, lines: int) -> tuple[IntArray, IntArray]:
    """Index of the roughness line and of the rate of each draw, both (S, P)."""
    series, all_lines, rates = belief.weight.shape
    weight = belief.weight.reshape(series, all_lines // lines, lines, rates)
    group = _search(weight.sum(axis=2).reshape(series, -1))
    cut, rate_at = group // rates, group % rates
    row = np.arange(series)[:, None]
    by_line = np.cumsum(weight[row, cut, :, rate_at], axis=2)
    below = SPREAD.other_share[:, None] * by_line[:, :, -1:] > by_line
    line = np.minimum(below.sum(axis=2), lines - 1)
    return cut * lines + line, rate_at


def _search(weight: FloatArray) -> IntArray:
    """Column that holds each share of a row's weight, (S, P): one sorted search over all rows laid end to end."""
    series, columns = weight.shape
    share = np.cumsum(weight, axis=1, dtype=float)
    share /= share[:, -1:]
    row = np.arange(series)[:, None]
    found = np.searchsorted((share + row).ravel(), (SPREAD.share + row).ravel()).reshape(series, -1)
    return np.asarray(np.minimum(found - row * columns, columns - 1))
