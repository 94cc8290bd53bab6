"""How much longer or shorter parts last on one model of vehicle than on the fleet's vehicles at large.

On this fleet's vehicles of one model every part's life is f times what the fleet's records say of that kind of part.
The slope of the log likelihood in log f is summed over all kinds of part, each with its own law of lives, and
integrated over a grid; so one failure more or less, or none at all, needs no parabola. Log factors of models are drawn
from Student's law around 0 with an unknown spread s, and the vehicles of a model differ among themselves besides, by
`VEHICLE_SD`; s is summed over as well, so that models that all look alike are taken to be alike (hierarchical model:
Lindley & Smith 1972; Gelman et al., "Bayesian Data Analysis", chapter 5).

Lives of kinds and factors of models are learned in turns. What all models share belongs to the lives: factors are
told against the middle vehicle of the fleet.
"""

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np

from inspections.core.lives import FEWEST_ENDED, LearnedLives
from inspections.core.part_ages import NOTICED_WITHIN_KM, Histories, Rows, censored, dated, ended_share, undated
from inspections.core.plausible_lives import GREATEST_SCALE, LEAST_SCALE
from inspections.core.shrinkage import learn_with_common_bias
from inspections.core.types import BoolArray, FloatArray, IntArray
from inspections.core.weibull import Band, WeibullFit
from inspections.core.weibull_sample import Sample, log_likelihood

VEHICLE_SD = 0.2
"""Spread of lives, in natural logarithms, between vehicles of one model (common practice, no source)."""
SPREAD_SD = 0.25
"""The spread between models is believed to be half-normal with this scale (common practice, no source)."""
FREEDOM = 3.0
"""Degrees of freedom of the law of log factors (Student's t): most models differ little, and one may stand out."""
FEWEST_VEHICLES = 2
"""A single vehicle says as much of its owner as of its model."""
CLEAR_LEVEL = 0.95
"""A factor is believed where its interval at this level leaves out 1: others are better judged by the fleet's lives."""
MOST_ROUNDS = 3
SETTLED = 0.01

_REACH = 1.2
_SLOPES = np.linspace(-_REACH, _REACH, 25)
_GRID = np.linspace(-_REACH, _REACH, 481)
_SPREADS = np.linspace(0.0, 3.0 * SPREAD_SD, 41)[1:]


class FactorLesson(IntEnum):
    """What the fleet's history says of one model, and whether it is to be believed."""

    LEARNED = 0
    TOO_FEW_FAILURES = 1
    NO_DIFFERENCE = 2
    """The record does not tell this model from the fleet's other vehicles beyond doubt."""
    NOTHING_TO_COMPARE = 3
    """All vehicles with a record are of this model, and the fleet's lives say it all."""
    IMPLAUSIBLE = 4


@dataclass(frozen=True, slots=True)
class ModelFactors:
    """Factors on the fleet's lives, arrays of shape (M,)."""

    factor: Band
    lesson: IntArray
    vehicles: IntArray
    """Those with any record."""
    records: IntArray
    ended: IntArray

    @property
    def believed(self) -> FloatArray:
        """The factors to judge by: 1 where the record does not bear one out."""
        return np.where(self.lesson == FactorLesson.LEARNED, self.factor.value, 1.0)


@dataclass(frozen=True, slots=True)
class _Groups:
    """Which records are of which model; those of no model that others share come last, as row M of M + 1."""

    of_record: IntArray
    vehicles: IntArray
    """Vehicles with a record, shape (M + 1,)."""
    records: IntArray
    ended: IntArray

    @classmethod
    def of(cls, histories: Histories, vehicle: IntArray, model: IntArray, models: int) -> "_Groups":
        group = np.where(model < 0, models, model)
        counts = models + 1
        return cls(
            of_record=group[vehicle],
            vehicles=np.bincount(group[np.unique(vehicle)], minlength=counts),
            records=np.bincount(group[vehicle], minlength=counts),
            ended=np.bincount(group[vehicle][histories.has_ended()], minlength=counts),
        )


def learn_with_models(
    histories: Histories,
    vehicle: IntArray,
    model: IntArray,
    models: int,
    book_life_km: FloatArray,
    level: float = 0.8,
) -> tuple[LearnedLives, ModelFactors]:
    """Lives of all kinds (`book_life_km` of shape (G,), km) and the factors of `models` models on them.

    `vehicle` (N,) is each record's row in `model` (V,), which says which model a vehicle is of; -1 where it shares its
    model with no other vehicle, or nobody wrote it down. The lives are those of vehicles without a believed factor.
    Intervals are at `level`.
    """
    groups = _Groups.of(histories, vehicle, model, models)
    if not models:
        nothing = np.zeros(0)
        none = np.zeros(0, dtype=np.int64)
        lives, _ = learn_with_common_bias(histories, book_life_km, level)
        return lives, ModelFactors(Band(nothing, nothing, nothing), none, none, none, none)
    believed = np.ones(models)
    fit: WeibullFit | None = None
    for _ in range(MOST_ROUNDS):
        alike = histories.scaled(1.0 / np.append(believed, 1.0)[groups.of_record])
        lives, _ = learn_with_common_bias(alike, book_life_km, level, fit)
        fit = lives.fit
        factors = _factors(_posterior(histories, groups, fit), groups, level)
        before, believed = believed, factors.believed
        if np.abs(np.log(believed / before)).max() < SETTLED:
            break
    return lives, factors


