"""The distributions that lives are made of: Weibull to the first sign, gamma from sign to sign.

Only what the judge needs, on NumPy alone, so that judging loads no statistics library.
"""

import math

import numpy as np

from inspections.core.types import FloatArray

STAGE_SHAPE = 4
"""Gamma shape of every stage between two grades: a coefficient of variation of 0.5."""

_NARROWEST_SHAPE, _WIDEST_SHAPE = 200.0, 0.4
_TINY = 1e-300


def weibull_shape(cv: FloatArray) -> FloatArray:
    """Weibull shape whose coefficient of variation is `cv` (same shape; held to 0.0064 to 3.15).

    Bisection of log shape in CV^2 = Gamma(1 + 2/k) / Gamma(1 + 1/k)^2 - 1, which falls as k rises.
    """
    values, back = np.unique(np.asarray(cv, dtype=np.float64), return_inverse=True)
    return np.array([_shape_of(value) for value in values])[back].reshape(np.shape(cv))


def weibull_moment(shape: FloatArray, order: int) -> FloatArray:
    """E[X^order] of a Weibull life of mean 1 and the given shapes."""
    values, back = np.unique(np.asarray(shape, dtype=np.float64), return_inverse=True)
    moments = [math.exp(math.lgamma(1.0 + order / k) - order * math.lgamma(1.0 + 1.0 / k)) for k in values]
    return np.array(moments)[back].reshape(np.shape(shape))


def weibull_scale(mean: FloatArray, shape: FloatArray) -> FloatArray:
    """Weibull scale (the age that 63.2 % do not outlive) of lives of the given means and shapes, both (R,)."""
    return np.array([each / math.gamma(1.0 + 1.0 / k) for each, k in zip(mean, shape, strict=True)])


def weibull_quantile(fraction: FloatArray, shape: FloatArray) -> FloatArray:
    """Quantiles at `fraction` (0 to 1, exclusive) of Weibull lives of scale 1; the arguments broadcast."""
    return np.asarray((-np.log1p(-fraction)) ** (1.0 / shape))


def stage_quantile(fraction: FloatArray) -> FloatArray:
    """Quantiles at `fraction` (0 to 1, exclusive) of a stage of mean 1: gamma with shape `STAGE_SHAPE` (Erlang).

    Bisection of the closed distribution function 1 - exp(-x) (1 + x + x^2/2 + x^3/6), to the last digits.
    """
    low, high = np.zeros_like(fraction), np.full_like(fraction, 120.0)
    for _ in range(64):
        middle = 0.5 * (low + high)
        below = 1.0 - np.exp(-middle) * (1.0 + middle * (1.0 + middle * (0.5 + middle / 6.0))) < fraction
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(0.5 * (low + high) / STAGE_SHAPE)


def gamma_survival(shape: FloatArray, x: FloatArray) -> FloatArray:
    """Chance that a gamma variable of scale 1 exceeds `x` >= 0; arguments broadcast, shape above 0.

    The regularised upper incomplete gamma function: the power series below x = shape + 1, Lentz's continued fraction
    above (Press, Teukolsky, Vetterling & Flannery, "Numerical Recipes", 6.2). Eleven digits for shapes up to 200.
    """
    a, at = np.broadcast_arrays(np.asarray(shape, dtype=np.float64), np.asarray(x, dtype=np.float64))
    log_gamma = np.array([math.lgamma(value) for value in a.ravel()]).reshape(a.shape)
    safe = np.maximum(at, _TINY)
    front = np.exp(a * np.log(safe) - safe - log_gamma)
    small = at < a + 1.0
    series = 1.0 - front * _power_series(a, np.where(small, safe, 1.0))
    fraction = front * _continued_fraction(a, np.where(small, a + 2.0, safe))
    return np.asarray(np.clip(np.where(small, series, fraction), 0.0, 1.0))


def _shape_of(cv: float) -> float:
    low, high = math.log(_WIDEST_SHAPE), math.log(_NARROWEST_SHAPE)
    for _ in range(60):
        middle = 0.5 * (low + high)
        k = math.exp(middle)
        spread = math.expm1(math.lgamma(1.0 + 2.0 / k) - 2.0 * math.lgamma(1.0 + 1.0 / k))
        low, high = (middle, high) if spread > cv * cv else (low, middle)
    return math.exp(0.5 * (low + high))


def _power_series(a: FloatArray, x: FloatArray) -> FloatArray:
    term = 1.0 / a
    total = term
    for step in range(1, 400):
        term = term * x / (a + step)
        total = total + term
        if np.all(term < 1e-16 * total):
            break
    return total


def _continued_fraction(a: FloatArray, x: FloatArray) -> FloatArray:
    b = x + 1.0 - a
    c = np.full_like(x, 1.0 / _TINY)
    d = 1.0 / b
    value = d
    for step in range(1, 400):
        numerator = -step * (step - a)
        b = b + 2.0
        d = 1.0 / _away_from_zero(numerator * d + b)
        c = _away_from_zero(b + numerator / c)
        value = value * d * c
        if np.all(np.abs(d * c - 1.0) < 1e-15):
            break
    return value


def _away_from_zero(x: FloatArray) -> FloatArray:
    return np.where(np.abs(x) < _TINY, _TINY, x)
