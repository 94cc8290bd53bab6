"""Invented fuel books: full and partial fills, missed ones, wrong amounts, winter, changing trips, and a hidden rise.

How this world differs from the watcher's model: consumption is made of trips (short ones burn half as much again),
winter is a dent of its own shape rather than a cosine, the weather lingers from week to week, tanks are never filled
to the same mark (so one interval's surplus is the next one's lack), and one fill in fifty is noted with a wrong
amount.
"""

from dataclasses import dataclass, fields

import numpy as np

from inspections.core.fuel import FuelFills, consumption_between_fills
from inspections.core.fuel_rise import FuelTrend, fuel_trends
from inspections.core.types import FloatArray

RISE_FRACTION = 0.12
_FILLS_PER_YEAR = 35
_YEARS = 3.0


@dataclass(frozen=True)
class FuelBook:
    """Fills of many vehicles and the day on which each one's consumption really rose (infinite: never)."""

    fills: FuelFills
    rise_day: FloatArray
    last_day: FloatArray


def draw_fuel_book(
    vehicles: int, years: float, rise: float, rng: np.random.Generator, cured_days_ago: float = -np.inf
) -> FuelBook:
    """Draw `years` of fills; a rise of the fraction `rise`, if any, comes at a moment in the second half.

    It goes away again `cured_days_ago` before the last fill; the default is never.
    """
    count = int(_FILLS_PER_YEAR * years)
    shape = (vehicles, count)
    gap = rng.gamma(6.0, 365.25 / _FILLS_PER_YEAR / 6.0, shape)
    day = np.cumsum(gap, axis=1) + rng.uniform(0.0, 365.0, (vehicles, 1))
    km_per_day = np.exp(rng.normal(np.log(40.0), 0.4, (vehicles, 1)) + rng.normal(0.0, 0.25, shape))
    distance = gap * km_per_day
    rise_day = day[:, 0] + rng.uniform(0.5, 0.85, vehicles) * (day[:, -1] - day[:, 0])
    rise_day = rise_day if rise else np.full(vehicles, np.inf)
    level = np.exp(rng.normal(np.log(7.0), 0.2, (vehicles, 1)))
    rate = level * _short_trips(km_per_day) * _winter(day, rng) * _weather(shape, rng)
    rate = rate * np.where((day > rise_day[:, None]) & (day < day[:, -1:] - cured_days_ago), 1.0 + rise, 1.0)
    rate = rate * np.exp(0.05 * np.sqrt(400.0 / np.maximum(distance, 40.0)) * rng.standard_normal(shape))
    burnt = distance * rate / 100.0
    mark = 0.8 * rng.standard_normal((vehicles, count + 1))
    litres = np.maximum(burnt + np.diff(mark, axis=1), 1.0)
    litres = np.where(rng.random(shape) < 0.02, litres * rng.choice([0.5, 1.5], shape), litres)
    full = rng.random(shape) < 0.85
    part = rng.uniform(0.3, 0.7, shape)
    litres, left_over = np.where(full, litres, part * litres), np.where(full, 0.0, (1.0 - part) * litres)
    litres[:, 1:] += np.where(full[:, 1:], left_over[:, :-1], 0.0)
    litres[:, 1:] += np.where(full[:, 1:] | full[:, :-1], 0.0, left_over[:, :-1])
    noted = rng.random(shape) > 0.03
    missed = np.zeros(shape, dtype=bool)
    missed[:, 1:] = ~noted[:, :-1]
    vehicle = np.repeat(np.arange(vehicles), count).reshape(shape)
    odometer = np.round(1e5 + np.cumsum(distance, axis=1))
    fills = FuelFills(vehicle[noted], day[noted], odometer[noted], litres[noted], full[noted], missed[noted])
    return FuelBook(fills, rise_day, day[:, -1])


def rise_errors(vehicles: int, seed: int) -> dict[str, float]:
    """Three years looked at every month: false alarms without a rise, and how soon and well one of 12 % is found."""
    rng = np.random.default_rng(seed)
    quiet = draw_fuel_book(vehicles, _YEARS, 0.0, rng)
    book = draw_fuel_book(vehicles, _YEARS, RISE_FRACTION, rng)
    alarms, _ = _monthly_alarms(quiet)
    _, found_after = _monthly_alarms(book)
    cured = draw_fuel_book(vehicles, _YEARS, RISE_FRACTION, rng, cured_days_ago=120.0)
    trend = _watched(book)
    dated = trend.rise_standing & (np.abs(trend.rise_since_day - book.rise_day) < 90.0)
    size = trend.rise_fraction
    sure = (size.low <= RISE_FRACTION) & (size.high >= RISE_FRACTION)
    return {
        "false_alarms_per_100_vehicle_years": round(100.0 * float(alarms.sum()) / (vehicles * _YEARS), 2),
        "rise_found_fraction": round(float(np.isfinite(found_after).mean()), 4),
        "median_delay_days": float(np.median(found_after)),
        "standing_at_end_fraction": round(float(trend.rise_standing.mean()), 4),
        "median_size_fraction": round(float(np.median(size.median[dated])), 4),
        "size_coverage_fraction": round(float(sure[dated].mean()), 4),
        "median_date_error_days": round(float(np.median(np.abs(trend.rise_since_day - book.rise_day)[dated])), 1),
        "standing_120_days_after_cure_fraction": round(float(_watched(cured).rise_standing.mean()), 4),
    }


def _monthly_alarms(book: FuelBook) -> tuple[FloatArray, FloatArray]:
    """Alarms begun before any rise, and days from the rise to the first alarm after it (infinite: none); shape (V,)."""
    before = np.zeros(len(book.rise_day), dtype=bool)
    begun, found_after = np.zeros(len(before)), np.full(len(before), np.inf)
    for day in np.arange(60.0, book.last_day.max() + 30.0, 30.0):
        standing = _watched(FuelBook(_until(book.fills, day), book.rise_day, book.last_day)).rise_standing
        risen = day > book.rise_day
        begun += standing & ~before & ~risen
        found_after = np.minimum(found_after, np.where(standing & risen, day - book.rise_day, np.inf))
        before = standing
    return begun, found_after


def _until(fills: FuelFills, day: float) -> FuelFills:
    kept = fills.day <= day
    return FuelFills(*(getattr(fills, field.name)[kept] for field in fields(fills)))


def _watched(book: FuelBook) -> FuelTrend:
    return fuel_trends(consumption_between_fills(book.fills), len(book.rise_day))


def _short_trips(km_per_day: FloatArray) -> FloatArray:
    return 1.0 + 0.5 / (1.0 + (km_per_day / 15.0) ** 1.5)


def _winter(day: FloatArray, rng: np.random.Generator) -> FloatArray:
    depth = rng.uniform(0.04, 0.14, (len(day), 1))
    from_january = np.abs((day % 365.25) / 365.25 - 0.5)
    return 1.0 + depth * np.exp(-(((0.5 - from_january) / 0.13) ** 2))


def _weather(shape: tuple[int, int], rng: np.random.Generator) -> FloatArray:
    lingering = np.zeros(shape)
    for index in range(1, shape[1]):
        lingering[:, index] = 0.5 * lingering[:, index - 1] + 0.015 * rng.standard_normal(shape[0])
    return np.exp(lingering)
