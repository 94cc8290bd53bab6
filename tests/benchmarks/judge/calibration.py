"""How true the judge's forecasts are: `python -m tests.benchmarks.judge.calibration` prints JSON.

Worlds of ageing vehicles (see `world`) are looked at once a year for five years; after each look the judge says how
likely every visible part is to fail within 10,000 km of its clock. Also: how much a wrong book costs, whether the
score's 80 % interval holds the score that a complete look would have given, and how well score and forecast order
vehicles by what the next year would cost if nothing were done.
"""

import argparse
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from inspections.core.batches import batches
from inspections.core.grade_table import GradeTable, closed_form_failure_chance, residuals_by_last_grade
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.score import score_vehicles
from inspections.core.score_table import build_score_table
from inspections.core.types import NEVER_LOOKED, BoolArray, CostBook, FloatArray, IntArray, LifeBook
from inspections.core.yearly_cost import next_year_cost
from tests.benchmarks.judge.measures import area_under_curve, brier_skill, predicted_over_observed, rank_correlation
from tests.benchmarks.judge.world import Snapshot, judge_book, snapshots

HORIZON_KM = 10_000.0
GRADES = ("sound", "minor", "major", "dangerous")

Forecaster = Callable[[LifeBook], Callable[[Snapshot], FloatArray]]
"""Given a book, makes a function from a snapshot to a chance of failure for each of its parts."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """A world as the judge meets it."""

    book: LifeBook
    costs: CostBook
    looks: list[Snapshot]


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Forecasts held against the truth, over visible parts that were looked at, shape (N,)."""

    chance: FloatArray
    failed: BoolArray
    grade: IntArray


def worlds(seeds: Iterable[int], vehicles: int) -> list[Recorded]:
    recorded = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        book = judge_book(rng)
        recorded.append(Recorded(book, _costs(book, rng), snapshots(book, vehicles, rng)))
    return recorded


def by_life_filter(book: LifeBook) -> Callable[[Snapshot], FloatArray]:
    lives = PlausibleLives.of(book)

    def forecast(seen: Snapshot) -> FloatArray:
        chance = np.empty(len(seen.cells.slot))
        for where, cells, looks in batches(seen.cells, seen.looks):
            residuals = residuals_by_life_filter(book, cells, looks, lives=lives)
            chance[where] = residuals.failure_chance_fraction(np.full(len(cells.slot), HORIZON_KM))
        return chance

    return forecast


def by_grade_table(book: LifeBook) -> Callable[[Snapshot], FloatArray]:
    table = GradeTable.of(book)

    def forecast(seen: Snapshot) -> FloatArray:
        left = residuals_by_last_grade(book, seen.cells, seen.last_grade, seen.last_clock_km, table=table)
        return left.failure_chance_fraction(np.full(len(seen.cells.slot), HORIZON_KM))

    return forecast


def by_closed_form(book: LifeBook) -> Callable[[Snapshot], FloatArray]:
    def forecast(seen: Snapshot) -> FloatArray:
        since = np.nan_to_num(seen.cells.now_clock_km - seen.last_clock_km)
        horizon = np.full_like(since, HORIZON_KM)
        return closed_form_failure_chance(book, seen.cells.slot, np.maximum(seen.last_grade, 0), since, horizon)

    return forecast


def outcomes(recorded: list[Recorded], forecaster: Forecaster, *, life: float = 1.0, pf: float = 1.0) -> Outcomes:
    """Forecasts by a book whose lives and P-F intervals are off by the given factors."""
    chance, failed, grade = [], [], []
    for world in recorded:
        book = replace(world.book, life_km=life * world.book.life_km, pf_km=pf * world.book.pf_km)
        forecast = forecaster(book)
        for seen in world.looks:
            counted = (seen.last_grade != NEVER_LOOKED) & (book.pf_km[seen.cells.slot] > 0.0)
            chance.append(forecast(seen)[counted])
            failed.append((seen.true_residual_km[:, 3] <= HORIZON_KM)[counted])
            grade.append(seen.last_grade[counted])
    return Outcomes(np.concatenate(chance), np.concatenate(failed), np.concatenate(grade))


def summary(found: Outcomes) -> dict[str, object]:
    by_grade = {
        word: {
            "n": int((found.grade == grade).sum()),
            "observed": round(float(found.failed[found.grade == grade].mean()), 4),
            "predicted": round(float(found.chance[found.grade == grade].mean()), 4),
        }
        for grade, word in enumerate(GRADES)
    }
    return {
        "n": len(found.chance),
        "failures": int(found.failed.sum()),
        "predicted_over_observed": round(predicted_over_observed(found.chance, found.failed), 3),
        "brier_skill": round(brier_skill(found.chance, found.failed), 3),
        "area_under_curve": round(area_under_curve(found.chance, found.failed), 3),
        "by_last_grade": by_grade,
    }


def interval_coverage(recorded: list[Recorded], hidden_fraction: float, rng: np.random.Generator) -> dict[str, float]:
    """How often the score's 80 % interval holds the score that looking at every part would have given."""
    held, widths, lift = [], [], []
    for world in recorded:
        table = build_score_table(world.book, world.costs)
        seen = world.looks[-1]
        vehicles = int(seen.cells.vehicle[-1]) + 1
        looked = np.where(seen.last_grade == NEVER_LOOKED, seen.true_grade, seen.last_grade)
        since = np.zeros(len(looked))
        whole = score_vehicles(table, seen.cells, looked, since, vehicles)
        part = np.where(rng.random(len(looked)) < hidden_fraction, NEVER_LOOKED, looked)
        partly = score_vehicles(table, seen.cells, part, since, vehicles)
        inside = (partly.low - 1e-9 <= whole.score) & (whole.score <= partly.high + 1e-9)
        held.append(inside)
        widths.append(partly.high - partly.low)
        as_perfect = score_vehicles(table, seen.cells, np.where(part == NEVER_LOOKED, 0, part), since, vehicles)
        lift.append(as_perfect.score - whole.score)
    return {
        "held_fraction": round(float(np.concatenate(held).mean()), 3),
        "vehicles": len(np.concatenate(held)),
        "mean_width": round(float(np.concatenate(widths).mean()), 1),
        "points_too_high_if_unseen_counted_as_sound": round(float(np.concatenate(lift).mean()), 1),
    }


