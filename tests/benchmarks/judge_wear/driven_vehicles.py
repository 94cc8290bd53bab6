"""Invented vehicles with a hidden habit of driving, read now and then, and the day on which they really are due.

How this world differs from the forecast's model: daily distances are gamma distributed (never negative, many
nearly idle days), with a season of 10 % and a few longer trips a year; the habit drifts back to its mean instead
of walking away; readings come at irregular gaps of days to months and are rounded to 10 km.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import FloatArray
from inspections.core.usage import OdometerReadings, UsageForecast, due_point, forecast_usage

_DAYS = 365 * 8
_TRIP_KM = 300.0
_TRIPS_PER_DAY = 2.0 / 365.0
_OWN_CV = 0.3
"""Of the distance in 30 days, trips apart."""


@dataclass(frozen=True)
class Drivers:
    """Odometer of each vehicle at the start of each day, shape (V, days + 1), starting anywhere."""

    odometer_km: FloatArray

    def at(self, day: FloatArray) -> FloatArray:
        """True odometer, shape as `day` (V, ...)."""
        inside = np.clip(day, 0.0, _DAYS - 1e-6)
        low = inside.astype(int)
        row = np.arange(len(self.odometer_km)).reshape((-1,) + (1,) * (day.ndim - 1))
        below, above = self.odometer_km[row, low], self.odometer_km[row, low + 1]
        return below + (inside - low) * (above - below)

    def day_at(self, odometer_km: FloatArray) -> FloatArray:
        """Day on which each vehicle's odometer shows a figure, shape (V,); infinite if not within the eight years."""
        day = (self.odometer_km < odometer_km[:, None]).sum(axis=1)
        inside = np.clip(day, 1, _DAYS)
        row = np.arange(len(odometer_km))
        below, above = self.odometer_km[row, inside - 1], self.odometer_km[row, inside]
        exact = inside - 1 + (odometer_km - below) / np.maximum(above - below, 1e-9)
        return np.where(day > _DAYS, np.inf, exact)


def draw_drivers(vehicles: int, rng: np.random.Generator) -> Drivers:
    """Eight years of driving."""
    habit = np.log(13_500.0 / 365.0 - _TRIP_KM * _TRIPS_PER_DAY) + 0.45 * rng.standard_normal((vehicles, 1))
    season = 0.1 * np.cos(2.0 * np.pi * (np.arange(_DAYS) / 365.0 - rng.random((vehicles, 1))))
    mean = np.exp(habit + _drift(vehicles, rng)) * (1.0 + season)
    roughness = _OWN_CV**2 * 30.0
    daily = rng.gamma(1.0 / roughness, mean * roughness)
    trips = rng.random(daily.shape) < _TRIPS_PER_DAY
    daily[trips] += (rng.exponential(_TRIP_KM, daily.shape) * mean / mean.mean())[trips]
    start = rng.uniform(0.0, 2e5, (vehicles, 1))
    return Drivers(np.concatenate([start, start + np.cumsum(daily, axis=1)], axis=1))


def _drift(vehicles: int, rng: np.random.Generator) -> FloatArray:
    """Log habit by day, shape (V, days): monthly steps that are pulled back to the mean over five years."""
    months = _DAYS // 30 + 1
    drift = np.zeros((vehicles, months))
    for month in range(1, months):
        step = 0.12 / np.sqrt(12.0) * rng.standard_normal(vehicles)
        drift[:, month] = (1.0 - 0.2 / 12.0) * drift[:, month - 1] + step
    return np.repeat(drift, 30, axis=1)[:, :_DAYS]


def due_errors(readings: int, vehicles: int, seed: int) -> dict[str, float]:
    """Coverage of the 80 % interval of the day on which a distance of 2,000 to 15,000 km ahead is reached."""
    rng = np.random.default_rng(seed)
    drivers = draw_drivers(vehicles, rng)
    gaps = np.exp(rng.normal(np.log(45.0), 0.9, (vehicles, readings)))
    day = 30.0 + np.cumsum(np.clip(gaps, 2.0, 250.0), axis=1)
    noted = np.round(drivers.at(day), -1)
    now = day[:, -1] + rng.uniform(0.0, 30.0, vehicles)
    due_km = noted[:, -1] + rng.uniform(2_000.0, 15_000.0, vehicles)
    forecast = forecast_usage(
        OdometerReadings(np.repeat(np.arange(vehicles), readings), day.ravel(), noted.ravel()), now
    )
    truth = drivers.day_at(due_km)
    band = due_point(forecast, due_km, np.full(vehicles, np.nan)).day
    early, late = (truth < band.low).mean(), (truth > band.high).mean()
    inside = np.isfinite(truth)
    return {
        "coverage_fraction": round(float(1.0 - early - late), 4),
        "earlier_fraction": round(float(early), 4),
        "later_fraction": round(float(late), 4),
        "mean_error_days": round(float(np.abs(band.median - truth)[inside].mean()), 1),
        "odometer_now_coverage_fraction": round(_odometer_coverage(drivers, forecast, now), 4),
    }


def _odometer_coverage(drivers: Drivers, forecast: UsageForecast, now: FloatArray) -> float:
    truth = drivers.at(now)
    return float(((forecast.odometer_now_km.low <= truth) & (truth <= forecast.odometer_now_km.high)).mean())
