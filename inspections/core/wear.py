"""Wear forecasts: when will a measured part reach its limit, and how sure is that?

Readings of many parts go in as flat arrays; out come the distance to the limit with its 80 % interval, what the part
should measure now, how fast it wears, and whether somebody fitted a new part without saying so.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from inspections.core.crossing import SPREAD_POINTS, AnyFloatArray, Band, band_of
from inspections.core.ragged import chunks, equal_blocks
from inspections.core.types import BoolArray, FloatArray, IntArray
from inspections.core.wear_atoms import Atoms, draw_atoms
from inspections.core.wear_filter import NOISE_SHRINK, run_filter
from inspections.core.wear_grid import ROUGHNESS_KM, ROUGHNESSES, Grid, Rows, belief_at_first_event, wear_grid
from inspections.core.wear_kin import roughness_evidence, series_with_kin, weights_by_kin
from inspections.core.wear_renewal import cut_at_renewals, renewal_suspects

RATE_CV = 0.5
"""Spread of the rate about the book: the part's own 0.25 to 0.3, and a book that may be wrong by half."""
MOST_READINGS = 30
"""Older readings of a series than these are left out; a part seldom has so many."""
ATOMS = 48
_THIN = SPREAD_POINTS // ATOMS
_LEAST_NOISE_FRACTION = 0.003
_CHUNK = 256
_CUT_CHUNK = 96
_SUSPECTED_FRACTION = 0.5


@dataclass(frozen=True, slots=True)
class WearSeries:
    """Measured parts, every array of shape (K,). Values are in the unit of the check, distances clock km.

    Whether the value falls or rises follows from `new_value` and `limit_value`. `minor_value` and `dangerous_value`
    may be NaN (no such limit); `fitted_clock_km` is NaN when nobody knows.
    """

    new_value: FloatArray
    minor_value: FloatArray
    limit_value: FloatArray
    dangerous_value: FloatArray
    noise_sd: FloatArray
    life_km: FloatArray
    """Typical distance from new to the limit."""
    fitted_clock_km: FloatArray
    now_clock_km: FloatArray

    def __post_init__(self) -> None:
        """Raises ValueError where a series has no wear to measure or no life."""
        if np.any(self.new_value == self.limit_value):
            raise ValueError("a measured part's limit must differ from its value when new")
        if not np.all(self.life_km > 0.0):
            raise ValueError("a measured part's typical life must be positive")


@dataclass(frozen=True, slots=True)
class WearReadings:
    """What was measured, shape (N,), in any order; `series` is a row of WearSeries.

    A reading taken just before the part came off belongs to the part that came off, not to the new one.
    """

    series: IntArray
    clock_km: FloatArray
    value: FloatArray


@dataclass(frozen=True, slots=True)
class WearForecast:
    """What is to be expected of each series, shape (K,) or a Band of it; the intervals are 80 %."""

    limit_in_km: Band
    """Clock km from now until the limit is reached; 0 where it is passed."""
    limit_at_clock_km: Band
    value_now: Band
    wear_per_1000_km: Band
    limit_passed_fraction: FloatArray
    renewal_suspected_fraction: FloatArray
    renewal_suspected_between_km: FloatArray
    """Shape (K, 2): clock km between which a new part seems to have been fitted unrecorded; NaN where none does."""
    to_minor_km: FloatArray
    """This and the next two, shape (K, 48): equally likely clock km from now, increasing along the row."""
    to_limit_km: FloatArray
    to_dangerous_km: FloatArray
    """Infinite where there is no such limit."""

    def of(self, rows: IntArray) -> "WearForecast":
        """The same of some of the series."""
        return WearForecast(*(_at(getattr(self, field.name), rows) for field in fields(self)))


def _at(told: Band | FloatArray, rows: IntArray) -> Any:
    if isinstance(told, Band):
        return Band(*(getattr(told, field.name)[rows] for field in fields(told)))
    return told[rows]