def order_of_vehicles(recorded: list[Recorded]) -> dict[str, float]:
    """Rank correlation with what the next year would really cost at the vehicle's own use, if nothing were done."""
    score, forecast, truth, use = [], [], [], []
    for world in recorded:
        table, lives = build_score_table(world.book, world.costs), PlausibleLives.of(world.book)
        for seen in world.looks:
            vehicles = int(seen.cells.vehicle[-1]) + 1
            since = np.nan_to_num(seen.cells.now_clock_km - seen.last_clock_km)
            score.append(score_vehicles(table, seen.cells, seen.last_grade, since, vehicles).score)
            cost = np.empty(len(since))
            for where, cells, looks in batches(seen.cells, seen.looks):
                residuals = residuals_by_life_filter(world.book, cells, looks, lives=lives)
                cost[where] = next_year_cost(residuals, world.costs, cells)
            forecast.append(np.bincount(seen.cells.vehicle, cost))
            truth.append(np.bincount(seen.cells.vehicle, true_year_cost(seen, world.costs)))
            use.append(np.bincount(seen.cells.vehicle, seen.cells.clock_km_per_month))
    true_cost = np.concatenate(truth)
    return {
        "forecast_at_own_km": round(rank_correlation(np.concatenate(forecast), true_cost), 2),
        "score": round(rank_correlation(-np.concatenate(score), true_cost), 2),
        "km_per_year_alone": round(rank_correlation(np.concatenate(use), true_cost), 2),
        "forecast_over_true_cost": round(float(np.concatenate(forecast).sum() / true_cost.sum()), 3),
    }


def true_year_cost(seen: Snapshot, costs: CostBook) -> FloatArray:
    """Cost of each part over the next year in truth: the forecast's own definition, with the true distances."""
    slot, horizon = seen.cells.slot, 12.0 * seen.cells.clock_km_per_month
    _, major, dangerous, failure = seen.true_residual_km.T
    end = np.minimum(failure, horizon)
    in_danger = end - np.minimum(dangerous, end)
    in_major = end - np.minimum(major, end) - in_danger
    job = np.where(failure <= horizon, costs.failure_minor[slot], (major <= horizon) * costs.planned_minor[slot])
    exposure = costs.major_minor_per_km[slot] * in_major + costs.dangerous_minor_per_km[slot] * in_danger
    return np.asarray(job + exposure)


def _costs(book: LifeBook, rng: np.random.Generator) -> CostBook:
    """Prices of the order of a workshop's, in cents; half of the visible parts matter for safety."""
    slots = len(book.life_km)
    planned = rng.uniform(8_000.0, 60_000.0, slots)
    safety = (rng.random(slots) < 0.5) & (book.pf_km > 0.0)
    danger = np.where(safety, rng.uniform(0.5, 10.0, slots), 0.0)
    return CostBook(planned, 1.45 * planned + 19_000.0, 0.1 * danger, danger, safety)


def report(seeds: range, vehicles: int) -> dict[str, object]:
    recorded = worlds(seeds, vehicles)
    whole = outcomes(recorded, by_life_filter)
    each = [outcomes([world], by_life_filter) for world in recorded]
    off = {
        "life_doubled": (2.0, 1.0),
        "life_halved": (0.5, 1.0),
        "life_and_pf_doubled": (2.0, 2.0),
        "life_and_pf_halved": (0.5, 0.5),
    }
    rng = np.random.default_rng(0)
    return {
        "worlds": len(seeds),
        "vehicles_each": vehicles,
        "life_filter": summary(whole),
        "life_filter_by_world": [
            (round(predicted_over_observed(one.chance, one.failed), 2), round(brier_skill(one.chance, one.failed), 2))
            for one in each
        ],
        "grade_table": summary(outcomes(recorded, by_grade_table)),
        "closed_form": summary(outcomes(recorded, by_closed_form)),
        "life_filter_with_a_wrong_book": {
            name: _short(outcomes(recorded, by_life_filter, life=life, pf=pf)) for name, (life, pf) in off.items()
        },
        "grade_table_with_a_wrong_book": {
            name: _short(outcomes(recorded, by_grade_table, life=life, pf=pf)) for name, (life, pf) in off.items()
        },
        "score_interval": {str(hide): interval_coverage(recorded, hide, rng) for hide in (0.1, 0.3, 0.6)},
        "order_of_vehicles": order_of_vehicles(recorded),
    }


def _short(found: Outcomes) -> dict[str, object]:
    return {name: value for name, value in summary(found).items() if name in ("predicted_over_observed", "brier_skill")}


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--worlds", type=int, default=8)
    options.add_argument("--vehicles", type=int, default=60)
    options.add_argument("--first-seed", type=int, default=100)
    chosen = options.parse_args()
    first = chosen.first_seed
    print(json.dumps(report(range(first, first + chosen.worlds), chosen.vehicles), indent=2))
