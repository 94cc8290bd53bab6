"""A lasting rise in fuel use: noticed, dated and sized, with season, kind of trips and short intervals allowed for.

Each interval's log consumption is predicted from those before it (recursive residuals, Brown, Durbin & Evans 1975,
here with a proper prior, so that the first intervals and the first winter carry their own doubt); the standardised
surprises go through a one-sided CUSUM, and once it signals the baseline learns no more until the rise has gone.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.control_chart import cusum_step, ewma_step
from inspections.core.crossing import Band
from inspections.core.fuel import FuelIntervals
from inspections.core.ragged import padded_blocks
from inspections.core.types import BoolArray, FloatArray, IntArray

ALLOWANCE_SD = 0.5
DECISION_SD = 6.0
BASELINE_INTERVALS = 6
"""Intervals that only teach the baseline."""
MOST_INTERVALS = 250
_CUT_SD = 3.0
"""One wild interval (a wrong amount) counts no more than this."""
_TRUSTED_SD = 2.0
_REWEIGHTINGS = 4
_RECENT_SHARE = 0.25
_FADED_SD = 0.25
"""An alarm is withdrawn when the smoothed recent surprise is below this."""
_DAYS_PER_YEAR = 365.25
_TYPICAL_KM_PER_DAY = 37.0
_TYPICAL_DISTANCE_KM = 500.0
_NOISE_SD = 0.06
_NOISE_WORTH = 6.0
"""The prior noise counts as much as this many intervals."""
_PRIOR_MEAN = np.array([np.log(7.0), 0.0, 0.0, 0.0])
_PRIOR_SD = np.array([1.0, 0.05, 0.05, 0.06])
"""Level, both parts of the yearly wave, and trip mix, all on the log scale (common practice, no source)."""
_Z80 = 1.2815515655446004
_BLOCK = 2048
_ABSENT = 1e12
"""Relative variance of an interval that is only padding."""


@dataclass(frozen=True, slots=True)
class FuelTrend:
    """What each vehicle burns, shape (V,); NaN where there is nothing to go by."""

    intervals: IntArray
    expected_litres_per_100_km: FloatArray
    """At the last interval's season and kind of trips, by the baseline."""
    recent_litres_per_100_km: FloatArray
    """The same with the recent deviation, smoothed, on top."""
    rise_standing: BoolArray
    rise_since_day: FloatArray
    rise_fraction: Band
    """Size of the standing rise: 0.12 is 12 % more."""


@dataclass(slots=True)
class _Chart:
    """Running state of each vehicle, shape (S,), its regression (S, 4) and (S, 4, 4), and what is kept for later."""

    mean: FloatArray
    covariance: FloatArray
    surprise_sum: FloatArray
    surprises: FloatArray
    total: FloatArray
    recent: FloatArray
    recent_log: FloatArray
    expected_log: FloatArray
    since: IntArray
    standing: BoolArray

    @property
    def noise(self) -> FloatArray:
        """Variance of an interval of 500 km, shape (S,), as learned so far."""
        return (_NOISE_WORTH * _NOISE_SD**2 + self.surprise_sum) / (_NOISE_WORTH + self.surprises)


def fuel_trends(intervals: FuelIntervals, vehicles: int) -> FuelTrend:
    """Watch each vehicle's consumption for a lasting rise; `intervals` sorted by vehicle and day."""
    trend = _blank(intervals, vehicles)
    for chosen, at, real in padded_blocks(intervals.vehicle, vehicles, most=MOST_INTERVALS, size=_BLOCK):
        _watch_block(trend, intervals, chosen, at, real)
    return trend


def _watch_block(trend: FuelTrend, intervals: FuelIntervals, chosen: IntArray, at: IntArray, real: BoolArray) -> None:
    """Fill in the vehicles of a block of intervals, shape (S, n), some of which are only padding."""
    log_use = np.log(intervals.litres_per_100_km[at])
    causes = _causes(intervals, at)
    relative_variance = np.where(real, _relative_variance(intervals.distance_km[at]), _ABSENT)
    chart = _fresh_chart(len(chosen))
    for index in range(at.shape[1]):
        _step(chart, index, log_use[:, index], causes[:, index], relative_variance[:, index])
    trend.expected_litres_per_100_km[chosen] = np.exp(chart.expected_log)
    trend.recent_litres_per_100_km[chosen] = np.exp(chart.expected_log + chart.recent_log)
    risen = np.flatnonzero(chart.standing)
    if not len(risen):
        return
    since = chart.since[risen]
    size, sd = _rise_size(log_use[risen], causes[risen], relative_variance[risen], since, chart.noise[risen])
    trend.rise_standing[chosen[risen]] = True
    trend.rise_since_day[chosen[risen]] = intervals.from_day[at[risen, since]]
    for target, score in (
        (trend.rise_fraction.low, -_Z80),
        (trend.rise_fraction.median, 0.0),
        (trend.rise_fraction.high, _Z80),
    ):
        target[chosen[risen]] = np.expm1(size + score * sd)


def _causes(intervals: FuelIntervals, at: IntArray) -> FloatArray:
    """What consumption depends on, shape (S, n, 4): level, yearly wave, and kind of trips by km per day."""
    middle = 0.5 * (intervals.from_day[at] + intervals.to_day[at])
    days = np.maximum(intervals.to_day[at] - intervals.from_day[at], 0.5)
    angle = 2.0 * np.pi * middle / _DAYS_PER_YEAR
    mix = np.clip(np.log(intervals.distance_km[at] / days / _TYPICAL_KM_PER_DAY), -2.0, 2.0)
    return np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle), mix], axis=-1)