def forecast_wear(
    series: WearSeries, readings: WearReadings, rate_cv: float = RATE_CV, kin: IntArray | None = None
) -> WearForecast:
    """Forecast the wear of every series from none, one or many readings.

    `kin`, shape (K,) of any integers, says which series are of one kind at one vehicle and so learn from each other
    how unevenly they wear (see `wear_kin`); none: each is by itself.

    81 lognormal rates times 4 roughnesses each carry a scalar Kalman filter with Student-t weights; a reading that
    is much better than wear allows starts the part afresh somewhere in the gap before it. Readings from before the
    part was fitted are left out. `rate_cv` is the prior coefficient of variation of the rate about the book. The
    ends of the intervals are within 2 points of the level they stand for, the price of using few possibilities.
    """
    grid = wear_grid(rate_cv)
    forecast = _blank(len(series.life_km))
    roughness = None if kin is None else _roughness_by_kin(grid, series, readings, kin)
    for chosen, clock_km, plain in _equal_batches(series, readings):
        rows = plain if roughness is None else replace(plain, roughness_weight=roughness[chosen])
        suspects = _forecast_unbroken(grid, series, forecast, chosen, rows)
        for which in chunks(np.flatnonzero(suspects), _CUT_CHUNK):
            cuts = cut_at_renewals(grid, rows.take(which))
            atoms = draw_atoms(grid, rows.take(which), cuts.belief)
            _store(forecast, series, chosen[which], atoms)
            _store_renewals(forecast, series, chosen[which], clock_km[which], cuts.chance)
    return forecast


def _roughness_by_kin(grid: Grid, series: WearSeries, readings: WearReadings, kin: IntArray) -> FloatArray:
    """What is believed of each series' roughness before its own readings, shape (K, Q)."""
    evidence = np.zeros((len(kin), len(ROUGHNESSES)))
    related = series_with_kin(kin)
    for chosen, _, rows in _equal_batches(series, readings):
        witnesses = np.flatnonzero(np.isin(chosen, related)) if rows.readings else np.zeros(0, dtype=np.int64)
        for which in chunks(witnesses, _CHUNK):
            evidence[chosen[which]] = roughness_evidence(grid, rows.take(which))
    return weights_by_kin(kin, evidence)


def _forecast_unbroken(
    grid: Grid, series: WearSeries, forecast: WearForecast, chosen: IntArray, rows: Rows
) -> BoolArray:
    """Store forecasts as if no part had been renewed; returns which series make one doubt that."""
    suspects = np.zeros(len(chosen), dtype=bool)
    for which in chunks(np.arange(len(chosen)), _CHUNK):
        part = rows.take(which)
        belief = belief_at_first_event(grid, part)
        trace = run_filter(grid, part, belief)
        if part.readings:
            suspects[which] = renewal_suspects(grid, part, trace)
        _store(forecast, series, chosen[which], draw_atoms(grid, part, belief))
    return suspects


def _equal_batches(series: WearSeries, readings: WearReadings) -> Iterator[tuple[IntArray, FloatArray, Rows]]:
    """Series with equally many readings: their rows, clocks (S, n), and the same in fractions."""
    order = np.lexsort((readings.clock_km, readings.series))
    of, clock_km, value = readings.series[order], readings.clock_km[order], readings.value[order]
    good = np.isfinite(value) & ~(clock_km < series.fitted_clock_km[of])
    of, clock_km, value = of[good], clock_km[good], value[good]
    for chosen, at in equal_blocks(of, len(series.life_km), MOST_READINGS):
        yield chosen, clock_km[at], _rows(series, chosen, clock_km[at], value[at])


def _rows(series: WearSeries, chosen: IntArray, clock_km: FloatArray, value: FloatArray) -> Rows:
    """Series and their readings in fractions of limit and life."""
    life_km = series.life_km[chosen]
    depth = (series.limit_value - series.new_value)[chosen]
    known = np.isfinite(series.fitted_clock_km[chosen])
    start_km = np.where(known, series.fitted_clock_km[chosen], 0.0)
    events = np.concatenate([start_km[:, None], clock_km], axis=1)
    noise = np.maximum(series.noise_sd[chosen] / np.abs(depth), _LEAST_NOISE_FRACTION)
    return Rows(
        wear=(value - series.new_value[chosen][:, None]) / depth[:, None],
        elapsed=np.maximum(np.diff(events, axis=1), 0.0) / life_km[:, None],
        fitting_known=known,
        noise_variance=NOISE_SHRINK * noise**2,
        roughness_scale=ROUGHNESS_KM / life_km,
        since_last=np.maximum(series.now_clock_km[chosen] - events[:, -1], 0.0) / life_km,
    )


