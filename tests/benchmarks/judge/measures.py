"""What forecasts are worth: the measures of the judge's benchmark."""

import numpy as np

from inspections.core.types import BoolArray, FloatArray


def brier_skill(chance: FloatArray, happened: BoolArray) -> float:
    """1 - Brier score over that of the base rate alone (Brier, Monthly Weather Review 78, 1950): 1 is perfect."""
    base = happened.mean()
    return float(1.0 - ((chance - happened) ** 2).mean() / (base * (1.0 - base)))


def predicted_over_observed(chance: FloatArray, happened: BoolArray) -> float:
    """Sum of the chances over the number of events: 1 is calibrated in the large."""
    return float(chance.sum() / happened.sum())


def area_under_curve(chance: FloatArray, happened: BoolArray) -> float:
    """Chance that an event was forecast higher than a non-event (Mann & Whitney)."""
    rank = average_rank(chance)
    events = int(happened.sum())
    return float((rank[happened].sum() - events * (events + 1) / 2) / (events * (len(happened) - events)))


def rank_correlation(first: FloatArray, second: FloatArray) -> float:
    """Spearman's rank correlation."""
    return float(np.corrcoef(average_rank(first), average_rank(second))[0, 1])


def average_rank(values: FloatArray) -> FloatArray:
    """Ranks from 1, ties sharing their mean rank."""
    _, group, size = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(size)
    return (last - 0.5 * (size - 1))[group]
