"""Which odometer readings to believe: the most that never run backwards."""

from bisect import bisect_right

import numpy as np

from inspections.core.types import FloatArray, IntArray

BIN_DAYS = 7.0


def forward_readings(vehicle: IntArray, day: FloatArray, odometer_km: FloatArray, vehicles: int) -> IntArray:
    """Indices of the readings to use, sorted by vehicle and day; inputs have shape (N,).

    A reading below an earlier one is left out; where more readings survive by leaving out a high one instead (a digit
    too many), that is done. Of several readings within a week the last is kept, so that a vehicle that reports every
    day costs no more than one that is read now and then.
    """
    order = np.lexsort((odometer_km, day, vehicle))
    order = order[np.isfinite(day[order]) & np.isfinite(odometer_km[order])]
    kept = order[_never_backwards(vehicle[order], odometer_km[order], vehicles)]
    return kept[_last_of_each_week(vehicle[kept], day[kept])]


def _never_backwards(vehicle: IntArray, odometer_km: FloatArray, vehicles: int) -> IntArray:
    """Positions kept, for readings sorted by vehicle and day."""
    keep = np.ones(len(vehicle), dtype=bool)
    backwards = (np.diff(odometer_km) < 0.0) & (np.diff(vehicle) == 0)
    end = np.cumsum(np.bincount(vehicle, minlength=vehicles))
    for culprit in np.unique(vehicle[1:][backwards]):
        begin = end[culprit - 1] if culprit else 0
        keep[begin : end[culprit]] = _forward_mask(odometer_km[begin : end[culprit]])
    return np.flatnonzero(keep)


def _forward_mask(odometer_km: FloatArray) -> np.ndarray:
    """Mask of one vehicle's readings that never run backwards: simple running maximum, unless it loses more."""
    running = odometer_km >= np.maximum.accumulate(odometer_km)
    longest = _longest_forward(odometer_km.tolist())
    if len(longest) <= int(running.sum()):
        return np.asarray(running)
    mask = np.zeros(len(odometer_km), dtype=bool)
    mask[longest] = True
    return mask


def _longest_forward(values: list[float]) -> list[int]:
    """Indices of a longest non-decreasing subsequence (patience sorting, Fredman 1975)."""
    tails: list[float] = []
    tail_at: list[int] = []
    before: list[int] = []
    for index, value in enumerate(values):
        length = bisect_right(tails, value)
        before.append(tail_at[length - 1] if length else -1)
        tails[length : length + 1] = [value]
        tail_at[length : length + 1] = [index]
    chain = []
    index = tail_at[-1] if tail_at else -1
    while index >= 0:
        chain.append(index)
        index = before[index]
    return chain[::-1]


def _last_of_each_week(vehicle: IntArray, day: FloatArray) -> IntArray:
    """Positions of the last reading of each vehicle's week; a vehicle's last reading is always among them."""
    if not len(vehicle):
        return np.zeros(0, dtype=np.int64)
    week = np.floor(day / BIN_DAYS)
    last = np.append((np.diff(vehicle) != 0) | (np.diff(week) != 0), True)
    return np.flatnonzero(last)