def _relative_variance(distance_km: FloatArray) -> FloatArray:
    """Noise of an interval against one of 500 km: trips average out with distance, filling errors with its square."""
    shortness = _TYPICAL_DISTANCE_KM / np.maximum(distance_km, 50.0)
    return np.asarray(0.2 + 0.4 * shortness + 0.4 * shortness**2)


def _step(chart: _Chart, index: int, log_use: FloatArray, causes: FloatArray, relative_variance: FloatArray) -> None:
    """Take in one interval of every vehicle."""
    real = relative_variance < _ABSENT
    expected = (causes * chart.mean).sum(axis=1)
    chart.expected_log = np.where(real, expected, chart.expected_log)
    leverage = np.einsum("sij,sj->si", chart.covariance, causes)
    variance = relative_variance + (leverage * causes).sum(axis=1)
    noise = chart.noise
    deviation = np.where(real, log_use - expected, np.nan)
    surprise = deviation / np.sqrt(noise * variance)
    cut = np.clip(surprise, -_CUT_SD, _CUT_SD)
    _judge(chart, index, cut, np.clip(deviation, -0.5, 0.5))
    learning = real & ~chart.standing
    gain = np.where(learning, 1.0 / (variance + (_doubt(surprise) - 1.0) * relative_variance), 0.0)
    chart.mean = chart.mean + leverage * np.where(learning, gain * deviation, 0.0)[:, None]
    chart.covariance = chart.covariance - gain[:, None, None] * leverage[:, :, None] * leverage[:, None, :]
    chart.surprise_sum += np.where(learning, cut**2 * noise, 0.0)
    chart.surprises += learning


def _doubt(surprise: FloatArray) -> FloatArray:
    """Factor by which the noise of an interval is judged larger the more it surprises (Huber 1964)."""
    return np.asarray(np.maximum(np.abs(surprise) / _TRUSTED_SD, 1.0))


def _judge(chart: _Chart, index: int, surprise: FloatArray, deviation: FloatArray) -> None:
    """Move the CUSUM on, raise the alarm above the decision, and withdraw it when recent surprises have faded."""
    chart.recent = ewma_step(chart.recent, surprise, _RECENT_SHARE)
    chart.recent_log = ewma_step(chart.recent_log, deviation, _RECENT_SHARE)
    if index < BASELINE_INTERVALS:
        return
    chart.since = np.where((chart.total <= 0.0) & ~chart.standing, index, chart.since)
    chart.total = cusum_step(chart.total, surprise, ALLOWANCE_SD)
    faded = chart.standing & (chart.recent < _FADED_SD)
    chart.standing = (chart.standing | (chart.total > DECISION_SD)) & ~faded
    chart.total = np.where(faded, 0.0, chart.total)


def _rise_size(
    log_use: FloatArray, causes: FloatArray, relative_variance: FloatArray, since: IntArray, noise: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Size of the step on the log scale and its standard deviation, by one robust regression over all intervals."""
    step = np.arange(log_use.shape[1]) >= since[:, None]
    design = np.concatenate([causes, step[:, :, None]], axis=2)
    precision = (_NOISE_SD / np.append(_PRIOR_SD, 1.0)) ** 2
    prior_score = precision * np.append(_PRIOR_MEAN, 0.0)
    doubt = np.ones_like(log_use)
    for _ in range(_REWEIGHTINGS):
        weighed = design / (relative_variance * doubt)[:, :, None]
        covariance = np.linalg.inv(np.einsum("sni,snj->sij", weighed, design) + np.diag(precision))
        score = np.einsum("sni,sn->si", weighed, log_use) + prior_score
        fitted = np.einsum("sij,sj->si", covariance, score)
        residual = log_use - np.einsum("sni,si->sn", design, fitted)
        doubt = _doubt(residual / np.sqrt(noise[:, None] * relative_variance))
    return fitted[:, -1], np.sqrt(noise * covariance[:, -1, -1])


def _fresh_chart(count: int) -> _Chart:
    zeros = np.zeros(count)
    return _Chart(
        mean=np.tile(_PRIOR_MEAN, (count, 1)),
        covariance=np.tile(np.diag((_PRIOR_SD / _NOISE_SD) ** 2), (count, 1, 1)),
        surprise_sum=zeros.copy(),
        surprises=zeros.copy(),
        total=zeros.copy(),
        recent=zeros.copy(),
        recent_log=zeros.copy(),
        expected_log=zeros.copy(),
        since=np.zeros(count, dtype=np.int64),
        standing=np.zeros(count, dtype=bool),
    )


def _blank(intervals: FuelIntervals, vehicles: int) -> FuelTrend:
    def unknown() -> FloatArray:
        return np.full(vehicles, np.nan)

    return FuelTrend(
        intervals=np.bincount(intervals.vehicle, minlength=vehicles).astype(np.int64),
        expected_litres_per_100_km=unknown(),
        recent_litres_per_100_km=unknown(),
        rise_standing=np.zeros(vehicles, dtype=bool),
        rise_since_day=unknown(),
        rise_fraction=Band(unknown(), unknown(), unknown()),
    )
