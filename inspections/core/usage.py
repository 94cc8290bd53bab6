"""How far a vehicle is driven: km per day from irregular odometer readings, and when a due point will be met.

Days are plain day numbers (any epoch, fractions allowed). Distances are km on one unbroken odometer.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.crossing import Band, band_of, distance_to_level, even_spread, normal_scores
from inspections.core.odometer import forward_readings
from inspections.core.ragged import chunks, equal_blocks
from inspections.core.types import FloatArray, IntArray

DAYS_PER_YEAR = 365.25
TYPICAL_KM_PER_DAY = 13_500.0 / DAYS_PER_YEAR
RATE_LOG_SD = 0.45
"""Spread of yearly distance between vehicles (common practice, no source)."""
ROUGHNESS_DAYS = 0.33**2 * 30.0
"""Distance over 30 days varies by 33 % at an unchanged habit. This and the drift were chosen by the coverage of due
days on other seeds than it is reported on."""
INCREMENT_SD_KM = 50.0
"""Rounding, and short trips that a straight line between two readings does not see."""
DRIFT_PER_ROOT_YEAR = 0.11
"""Habits change: standard deviation of the log rate over a year."""
MOST_READINGS = 80
_CELLS = 81
_REACH = 3.5
_CHUNK = 512

_LOG_RATES = np.log(TYPICAL_KM_PER_DAY) + RATE_LOG_SD * np.linspace(-_REACH, _REACH, _CELLS)
_CELL = float(_LOG_RATES[1] - _LOG_RATES[0])
_SPREAD = even_spread()
_DRIFT_SCORE = normal_scores(_SPREAD.other_share)


@dataclass(frozen=True, slots=True)
class OdometerReadings:
    """Readings of any vehicles in any order, shape (N,)."""

    vehicle: IntArray
    day: FloatArray
    odometer_km: FloatArray


@dataclass(frozen=True, slots=True)
class UsageForecast:
    """What is to be expected of each vehicle, shape (V,) or a Band of it; the intervals are 80 %."""

    km_per_day: Band
    odometer_now_km: Band
    """NaN for a vehicle without readings."""
    last_day: FloatArray
    last_km: FloatArray
    rate_km_per_day: FloatArray
    """Equally likely rates at the last reading, shape (V, 144), increasing along each row."""


@dataclass(frozen=True, slots=True)
class DuePoint:
    """When due items fall due, shape (M,)."""

    day: Band
    """The earlier of distance and date; NaN where neither can be told."""
    by_distance_fraction: FloatArray
    """Chance that the distance comes before the date."""


def forecast_usage(readings: OdometerReadings, now_day: FloatArray) -> UsageForecast:
    """Learn each vehicle's km per day; `now_day` has shape (V,) and says how many vehicles there are.

    A grid of log rates starts at a median of 13,500 km a year, drifts as a random walk, and is weighed by each
    increment being gamma distributed about ``rate * days``. Readings that run backwards are left out. Where the day of
    first registration is known, a reading of 0 km on that day is worth adding.
    """
    forward = forward_readings(readings.vehicle, readings.day, readings.odometer_km, len(now_day))
    vehicle = readings.vehicle[forward]
    day, odometer_km = readings.day[forward], readings.odometer_km[forward]
    forecast = _blank(len(now_day))
    for chosen, at in equal_blocks(vehicle, len(now_day), MOST_READINGS):
        for which in chunks(np.arange(len(chosen)), _CHUNK):
            part = chosen[which]
            _forecast_block(forecast, part, day[at[which]], odometer_km[at[which]], now_day[part])
    return forecast


def due_point(
    forecast: UsageForecast, due_km: FloatArray, due_day: FloatArray, vehicle: IntArray | None = None
) -> DuePoint:
    """When each due item is met: at an odometer reading [km] or on a day, whichever comes first; all shape (M,).

    NaN in `due_km` or `due_day` means that there is no such bound. `vehicle` is each item's vehicle; left out, there
    is one item a vehicle, in order. A distance that the last reading had passed is due on the day of that reading.
    """
    item = np.arange(len(due_km)) if vehicle is None else vehicle
    unbounded_day = np.where(np.isnan(due_day), np.inf, due_day)
    result = DuePoint(_empty_band(len(item)), np.empty(len(item)))
    for which in chunks(np.arange(len(item)), _CHUNK):
        by_km = _days_at_km(forecast, item[which], due_km[which])
        date = unbounded_day[which]
        band = band_of(by_km)
        result.by_distance_fraction[which] = (by_km < date[:, None]).mean(axis=1)
        for target, source in zip(_parts(result.day), _parts(band), strict=True):
            earlier = np.minimum(source, date)
            target[which] = np.where(np.isfinite(earlier), earlier, np.nan)
    return result


def _days_at_km(forecast: UsageForecast, vehicle: IntArray, due_km: FloatArray) -> FloatArray:
    """Equally likely days, shape (M, 144), on which the odometer shows `due_km`; infinite where it is unknowable."""
    remaining = due_km - forecast.last_km[vehicle]
    known = np.isfinite(remaining)
    ahead = np.where(known, remaining, 0.0)[:, None]
    rate = forecast.rate_km_per_day[vehicle]
    meanwhile_days = np.maximum(ahead, 0.0) / rate
    rate = rate * np.exp(DRIFT_PER_ROOT_YEAR * np.sqrt(meanwhile_days / DAYS_PER_YEAR / 3.0) * _DRIFT_SCORE)
    days = distance_to_level(ahead, np.array(0.0), rate, np.array(ROUGHNESS_DAYS), _SPREAD.score)
    days = np.where(ahead > 0.0, days, 0.0)
    return np.where(known[:, None], forecast.last_day[vehicle][:, None] + days, np.inf)


def _forecast_block(
    forecast: UsageForecast, chosen: IntArray, day: FloatArray, odometer_km: FloatArray, now_day: FloatArray
) -> None:
    """Fill in the vehicles of a block with equally many readings, shape (S, n)."""
    rate = _equally_likely_rates(_rate_weights(day, odometer_km))
    forecast.rate_km_per_day[chosen] = rate
    _put(forecast.km_per_day, chosen, band_of(rate))
    if not day.shape[1]:
        return
    forecast.last_day[chosen], forecast.last_km[chosen] = day[:, -1], odometer_km[:, -1]
    since = np.maximum(now_day - day[:, -1], 0.0)[:, None]
    travelled = np.maximum(rate * (since + np.sqrt(ROUGHNESS_DAYS * since) * _SPREAD.score), 0.0)
    _put(forecast.odometer_now_km, chosen, band_of(odometer_km[:, -1:] + travelled))


def _rate_weights(day: FloatArray, odometer_km: FloatArray) -> FloatArray:
    """Weight of each log rate, shape (S, cells), after readings of shape (S, n).

    Over a long gap the mean rate differs from the rate at its end, by a third of the random walk's variance. Distances
    are skewed: many idle days and a few long trips. So a short distance speaks less against a high rate than a normal
    law would have it, by which every third forecast that failed came too late; and a gamma law is highest where rate
    times days is what was travelled, however regular the driver is.
    """
    score = (_LOG_RATES - np.log(TYPICAL_KM_PER_DAY)) / RATE_LOG_SD
    prior = np.exp(-0.5 * score * score)
    weight = np.repeat((prior / prior.sum())[None, :], len(day), axis=0)
    if day.shape[1] < 2:
        return weight
    rate = np.exp(_LOG_RATES)
    unseen = (INCREMENT_SD_KM / _mean_rate(day, odometer_km)[:, None]) ** 2
    for index in range(1, day.shape[1]):
        days = (day[:, index] - day[:, index - 1])[:, None]
        travelled = (odometer_km[:, index] - odometer_km[:, index - 1])[:, None]
        wandered = DRIFT_PER_ROOT_YEAR**2 * days / DAYS_PER_YEAR / 3.0
        # The shape is days squared over this; so nothing is divided by days, which may be next to none.
        variance = ROUGHNESS_DAYS * days + wandered * days**2 + unseen
        log_likelihood = -days / variance * (days * _LOG_RATES + travelled / rate)
        log_likelihood -= log_likelihood.max(axis=1, keepdims=True)
        weight = _drifted(weight, days) * np.exp(log_likelihood) + 1e-300
        weight /= weight.sum(axis=1, keepdims=True)
    return weight


def _mean_rate(day: FloatArray, odometer_km: FloatArray) -> FloatArray:
    """Km per day over all readings, shape (S,), held near the typical rate by two months' worth of it."""
    days, travelled = (np.asarray(column[:, -1] - column[:, 0]) for column in (day, odometer_km))
    return np.asarray((travelled + 60.0 * TYPICAL_KM_PER_DAY) / (days + 60.0))


