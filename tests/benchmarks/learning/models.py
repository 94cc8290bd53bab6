"""What telling models of vehicle apart is worth, in workshops with a hidden truth.

    python -m tests.benchmarks.learning.models

Twenty kinds of part, two of each on every vehicle, whose true lives are off the book by kind (log sd 0.25), by model
and by vehicle (0.20). The records are those of `records.kept_histories`; then every part that came to the workshop new
is fitted anew, of an age evenly spread over its true scale, and asked whether it fails within 10,000 km.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.lives import LearnedLives
from inspections.core.model_factors import FactorLesson, ModelFactors, learn_with_models
from inspections.core.part_ages import Histories
from inspections.core.shrinkage import learn_with_common_bias
from inspections.core.types import FloatArray, IntArray
from tests.benchmarks.learning.records import BOOK_SCALE_KM, Habits, Truth, book_life_km, kept_histories

KINDS, SLOTS = 20, 2
HORIZON_KM = 10_000.0


@dataclass(frozen=True, slots=True)
class Workshop:
    """Records of V vehicles, and what nobody there knows."""

    histories: Histories
    vehicle: IntArray
    model: IntArray
    """Of each vehicle, -1 where it is the only one."""
    truth: Truth
    log_factor: FloatArray
    """Of each vehicle on the truth."""


def draw_workshop(
    seed: int,
    sizes: tuple[int, ...],
    factors: FloatArray,
    singles: int = 0,
    vehicle_sd: float = 0.2,
    kinds: int = KINDS,
    followed_km: float = 100_000.0,
) -> Workshop:
    """`sizes` vehicles of each model, whose parts last `factors` times as long, and `singles` of no shared model."""
    rng = np.random.default_rng(seed)
    truth = Truth(np.log(BOOK_SCALE_KM) + rng.normal(0.0, 0.25, kinds), rng.normal(np.log(3.0), 0.25, kinds))
    model = np.concatenate((np.repeat(np.arange(len(sizes)), sizes), np.full(singles, -1)))
    told = np.concatenate((np.repeat(np.log(factors), sizes), np.zeros(singles)))
    log_factor = told + vehicle_sd * rng.standard_normal(len(model))
    kept = [
        kept_histories(rng, Truth(truth.log_scale + own, truth.log_shape), SLOTS, Habits(followed_km=followed_km))
        for own in log_factor
    ]
    together = Histories(*(np.concatenate([getattr(each, name) for each in kept]) for name in Histories.__slots__))
    vehicle = np.repeat(np.arange(len(model)), [len(each.kind) for each in kept])
    return Workshop(together, vehicle, model, truth, log_factor)


def learned(shop: Workshop) -> tuple[LearnedLives, ModelFactors]:
    """As the worker learns it."""
    book = np.full(len(shop.truth.log_scale), book_life_km())
    return learn_with_models(shop.histories, shop.vehicle, shop.model, int(shop.model.max()) + 1, book)


def without_models(shop: Workshop) -> LearnedLives:
    """Lives by kind of part alone."""
    return learn_with_common_bias(shop.histories, np.full(len(shop.truth.log_scale), book_life_km()))[0]


def chances(lives: LearnedLives, factor: FloatArray, age_km: FloatArray) -> FloatArray:
    """Chance that a part fails within the horizon, by vehicle and kind; ages and result of shape (V, G)."""
    scale, shape = lives.fit.scale_km * factor[:, None], lives.fit.shape
    return _fails_within(age_km, scale, shape)


def _fails_within(age_km: FloatArray, scale: FloatArray, shape: FloatArray) -> FloatArray:
    return np.asarray(-np.expm1((age_km / scale) ** shape - ((age_km + HORIZON_KM) / scale) ** shape))


def forecast_errors(shop: Workshop, seed: int) -> dict[str, FloatArray]:
    """Forecasts of failure by vehicle and kind, with and without models, beside the true chances; shape (V, G)."""
    rng = np.random.default_rng(seed)
    scale = np.exp(shop.truth.log_scale + shop.log_factor[:, None])
    age = rng.uniform(0.0, 1.0, scale.shape) * scale
    lives, factors = learned(shop)
    factor = np.append(factors.believed, 1.0)[shop.model]
    return {
        "truth": _fails_within(age, scale, np.exp(shop.truth.log_shape)),
        "with models": chances(lives, factor, age),
        "without": chances(without_models(shop), np.ones(len(shop.model)), age),
        "factor": factor,
    }


def coverage(
    sizes: tuple[int, ...], singles: int, model_sd: float, vehicle_sd: float, shops: int, seed: int, kinds: int = KINDS
) -> dict[str, float]:
    """How often the 80 % interval of a factor holds the truth, what is believed, and errors of log life by model."""
    held, believed, ours, plain = [], [], [], []
    for number in range(shops):
        rng = np.random.default_rng(seed + 1000 * number)
        shop = draw_workshop(
            seed + number, sizes, np.exp(model_sd * rng.standard_normal(len(sizes))), singles, vehicle_sd, kinds
        )
        lives, factors = learned(shop)
        mean = np.array([shop.log_factor[shop.model == each].mean() for each in range(len(sizes))])
        everyone = np.append(mean, shop.log_factor[shop.model < 0].mean() if singles else 0.0)
        middle = np.median(everyone[shop.model])
        held.append((np.log(factors.factor.low) <= mean - middle) & (mean - middle <= np.log(factors.factor.high)))
        believed.append(factors.lesson == FactorLesson.LEARNED)
        off, plain_off = (np.mean(each.fit.log_scale - shop.truth.log_scale) for each in (lives, without_models(shop)))
        ours.append(off + np.log(factors.believed) - mean)
        plain.append(plain_off - mean)
    return {
        "coverage_fraction": round(float(np.mean(held)), 3),
        "believed_fraction": round(float(np.mean(believed)), 3),
        "log_life_rmse_with_models": round(float(np.sqrt(np.mean(np.square(ours)))), 3),
        "log_life_rmse_without": round(float(np.sqrt(np.mean(np.square(plain)))), 3),
    }


def one_short_lived_model(shops: int, seed: int) -> dict[str, dict[str, float]]:
    """Twelve vehicles of a model at 0.7 of the fleet's lives beside 24 of four others: forecasts for it and others."""
    gathered: dict[str, list[FloatArray]] = {}
    for number in range(shops):
        shop = draw_workshop(seed + number, (12, 6, 6, 6, 6), np.array([0.7, 1.0, 1.0, 1.0, 1.0]))
        for name, figures in forecast_errors(shop, seed + number).items():
            gathered.setdefault(name, []).append(figures)
    report = {}
    for who, rows in (("the model at 0.7", slice(0, 12)), ("the others", slice(12, None))):
        truth = np.concatenate([each[rows].ravel() for each in gathered["truth"]])
        report[who] = {"true_chance_fraction": round(float(truth.mean()), 4)}
        for way in ("with models", "without"):
            said = np.concatenate([each[rows].ravel() for each in gathered[way]])
            report[who] |= {
                f"{way}: predicted over true": round(float(said.mean() / truth.mean()), 3),
                f"{way}: error of chance (rms)": round(float(np.sqrt(np.mean((said - truth) ** 2))), 4),
            }
    return report


def main() -> None:
    """Prints it all; about a minute."""
    worlds = {
        "five models of 3 to 8 and 10 single, models differ (0.2)": ((3, 4, 6, 8, 3), 10, 0.2, 0.2, 40, 900),
        "the same, models alike, vehicles differ": ((3, 4, 6, 8, 3), 10, 0.0, 0.2, 40, 900),
        "the same, nothing differs": ((3, 4, 6, 8, 3), 10, 0.0, 0.0, 40, 900),
        "few vehicles, 6 kinds of part": ((2, 2, 3, 3, 2), 4, 0.2, 0.2, 40, 900, 6),
        "hardly any records: 4 models of 2, 3 kinds": ((2, 2, 2, 2), 2, 0.2, 0.2, 40, 900, 3),
    }
    for name, world in worlds.items():
        print(name, coverage(*world))
    for who, figures in one_short_lived_model(15, 950).items():
        print(who, figures)


if __name__ == "__main__":
    main()
