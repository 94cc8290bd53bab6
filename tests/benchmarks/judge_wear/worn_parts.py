"""Invented worn parts with a hidden truth, and what a person with a gauge would have noted down.

How this world differs from the forecast's model: wear never heals and is skewed (gamma increments, not a random walk
with drift); noise differs between people and between readings (lognormal, 40 %); a new part does not measure exactly
what the book says; unknown fittings come from a renewal process with renewals at 70 to 110 % of the limit; a renewal
is at 60 to 110 % of the limit and the new part wears half like the old one. Readings never depend on the truth to
come. Series whose last reading is past the limit are left out, since nobody forecasts those; whether the *truth* is
past plays no part, so that nothing is peeked at.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np

from inspections.core.types import BoolArray, FloatArray
from inspections.core.wear import WearForecast, WearReadings, WearSeries, forecast_wear

OWN_CV = 0.28
BOOK_CV = 0.5


@dataclass(frozen=True)
class World:
    """One scenario; `rate_cv` is the true spread of rates about the book, `roughness` that of wear over 5,000 km."""

    rate_cv: float = BOOK_CV
    book_off: float = 1.0
    roughness: float = 0.3
    bad_fraction: float = 0.0
    fitting: str = "known"
    """known, unknown, or renewed (known, but a renewal since went unrecorded)."""
    renewal_at: str = "worn"
    """worn, or anytime: uniform over the time watched."""
    kin: int = 1
    """Parts of one kind at one vehicle, each with its own rate and readings."""


WORLDS = {
    "as assumed": World(),
    "fitting unknown": World(fitting="unknown"),
    "5 % bad readings": World(bad_fraction=0.05),
    "renewal unrecorded": World(fitting="renewed"),
    "renewal unrecorded, at any time": World(fitting="renewed", renewal_at="anytime"),
    "book off 1.5 times": World(rate_cv=OWN_CV, book_off=1.5),
    "book right": World(rate_cv=OWN_CV),
    "smooth wear": World(roughness=0.1),
    "rough wear": World(roughness=0.45),
    "as assumed, four of a kind": World(kin=4),
    "smooth wear, four of a kind": World(roughness=0.1, kin=4),
    "rough wear, four of a kind": World(roughness=0.45, kin=4),
    "renewal unrecorded, four of a kind": World(fitting="renewed", kin=4),
}


@dataclass(frozen=True)
class Sample:
    """Series and readings as the forecast sees them, and the truth: km from now to the limit."""

    series: WearSeries
    readings: WearReadings
    limit_in_km: FloatArray
    last_value_fraction: FloatArray


def forecast_errors(world: World, readings: int, parts: int, seed: int) -> dict[str, float]:
    """Coverage of the 80 % interval and the rest of the figures for one world and number of readings."""
    sample = draw_sample(world, readings, parts, np.random.default_rng(seed))
    kin = np.arange(parts) // world.kin if world.kin > 1 else None
    forecast = forecast_wear(sample.series, sample.readings, kin=kin)
    usable = sample.last_value_fraction < 1.0
    return _figures(forecast, sample, usable)


def _figures(forecast: WearForecast, sample: Sample, usable: BoolArray) -> dict[str, float]:
    truth, band = sample.limit_in_km[usable], forecast.limit_in_km
    early, late = truth < band.low[usable], truth > band.high[usable]
    error_km = np.abs(band.median[usable] - truth)
    return {
        "parts": int(usable.sum()),
        "coverage_fraction": round(float(1.0 - early.mean() - late.mean()), 4),
        "earlier_fraction": round(float(early.mean()), 4),
        "later_fraction": round(float(late.mean()), 4),
        "mean_error_km": round(float(error_km.mean()), 0),
        "mean_width_km": round(float((band.high - band.low)[usable].mean()), 0),
        "renewal_suspected_fraction": round(float((forecast.renewal_suspected_fraction[usable] > 0.5).mean()), 4),
    }


def draw_sample(world: World, readings: int, parts: int, rng: np.random.Generator) -> Sample:
    """Draw parts that have been measured `readings` times, the last time 20 to 70 % of a book life after fitting."""
    life_km = np.exp(rng.uniform(np.log(25e3), np.log(150e3), parts))
    log_sd = np.sqrt(np.log1p(world.rate_cv**2))
    off = rng.choice([-1.0, 1.0], parts) * np.log(world.book_off)
    rate = np.exp(off + log_sd * rng.standard_normal(parts))
    grow = partial(_gamma_wear, rng, world.roughness, life_km)
    watched = rng.uniform(0.2, 0.7, parts)
    share = np.sort(rng.uniform(0.1, 1.0, (parts, readings)), axis=1)
    share /= share[:, -1:] if readings else 1.0
    if world.fitting == "unknown":
        rate, wear, clock = _met_in_service(rng, grow, rate, log_sd, parts)
        clocks = clock[:, None] + watched[:, None] * (share - share[:, :1])
    elif world.fitting == "renewed":
        return _renewed_sample(world, rng, grow, rate, log_sd, life_km, watched, readings)
    else:
        wear, clock = np.zeros(parts), np.zeros(parts)
        clocks = watched[:, None] * share
    true_wear = np.empty((parts, readings))
    for index in range(readings):
        wear = wear + grow(rate, clocks[:, index] - clock)
        clock = clocks[:, index]
        true_wear[:, index] = wear
    unread = world.fitting == "known" and not readings
    idle = rng.uniform(0.05, 0.7, parts) if unread else rng.uniform(0.0, 0.1, parts)
    fitted = np.full(parts, np.nan) if world.fitting == "unknown" else np.zeros(parts)
    return _observed(world, rng, grow, life_km, rate, fitted, clocks, true_wear, wear, clock + idle, idle)


def _renewed_sample(
    world: World,
    rng: np.random.Generator,
    grow: partial,
    rate: FloatArray,
    log_sd: float,
    life_km: FloatArray,
    watched: FloatArray,
    readings: int,
) -> Sample:
    """Parts renewed once since the recorded fitting: some readings of the old part, at least one of the new."""
    parts = len(rate)
    renewed_at = rng.uniform(0.6, 1.1, parts) / rate
    if world.renewal_at == "anytime":
        renewed_at = renewed_at * rng.uniform(0.0, 1.0, parts)
    new_rate = np.exp(0.5 * np.log(rate) + np.sqrt(0.75) * log_sd * rng.standard_normal(parts))
    before = rng.integers(0, readings, parts)[:, None] > np.arange(readings)
    early = np.sort(np.where(before, rng.uniform(0.1, 0.97, before.shape), 2.0), axis=1) * renewed_at[:, None]
    late = np.sort(np.where(before, 0.0, rng.uniform(0.1, 1.0, before.shape)), axis=1)
    late = renewed_at[:, None] + late / late[:, -1:] * watched[:, None]
    clocks = np.where(before, early, late)
    true_wear = np.empty((parts, readings))
    old, new, clock = np.zeros(parts), np.zeros(parts), np.zeros(parts)
    for index in range(readings):
        elapsed_new = np.clip(clocks[:, index] - np.maximum(renewed_at, clock), 0.0, None)
        old = old + grow(rate, np.where(before[:, index], clocks[:, index] - clock, 0.0))
        new = new + grow(new_rate, np.where(before[:, index], 0.0, elapsed_new))
        clock = clocks[:, index]
        true_wear[:, index] = np.where(before[:, index], np.minimum(old, 1.2), new)
    idle = rng.uniform(0.0, 0.1, parts)
    return _observed(world, rng, grow, life_km, new_rate, np.zeros(parts), clocks, true_wear, new, clock + idle, idle)


def _met_in_service(
    rng: np.random.Generator, grow: partial, rate: FloatArray, log_sd: float, parts: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rate, wear and vehicle's clock when a part is first met, after half to three book lives of the vehicle."""
    clock = rng.uniform(0.5, 3.0, parts)
    left, found = clock.copy(), np.zeros(parts, dtype=bool)
    met_rate, age = rate.copy(), np.zeros(parts)
    while not found.all():
        next_rate = np.exp(log_sd * rng.standard_normal(parts))
        life = rng.uniform(0.7, 1.1, parts) / next_rate
        here = ~found & (life > left)
        met_rate, age = np.where(here, next_rate, met_rate), np.where(here, left, age)
        found |= here
        left = np.where(found, left, left - life)
    return met_rate, grow(met_rate, age), clock