def _drifted(weight: FloatArray, days: FloatArray) -> FloatArray:
    """Weights after the log rate has walked at random for `days`, shape (S, 1).

    The walk hops between neighbouring cells in continuous time, which has the wanted variance at any interval,
    however short; the hopping matrix is diagonal in the cosine basis.
    """
    speed = (DRIFT_PER_ROOT_YEAR / _CELL) ** 2 / DAYS_PER_YEAR * (1.0 - np.cos(np.pi * np.arange(_CELLS) / _CELLS))
    return np.asarray(np.maximum((weight @ _COSINES) * np.exp(-speed * days) @ _COSINES.T, 0.0))


def _cosine_basis() -> FloatArray:
    """Orthonormal columns: the modes of a walk that turns back at the ends of the grid."""
    place = (np.arange(_CELLS) + 0.5)[:, None]
    basis = np.cos(np.pi * place * np.arange(_CELLS) / _CELLS)
    return np.asarray(basis / np.sqrt((basis**2).sum(axis=0)))


_COSINES = _cosine_basis()


def _equally_likely_rates(weight: FloatArray) -> FloatArray:
    """Rates at evenly spaced shares, shape (S, 144), taken as spread evenly within a cell of the grid."""
    share = np.cumsum(weight, axis=1)
    share /= share[:, -1:]
    row = np.arange(len(weight))[:, None]
    cell = np.searchsorted((share + row).ravel(), (_SPREAD.share + row).ravel()).reshape(len(weight), -1)
    cell = np.minimum(cell - row * _CELLS, _CELLS - 1)
    within = (share[row, cell] - _SPREAD.share) / (weight[row, cell] + 1e-300)
    return np.asarray(np.exp(_LOG_RATES[cell] + (0.5 - np.clip(within, 0.0, 1.0)) * _CELL))


def _blank(count: int) -> UsageForecast:
    return UsageForecast(
        km_per_day=_empty_band(count),
        odometer_now_km=_empty_band(count),
        last_day=np.full(count, np.nan),
        last_km=np.full(count, np.nan),
        rate_km_per_day=np.empty((count, len(_SPREAD.share))),
    )


def _empty_band(count: int) -> Band:
    return Band(np.full(count, np.nan), np.full(count, np.nan), np.full(count, np.nan))


def _parts(band: Band) -> tuple[FloatArray, FloatArray, FloatArray]:
    return band.low, band.median, band.high


def _put(target: Band, chosen: IntArray, band: Band) -> None:
    target.low[chosen], target.median[chosen], target.high[chosen] = band.low, band.median, band.high