def _factors(chance: FloatArray, groups: _Groups, level: float) -> ModelFactors:
    """Factors told against the middle vehicle, without the row of the vehicles of no model."""
    middle = _middle_group(_quantile(chance, 0.5), groups.vehicles)
    band, clear = (_told_against(middle, chance, each) for each in (level, CLEAR_LEVEL))
    return ModelFactors(
        factor=band,
        lesson=_lessons(band, (clear.low > 1.0) | (clear.high < 1.0), groups),
        vehicles=groups.vehicles[:-1],
        records=groups.records[:-1],
        ended=groups.ended[:-1],
    )


def _middle_group(log_factor: FloatArray, vehicles: IntArray) -> int:
    """The group of the fleet's middle vehicle."""
    order = np.argsort(log_factor)
    reached = np.cumsum(vehicles[order])
    return int(order[np.searchsorted(reached, 0.5 * reached[-1])])


def _told_against(middle: int, chance: FloatArray, level: float) -> Band:
    """Factors of the models against one of the groups, which is itself not known exactly."""
    low, median, high = (_quantile(chance, share) for share in (0.5 - level / 2.0, 0.5, 0.5 + level / 2.0))
    other = np.arange(len(median)) != middle
    down = np.hypot(median - low, other * (high - median)[middle])
    up = np.hypot(high - median, other * (median - low)[middle])
    told = median - median[middle]
    return Band(*(np.exp(each[:-1]) for each in (told, told - down, told + up)))


def _quantile(chance: FloatArray, share: float) -> FloatArray:
    """Log factor of each group, shape (M + 1,), below which `share` of its chances lie.

    The middle counts as the estimate: where nothing failed chances have a long tail to long lives, which pulls a mean.
    """
    return np.asarray(_GRID[np.argmax(np.cumsum(chance, axis=1) >= share, axis=1)])


def _lessons(band: Band, clear: BoolArray, groups: _Groups) -> IntArray:
    few = (groups.ended < FEWEST_ENDED) | (groups.vehicles < FEWEST_VEHICLES)
    alone = groups.vehicles == groups.vehicles.sum()
    wild = (band.value < LEAST_SCALE) | (band.value > GREATEST_SCALE)
    reasons = [
        (few[:-1], FactorLesson.TOO_FEW_FAILURES),
        (alone[:-1], FactorLesson.NOTHING_TO_COMPARE),
        (wild, FactorLesson.IMPLAUSIBLE),
        (~clear, FactorLesson.NO_DIFFERENCE),
    ]
    return np.select([each for each, _ in reasons], [why.value for _, why in reasons], FactorLesson.LEARNED.value)


def _posterior(histories: Histories, groups: _Groups, fit: WeibullFit) -> FloatArray:
    """Chances of each group's log factors on the grid, shape (M + 1, J), given the laws of the kinds."""
    slope = _slopes(histories.noticed_within(NOTICED_WITHIN_KM), groups, fit)
    fine = np.stack([np.interp(_GRID, _SLOPES, each) for each in slope])
    step = _GRID[1] - _GRID[0]
    log_likelihoods = np.hstack(
        (np.zeros((len(fine), 1)), np.cumsum(0.5 * step * (fine[:, 1:] + fine[:, :-1]), axis=1))
    )
    likelihood = np.exp(log_likelihoods - log_likelihoods.max(axis=1, keepdims=True))
    prior = (1.0 + (_GRID / _SPREADS[:, None]) ** 2 / FREEDOM) ** (-0.5 * (FREEDOM + 1.0))
    prior = np.stack([prior @ _of_vehicles(count) for count in groups.vehicles])
    prior /= prior.sum(axis=2, keepdims=True)
    evidence = np.vecdot(prior, likelihood[:, None, :])
    log_chance = np.log(evidence[:-1]).sum(axis=0) - 0.5 * (_SPREADS / SPREAD_SD) ** 2
    of_spread = np.exp(log_chance - log_chance.max())
    of_spread /= of_spread.sum()
    return np.asarray(likelihood * ((of_spread / evidence)[:, None, :] @ prior)[:, 0])


def _of_vehicles(count: int) -> FloatArray:
    """From what holds for a model to what holds on average for so many of its vehicles; by column, shape (J, J)."""
    kernel = np.exp(-0.5 * max(count, 1) * ((_GRID[:, None] - _GRID) / VEHICLE_SD) ** 2)
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


def _slopes(histories: Histories, groups: _Groups, fit: WeibullFit) -> FloatArray:
    """Slope of the log likelihood of each group in its log factor at the coarse grid, shape (M + 1, 25).

    Every pair of a group and a kind of part has its own law: the kind's, stretched. Missing dates and reasons are
    filled in as `lives` does it.
    """
    kinds = len(fit.log_scale)
    pair, row = np.unique(groups.of_record * kinds + histories.kind, return_inverse=True)
    group, kind = pair // kinds, pair % kinds
    share, shape = ended_share(histories, kinds)[kind], fit.shape[kind]
    paired = replace(histories, kind=row)
    known = _sample(censored(paired, dated(paired), share), len(pair))
    slopes = np.empty((len(groups.vehicles), len(_SLOPES)))
    for column, log_factor in enumerate(_SLOPES):
        log_scale = fit.log_scale[kind] + log_factor
        gaps = undated(paired, np.exp(log_scale), shape, share)
        filled = _sample(censored(paired, gaps, share), len(pair))
        here = sum(log_likelihood(each, log_scale, fit.log_shape[kind]).m for each in (known, filled))
        slopes[:, column] = np.bincount(group, here, minlength=len(slopes))
    return slopes


def _sample(rows: Rows, groups: int) -> Sample:
    low, high, group, entry, weight = rows.ages.columns()
    return Sample.of(low, high, group, groups, entry, weight)
