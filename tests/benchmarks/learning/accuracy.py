"""How close learned lives come to the truth, by what is done with the records.

    python -m tests.benchmarks.learning.accuracy

Targets (log scale, prior sd 0.4): root mean square error at most 0.20, 0.11 and 0.05 at 5, 20 and 100 records, and
never worse than the better of the prior alone and maximum likelihood.
"""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from inspections.core.lives import book_prior, learn_lives
from inspections.core.part_ages import Histories
from inspections.core.shrinkage import learn_with_common_bias
from inspections.core.types import BoolArray, FloatArray
from inspections.core.weibull import Ages, Prior, WeibullFit, fit_weibull
from tests.benchmarks.learning.records import (
    BOOK_SCALE_KM,
    PRIOR_SD,
    Habits,
    Truth,
    book_life_km,
    draw_truth,
    ended_only,
    kept_histories,
    looked_at_records,
    once_followed_records,
)

TARGETS = {5: 0.20, 20: 0.11, 100: 0.05}
FOLLOWED_KM = 200_000.0
_UNSEEN = Habits(found_by_looking_fraction=1.0, looks_on_record=False)
NOBODY_LOOKS = {
    "half fail and half are noticed worn out": replace(_UNSEEN, found_by_looking_fraction=0.5),
    "all noticed worn out within 3,000 km": replace(_UNSEEN, look_km=3_000.0),
    "all noticed worn out within 10,000 km": _UNSEEN,
    "all noticed worn out within 20,000 km": replace(_UNSEEN, look_km=20_000.0),
    "all noticed worn out within 40,000 km": replace(_UNSEEN, look_km=40_000.0),
    "failures only": replace(_UNSEEN, found_by_looking_fraction=0.0),
    "reasons never written down": replace(_UNSEEN, found_by_looking_fraction=0.5, reasons_known_fraction=0.0),
}
"""Fleets that write down fittings and removals and nothing else."""
LEVEL = 0.8


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Errors of log scale over kinds; only kinds that were fitted count."""

    rmse: float
    bias: float
    coverage: float
    fitted_fraction: float

    @classmethod
    def of(cls, fit: WeibullFit, truth: Truth) -> "Accuracy":
        """Of one way of fitting."""
        return cls.of_errors(fit.log_scale - truth.log_scale, np.sqrt(fit.scale_variance))

    @classmethod
    def of_errors(cls, error: FloatArray, sd: FloatArray) -> "Accuracy":
        """Of errors and the standard deviations claimed for them; NaN where nothing was fitted."""
        fitted: BoolArray = np.isfinite(error)
        reach = NormalDist().inv_cdf(0.5 + LEVEL / 2.0) * sd[fitted]
        covered = (np.abs(error[fitted]) < reach).mean()
        return cls(rmse(error[fitted]), float(error[fitted].mean()), float(covered), float(fitted.mean()))

    def __str__(self) -> str:
        return (
            f"rmse {self.rmse:.3f}  bias {self.bias:+.3f}  80 % interval covers {100 * self.coverage:.0f} %"
            f"  fitted {100 * self.fitted_fraction:.0f} %"
        )


def rmse(error: FloatArray) -> float:
    """Root mean square."""
    return float(np.sqrt((error**2).mean()))


def book(kinds: int) -> Prior:
    """The prior that the truth is drawn from."""
    return Prior.around(np.full(kinds, BOOK_SCALE_KM), PRIOR_SD)


def ways_of_fitting(ages: Ages, truth: Truth) -> dict[str, Accuracy]:
    """Prior alone, maximum likelihood, maximum a posteriori, and the classical error, on the same records."""
    kinds = len(truth.log_scale)
    nothing = Ages(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
    fits = {
        "prior": fit_weibull(nothing, kinds, book(kinds)),
        "likelihood": fit_weibull(ages, kinds),
        "posterior": fit_weibull(ages, kinds, book(kinds)),
        "ended only": fit_weibull(ended_only(ages), kinds),
    }
    return {name: Accuracy.of(fit, truth) for name, fit in fits.items()}


def by_records(records: int, kinds: int, seed: int) -> dict[str, Accuracy]:
    """Positions followed over two book lives, looked at every tenth of one."""
    rng = np.random.default_rng(seed)
    truth = draw_truth(rng, kinds)
    return ways_of_fitting(looked_at_records(rng, truth, records, FOLLOWED_KM), truth)


def once_followed(records: int, kinds: int, seed: int) -> dict[str, Accuracy]:
    """Single lives, more than half of them still running when the records end."""
    rng = np.random.default_rng(seed)
    truth = draw_truth(rng, kinds)
    return ways_of_fitting(once_followed_records(rng, truth, records), truth)


def undated(positions: int, kinds: int, seed: int, habits: Habits) -> dict[str, Accuracy]:
    """Used vehicles with gaps in their papers: all records, and only those whose fitting is known."""
    rng = np.random.default_rng(seed)
    truth = draw_truth(rng, kinds)
    histories = kept_histories(rng, truth, positions, habits)
    life = np.full(kinds, book_life_km())
    return {
        "all records": Accuracy.of(learn_lives(histories, life).fit, truth),
        "dated only": Accuracy.of(learn_lives(chosen(histories, ~histories.is_undated()), life).fit, truth),
    }


def common_bias(kinds: int, positions: int, fleets: int, seed: int) -> dict[str, Accuracy]:
    """Fleets whose parts all last longer or shorter than the book says, by e^N(0, 0.3) in common and 0.25 each.

    Shrinkage over kinds beside the book's prior for each kind alone, and beside nearly no prior.
    """
    rng = np.random.default_rng(seed)
    life = np.full(kinds, book_life_km())
    wide = replace(book_prior(life), log_scale_sd=np.full(kinds, 2.0))
    errors: dict[str, list[FloatArray]] = {"book alone": [], "hardly any prior": [], "shrunk": []}
    sds: dict[str, list[FloatArray]] = {name: [] for name in errors}
    for _ in range(fleets):
        shape = rng.normal(np.log(3.0), 0.35, kinds)
        truth = Truth(np.log(BOOK_SCALE_KM) + rng.normal(0.0, 0.3) + rng.normal(0.0, 0.25, kinds), shape)
        histories = kept_histories(rng, truth, positions, Habits(dates_known_fraction=0.8))
        fits = {
            "book alone": learn_lives(histories, life).fit,
            "hardly any prior": learn_lives(histories, life, wide).fit,
            "shrunk": learn_with_common_bias(histories, life)[0].fit,
        }
        for name, fit in fits.items():
            errors[name].append(fit.log_scale - truth.log_scale)
            sds[name].append(np.sqrt(fit.scale_variance))
    return {name: Accuracy.of_errors(np.concatenate(errors[name]), np.concatenate(sds[name])) for name in errors}


def chosen(histories: Histories, which: BoolArray) -> Histories:
    """The records where `which` holds."""
    return Histories(*(getattr(histories, name)[which] for name in histories.__slots__))


def main() -> None:
    """Prints it all."""
    for records, target in TARGETS.items():
        _print(f"{records} records, target {target}", by_records(records, 20_000 // records + 500, seed=1))
    for records in TARGETS:
        _print(f"{records} lives followed once", once_followed(records, 20_000 // records + 500, seed=2))
    for positions in (4, 15, 75):
        what = f"{positions} positions on used vehicles, half the fittings unknown"
        _print(what, undated(positions, 400 if positions < 50 else 80, 3, Habits()))
    for name, habits in NOBODY_LOOKS.items():
        print(f"nobody looks: {name}")
        for positions in (4, 15, 75):
            learned = undated(positions, 400 if positions < 50 else 120, 3, habits)["all records"]
            print(f"  {positions:2} positions     {learned}")
    for positions in (3, 12):
        _print(f"30 kinds with a common bias, {positions} positions each", common_bias(30, positions, 30, 4))


def _print(what: str, ways: dict[str, Accuracy]) -> None:
    print(what)
    for way, accuracy in ways.items():
        print(f"  {way:16} {accuracy}")


if __name__ == "__main__":
    main()
