"""Measured parts of a batch: their readings, and the wear forecast that rests on them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.grading import governing_limit
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.schema import Measurement
from inspections.core.plausible_lives import STAGE_SHARES
from inspections.core.types import Cells, FloatArray, IntArray, LifeBook, Residuals
from inspections.core.wear import WearForecast, WearReadings, WearSeries, forecast_wear
from inspections.services.looks import Seen


@dataclass(frozen=True, slots=True)
class MeasuredParts:
    """The cells with at least one figure that wears, and what is to be expected of them."""

    cell: IntArray
    """Rows of the batch's cells, ascending, shape (M,)."""
    check_keys: tuple[str, ...]
    readings: WearReadings
    limit: FloatArray
    forecast: WearForecast
    pf_km: FloatArray

    def residuals(self, of: IntArray, atoms: int) -> Residuals:
        """The forecast as equally weighted possibilities, for rows `of` of the measured parts; shape (len(of), atoms).

        Where no figure is dangerous by itself, and for failing, the stages of the P-F interval go on from the limit.
        """
        pick = (np.arange(atoms) + 0.5) / atoms
        forecast, pf_km = self.forecast, self.pf_km[of, None]
        column = (pick * forecast.to_limit_km.shape[1]).astype(np.int64)
        minor, limit, danger = (
            each[of][:, column] for each in (forecast.to_minor_km, forecast.to_limit_km, forecast.to_dangerous_km)
        )
        _, bad, worst = STAGE_SHARES
        danger = np.where(np.isfinite(danger), danger, limit + bad * pf_km)
        failure = danger + worst / bad * np.maximum(danger - limit, bad * pf_km * 0.5)
        return Residuals(np.full(limit.shape, 1.0 / atoms), np.minimum(minor, limit), limit, danger, failure)

    def without(self, cells: IntArray) -> "MeasuredParts":
        """The same with no figure measured at these rows of the batch's cells."""
        kept = np.flatnonzero(~np.isin(self.cell, cells))
        place = np.full(len(self.cell), -1)
        place[kept] = np.arange(len(kept))
        of_kept = place[self.readings.series] >= 0
        series = place[self.readings.series[of_kept]]
        readings = WearReadings(series, self.readings.clock_km[of_kept], self.readings.value[of_kept])
        keys = tuple(self.check_keys[index] for index in kept.tolist())
        return MeasuredParts(
            self.cell[kept], keys, readings, self.limit[kept], self.forecast.of(kept), self.pf_km[kept]
        )


@lru_cache(maxsize=1)
def wearing_checks() -> dict[str, str]:
    """The check by which a part's wear is followed, by part: the first whose figure wears steadily."""
    chosen: dict[str, str] = {}
    for key, entry in default_catalogue().checks.items():
        if entry.check.measurement is not None and entry.check.measurement.wears:
            chosen.setdefault(entry.part.key, key)
    return chosen


def measured_parts(
    catalogue: Catalogue,
    book: LifeBook,
    scheme: str,
    cells: Cells,
    seen: Seen,
    clock_km: FloatArray,
    life_factor: FloatArray,
) -> MeasuredParts:
    """Wear forecasts of the parts measured among what was `seen`, whose clock readings are `clock_km` (N,).

    `life_factor` (K,) is each cell's life over the book's.
    """
    chosen = set(wearing_checks().values())
    followed = np.array([key in chosen for key in seen.check_keys], dtype=bool)
    kept = np.flatnonzero(~np.isnan(seen.value) & followed[seen.check]) if len(followed) else seen.check
    cell, series = np.unique(seen.cell[kept], return_inverse=True)
    keys = [wearing_checks()[catalogue.slots[int(slot)].part_key] for slot in cells.slot[cell]]
    measured = [_measurement(catalogue, key) for key in keys]
    limit = np.array([governing_limit(each, scheme).value for each in measured])
    readings = WearReadings(series, clock_km[kept], seen.value[kept])
    pf_km = book.pf_km[cells.slot[cell]] * np.minimum(life_factor[cell], 1.0)
    forecast = forecast_wear(
        WearSeries(
            new_value=np.array([each.new for each in measured]),
            minor_value=np.array([each.minor for each in measured]),
            limit_value=limit,
            dangerous_value=np.array([np.nan if each.dangerous is None else each.dangerous for each in measured]),
            noise_sd=np.array([each.noise_sd for each in measured]),
            life_km=book.life_km[cells.slot[cell]] * life_factor[cell],
            fitted_clock_km=cells.fitted_clock_km[cell],
            now_clock_km=cells.now_clock_km[cell],
        ),
        readings,
        kin=_kin(cells.vehicle[cell], keys),
    )
    return MeasuredParts(cell, tuple(keys), readings, limit, forecast, pf_km)


def _kin(vehicle: IntArray, keys: Sequence[str]) -> IntArray:
    """Parts followed by the same check at the same vehicle, shape (M,): equal numbers for those together."""
    number: dict[str, int] = {}
    kind = np.array([number.setdefault(key, len(number)) for key in keys], dtype=np.int64)
    return np.asarray(vehicle * max(len(number), 1) + kind)


def _measurement(catalogue: Catalogue, key: str) -> Measurement:
    measurement = catalogue.checks[key].check.measurement
    if measurement is None:
        raise KeyError(f"{key} has nothing to measure")
    return measurement
