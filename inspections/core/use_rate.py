"""How much a vehicle is used, from its odometer readings: the mean rate drawn towards the typical one."""

from collections.abc import Sequence

TYPICAL_KM_PER_YEAR = 13_500.0
_PRIOR_YEARS = 0.5
"""The typical rate counts as half a year of readings."""
_DAYS_PER_YEAR = 365.25


def km_per_year(days: Sequence[int], distances_km: Sequence[float]) -> float:
    """The rate of use [km/year] from readings in the order of the road; the typical rate where there are too few."""
    if len(days) < 2:
        return TYPICAL_KM_PER_YEAR
    years = (days[-1] - days[0]) / _DAYS_PER_YEAR
    driven = distances_km[-1] - distances_km[0]
    return (driven + TYPICAL_KM_PER_YEAR * _PRIOR_YEARS) / (years + _PRIOR_YEARS)


def odometer_at(days: Sequence[int], distances_km: Sequence[float], first_day: int, day: int) -> float:
    """The distance [km] on a day after the last reading; from first use where there is no reading at all."""
    rate = km_per_year(days, distances_km) / _DAYS_PER_YEAR
    if not days:
        return max(day - first_day, 0) * rate
    return distances_km[-1] + max(day - days[-1], 0) * rate
