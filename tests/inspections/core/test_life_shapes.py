"""The distributions that lives are made of, held against SciPy."""

import numpy as np
import pytest
from scipy import special, stats

from inspections.core import life_shapes


@pytest.mark.parametrize("shape", [0.7, 1.0, 2.0, 3.2, 12.0])
def test_a_weibull_shape_is_found_from_the_spread_it_gives(shape: float) -> None:
    spread = stats.weibull_min(shape).std() / stats.weibull_min(shape).mean()
    assert life_shapes.weibull_shape(np.array([spread])) == pytest.approx(shape, rel=1e-9)


def test_the_exponential_is_the_weibull_whose_spread_equals_its_mean() -> None:
    assert life_shapes.weibull_shape(np.array([[1.0], [1.0]])) == pytest.approx(np.ones((2, 1)), rel=1e-12)


def test_weibull_lives_have_the_mean_moments_and_quantiles_of_the_reference() -> None:
    shape, mean = np.array([1.3, 3.0]), np.array([2.0, 150_000.0])
    scale = life_shapes.weibull_scale(mean, shape)
    reference = stats.weibull_min(shape, scale=scale)
    fractions = np.array([[0.01], [0.5], [0.99]])
    assert reference.mean() == pytest.approx(mean)
    assert scale * life_shapes.weibull_quantile(fractions, shape) == pytest.approx(reference.ppf(fractions))
    for order in (2, 3):
        expected = [law.moment(order) / each**order for law, each in zip(_laws(shape, scale), mean, strict=True)]
        assert life_shapes.weibull_moment(shape, order) == pytest.approx(np.array(expected))


def test_stages_have_the_quantiles_of_a_gamma_law_with_half_its_mean_as_spread() -> None:
    fractions = np.array([1e-4, 0.01, 0.2, 0.5, 0.9, 0.999])
    reference = stats.gamma(4.0, scale=0.25)
    assert life_shapes.stage_quantile(fractions) == pytest.approx(reference.ppf(fractions), rel=1e-10)
    assert reference.std() / reference.mean() == pytest.approx(0.5)


def test_gamma_survival_agrees_with_the_reference_in_both_tails() -> None:
    shape = np.array([0.3, 1.0, 2.5, 8.0, 60.0])[:, None]
    x = np.array([0.0, 1e-3, 0.5, 2.0, 7.0, 30.0, 90.0])
    assert life_shapes.gamma_survival(shape, x) == pytest.approx(special.gammaincc(shape, x), rel=1e-10, abs=1e-14)


def _laws(shape: np.ndarray, scale: np.ndarray) -> list[stats.rv_continuous]:
    return [stats.weibull_min(k, scale=each) for k, each in zip(shape, scale, strict=True)]
