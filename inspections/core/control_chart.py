"""Control charts for small lasting shifts: tabular CUSUM and EWMA, over one series or many at once."""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import FloatArray, IntArray

NO_SIGNAL = -1


@dataclass(frozen=True, slots=True)
class CusumChart:
    """Upper and lower sums, shape (..., N), and the index of the first signal, shape (...), or NO_SIGNAL."""

    upper: FloatArray
    lower: FloatArray
    first_signal: IntArray


@dataclass(frozen=True, slots=True)
class EwmaChart:
    """Averages, shape (..., N), their limits, and the index of the first signal, shape (...), or NO_SIGNAL."""

    average: FloatArray
    upper_limit: float
    lower_limit: float
    first_signal: IntArray


def cusum_step(total: FloatArray, excess: FloatArray, allowance: float) -> FloatArray:
    """The next one-sided sum, shape (S,): `excess` over the target less the allowance, never below 0 (Page 1954).

    NaN in `excess` stands for no observation and leaves the sum as it is.
    """
    return np.where(np.isnan(excess), total, np.maximum(0.0, total + excess - allowance))


def ewma_step(average: FloatArray, value: FloatArray, share: float) -> FloatArray:
    """The next average, shape (S,): the new value counts `share` (0 to 1); NaN leaves it as it is (Roberts 1959)."""
    return np.where(np.isnan(value), average, (1.0 - share) * average + share * value)


def cusum(values: FloatArray, *, target: float, allowance: float, decision: float) -> CusumChart:
    """Tabular CUSUM along the last axis of `values`, shape (..., N), all in one unit.

    `allowance` (half the shift worth finding) is taken off every deviation from `target`; a sum above `decision`
    signals. NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
    """
    upper, lower = np.zeros(values.shape), np.zeros(values.shape)
    high = low = np.zeros(values.shape[:-1])
    for index in range(values.shape[-1]):
        high = cusum_step(high, values[..., index] - target, allowance)
        low = cusum_step(low, target - values[..., index], allowance)
        upper[..., index], lower[..., index] = high, low
    return CusumChart(upper, lower, _first(np.maximum(upper, lower) > decision))


def ewma(values: FloatArray, *, target: float, sd: float, share: float, width_sd: float = 3.0) -> EwmaChart:
    """Exponentially weighted moving average along the last axis of `values`, shape (..., N), starting at `target`.

    Limits are the long-run ones, ``target ± width_sd * sd * sqrt(share / (2 - share))``; `sd` is that of single
    values. NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    """
    average = np.zeros(values.shape)
    current = np.full(values.shape[:-1], float(target))
    for index in range(values.shape[-1]):
        current = ewma_step(current, values[..., index], share)
        average[..., index] = current
    reach = width_sd * sd * float(np.sqrt(share / (2.0 - share)))
    outside = (average > target + reach) | (average < target - reach)
    return EwmaChart(average, target + reach, target - reach, _first(outside))


def _first(signal: np.ndarray) -> IntArray:
    return np.where(signal.any(axis=-1), signal.argmax(axis=-1), NO_SIGNAL).astype(np.int64)