def _blank(count: int) -> WearForecast:
    def band() -> Band:
        return Band(np.empty(count), np.empty(count), np.empty(count))

    return WearForecast(
        limit_in_km=band(),
        limit_at_clock_km=band(),
        value_now=band(),
        wear_per_1000_km=band(),
        limit_passed_fraction=np.empty(count),
        renewal_suspected_fraction=np.zeros(count),
        renewal_suspected_between_km=np.full((count, 2), np.nan),
        to_minor_km=np.empty((count, ATOMS)),
        to_limit_km=np.empty((count, ATOMS)),
        to_dangerous_km=np.empty((count, ATOMS)),
    )


def _store(forecast: WearForecast, series: WearSeries, chosen: IntArray, atoms: Atoms) -> None:
    """Write the forecasts of the chosen series from their possibilities."""
    life_km = series.life_km[chosen][:, None]
    new = series.new_value[chosen][:, None]
    depth = series.limit_value[chosen][:, None] - new
    to_limit = atoms.distance_to(np.ones(len(chosen))) * life_km
    in_km = band_of(to_limit)
    _put(forecast.limit_in_km, chosen, in_km)
    now_km = series.now_clock_km[chosen]
    _put(forecast.limit_at_clock_km, chosen, Band(now_km + in_km.low, now_km + in_km.median, now_km + in_km.high))
    _put(forecast.value_now, chosen, band_of(new + depth * atoms.wear_now))
    _put(forecast.wear_per_1000_km, chosen, band_of(np.abs(depth) * atoms.rate / life_km * 1000.0))
    forecast.limit_passed_fraction[chosen] = atoms.passed_fraction()
    forecast.to_limit_km[chosen] = _thinned(to_limit)
    minor = _level(series.minor_value[chosen], new[:, 0], depth[:, 0], missing=1.0)
    dangerous = _level(series.dangerous_value[chosen], new[:, 0], depth[:, 0], missing=np.inf)
    forecast.to_minor_km[chosen] = _thinned(atoms.distance_to(np.minimum(minor, 1.0)) * life_km)
    forecast.to_dangerous_km[chosen] = _thinned(atoms.distance_to(np.maximum(dangerous, 1.0)) * life_km)


def _store_renewals(
    forecast: WearForecast, series: WearSeries, chosen: IntArray, clock_km: FloatArray, chance: FloatArray
) -> None:
    """Write how likely a renewal went unrecorded and, where it is more likely than not, in which gap."""
    renewed = 1.0 - chance[:, 0]
    gap = chance[:, 1:].argmax(axis=1)
    events = np.concatenate([series.fitted_clock_km[chosen][:, None], clock_km], axis=1)
    row = np.arange(len(chosen))
    between = np.stack([events[row, gap], events[row, gap + 1]], axis=1)
    forecast.renewal_suspected_fraction[chosen] = renewed
    forecast.renewal_suspected_between_km[chosen] = np.where(renewed[:, None] > _SUSPECTED_FRACTION, between, np.nan)


def _level(value: FloatArray, new: FloatArray, depth: FloatArray, *, missing: float) -> FloatArray:
    """A value as a fraction of the wear to the limit; `missing` where there is none."""
    return np.where(np.isnan(value), missing, (value - new) / depth)


def _thinned(samples: AnyFloatArray) -> AnyFloatArray:
    """Every third of sorted samples, the middle one of its three: the same quantiles with fewer points."""
    return samples[:, _THIN // 2 :: _THIN]


def _put(target: Band, chosen: IntArray, band: Band) -> None:
    target.low[chosen], target.median[chosen], target.high[chosen] = band.low, band.median, band.high
