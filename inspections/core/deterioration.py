"""What the possibilities of a part's life say: its state now, when it will be worse, when it will fail.

Distances are clock km (see `types`); months are clock km over the part's own clock km per month.
"""

import numpy as np

from inspections.core.batches import batches
from inspections.core.life_filter import distances_km, residuals_by_life_filter
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.types import (
    GRADES,
    NEVER_LOOKED,
    Cells,
    FloatArray,
    IntArray,
    LifeBook,
    Looks,
    Residuals,
)

_FAILED = 4


def failure_chance_fraction(residuals: Residuals, cells: Cells, months: float) -> FloatArray:
    """Chance, shape (K,), that each part fails within so many months of its vehicle's own use."""
    return residuals.failure_chance_fraction(months * cells.clock_km_per_month)


def grade_chance_fraction(residuals: Residuals) -> FloatArray:
    """Chance that each part is now sound, minor, major, dangerous: shape (K, 4), rows sum to 1."""
    reached = [np.vecdot(residuals.weight, (each <= 0.0).astype(np.float64)) for each in distances_km(residuals)[:3]]
    one, none = np.ones(len(residuals.weight)), np.zeros(len(residuals.weight))
    return -np.diff(np.column_stack([one, *reached, none]), axis=1)


def expected_km_to_next_grade(residuals: Residuals, last_grade: IntArray) -> FloatArray:
    """Mean clock km, shape (K,), until each part is worse than it was last seen, failure after dangerous.

    `last_grade` (K,); a part never looked at counts from sound. 0 where the part is surely worse already.
    """
    rank = np.where(last_grade == NEVER_LOOKED, 0, last_grade)
    mean = np.column_stack([np.vecdot(residuals.weight, each) for each in distances_km(residuals)])
    return np.asarray(mean[np.arange(len(rank)), rank])


def km_quantiles(weight: FloatArray, distance_km: FloatArray, fractions: tuple[float, ...]) -> FloatArray:
    """Distances [km] within which the given fractions (0 to 1) of the possibilities lie, shape (K, len(fractions)).

    `weight` and `distance_km` are of shape (K, P), as in `Residuals`. The empirical quantile: the least distance whose
    chance reaches the fraction.
    """
    order = np.argsort(distance_km, axis=1, kind="stable")
    chance = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    last = weight.shape[1] - 1
    enough = [np.minimum((chance < fraction * chance[:, -1:]).sum(axis=1), last) for fraction in fractions]
    return np.take_along_axis(distance_km, np.take_along_axis(order, np.column_stack(enough), axis=1), axis=1)


def months_to_failure(residuals: Residuals, cells: Cells, fractions: tuple[float, ...] = (0.1, 0.5, 0.9)) -> FloatArray:
    """Months of the vehicle's own use until failure at the given fractions (0 to 1), shape (K, len(fractions))."""
    distance = km_quantiles(residuals.weight, residuals.to_failure_km, fractions)
    return np.asarray(distance / cells.clock_km_per_month[:, None])


def months_to_grade(
    residuals: Residuals, cells: Cells, grade: IntArray, fractions: tuple[float, ...] = (0.1, 0.5, 0.9)
) -> FloatArray:
    """Months until each part would be graded `grade` (K,) or worse, shape (K, len(fractions)).

    Grades to come are 1 to 3, and 4 for failure (ValueError otherwise).
    """
    if np.any((grade < 1) | (grade > _FAILED)):
        raise ValueError("The grade to come is minor, major or dangerous (1 to 3), or failure (4).")
    distance = np.stack(distances_km(residuals))[grade - 1, np.arange(len(grade))]
    return np.asarray(km_quantiles(residuals.weight, distance, fractions) / cells.clock_km_per_month[:, None])


def prior_grade_mix(book: LifeBook, cells: Cells, *, lives: PlausibleLives | None = None) -> FloatArray:
    """Chance of sound, minor, major, dangerous for parts that nobody has looked at, shape (K, 4).

    From the fitting or, where that is unknown, from the vehicle's own clock; run to failure, nothing renewed early.
    """
    known = PlausibleLives.of(book) if lives is None else lives
    none = np.zeros(0, dtype=np.int64)
    unseen = Looks(none, np.zeros(0), none)
    mix = np.empty((len(cells.slot), len(GRADES)))
    for where, some, looks in batches(cells, unseen):
        mix[where] = grade_chance_fraction(residuals_by_life_filter(book, some, looks, lives=known))
    return mix