def _gamma_wear(
    rng: np.random.Generator, roughness: float, life_km: FloatArray, rate: FloatArray, distance: FloatArray
) -> FloatArray:
    """Increments of a gamma process with mean rate * distance (in lives) and the roughness asked for over 5,000 km."""
    step = roughness**2 * 5000.0 / life_km
    return np.where(distance > 0.0, rng.gamma(np.maximum(distance / step, 1e-9)) * rate * step, 0.0)


def _observed(
    world: World,
    rng: np.random.Generator,
    grow: partial,
    life_km: FloatArray,
    rate: FloatArray,
    fitted: FloatArray,
    clocks: FloatArray,
    true_wear: FloatArray,
    wear: FloatArray,
    now: FloatArray,
    idle: FloatArray,
) -> Sample:
    """Gauge readings of the true wear, in millimetres of a falling 12 to 3 mm, and the true distance to the limit."""
    parts, readings = true_wear.shape
    noise_sd = np.exp(rng.uniform(np.log(0.015), np.log(0.05), parts))[:, None]
    error = noise_sd * np.exp(0.4 * rng.standard_normal(true_wear.shape)) * rng.standard_normal(true_wear.shape)
    blunder = rng.choice([-1.0, 1.0], error.shape) * rng.uniform(4.0, 12.0, error.shape) * noise_sd
    error = np.where(rng.random(error.shape) < world.bad_fraction, blunder, error)
    error = error + 0.5 * noise_sd * rng.standard_normal((parts, 1))
    seen = true_wear + error
    series = WearSeries(
        new_value=np.full(parts, 12.0),
        minor_value=np.full(parts, 4.0),
        limit_value=np.full(parts, 3.0),
        dangerous_value=np.full(parts, 1.5),
        noise_sd=9.0 * noise_sd[:, 0],
        life_km=life_km,
        fitted_clock_km=fitted * life_km,
        now_clock_km=now * life_km,
    )
    notes = WearReadings(
        series=np.repeat(np.arange(parts), readings),
        clock_km=(clocks * life_km[:, None]).ravel(),
        value=(12.0 - 9.0 * seen).ravel(),
    )
    last = seen[:, -1] if readings else np.zeros(parts)
    truth = _distance_to_limit(grow, rate, wear + grow(rate, idle))
    return Sample(series, notes, truth * life_km, last)


def _distance_to_limit(grow: partial, rate: FloatArray, wear: FloatArray) -> FloatArray:
    """Walk every part on in steps of about a hundredth of its own life until it is at the limit."""
    gone = np.zeros_like(wear)
    step = 0.01 / rate
    there = np.where(wear >= 1.0, 0.0, np.nan)
    while np.isnan(there).any():
        worn = grow(rate, step)
        passing = np.isnan(there) & (wear + worn >= 1.0)
        there = np.where(passing, gone + step * (1.0 - wear) / np.maximum(worn, 1e-12), there)
        wear, gone = wear + worn, gone + step
    return there
