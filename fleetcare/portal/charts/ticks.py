"""Round marks for an axis, few enough to be read."""

import math
from datetime import date

_STEPS = (1.0, 2.0, 5.0, 10.0)


def round_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten from `low` to `high`, at most `most` of them.

    Raises ValueError unless low < high, both finite, and most is at least 2.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high and most >= 2):
        raise ValueError(f"no ticks between {low} and {high}")
    rough = (high - low) / (most - 1)
    magnitude = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * magnitude for factor in _STEPS if factor * magnitude >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)][:most]


def day_ticks(first: date, last: date, most: int = 6) -> list[date]:
    """First days of months or years from `first` to `last`, evenly apart, at most `most` of them; may be empty."""
    months = [date(first.year + n // 12, n % 12 + 1, 1) for n in range(first.month - 1, _months(first, last) + 1)]
    inside = [day for day in months if first <= day <= last]
    for step in (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200):
        chosen = [day for day in inside if ((day.year * 12) + day.month - 1) % step == 0]
        if len(chosen) <= most:
            return chosen
    return []


def _months(first: date, last: date) -> int:
    """Months from January of the first year to the last day's month."""
    return (last.year - first.year) * 12 + last.month - 1
