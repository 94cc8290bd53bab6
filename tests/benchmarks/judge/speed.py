"""How fast the judge is: `python -m tests.benchmarks.judge.speed` prints JSON.

10,000 vehicles of 60 parts with five looks each, through the life filter to next year's cost. The floor is the same
arithmetic written out plainly in NumPy for one chunk of parts after the other, every part fitted at a known clock,
seen as sound exactly five times, nothing checked: once as the formula stands (an exponential for every look, life and
threshold), once with the judge's own splitting of the exponential. Ratios are medians of alternating rounds of
processor time. On the `usual` fleet, half of the parts are as bought and a fifth have findings, which takes more
arithmetic than the floor.
"""

import json
import resource
import time
from collections.abc import Callable

import numpy as np

from inspections.core.batches import batches
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.looking import seen_steps
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.score import score_vehicles
from inspections.core.score_table import build_score_table
from inspections.core.types import Cells, CostBook, FloatArray, LifeBook, Looks
from inspections.core.yearly_cost import next_year_cost
from tests.benchmarks.judge.world import judge_book

PARTS, LOOKS = 60, 5
CHUNK = 128
ROUNDS = 5


def book_of_60(rng: np.random.Generator) -> LifeBook:
    """60 slots that show signs, drawn from the benchmark's world."""
    book = judge_book(rng)
    visible = np.resize(np.flatnonzero(book.pf_km > 0.0), PARTS)
    return LifeBook(*(getattr(book, name)[visible] for name in LifeBook.__slots__))


def costs_of_60(rng: np.random.Generator) -> CostBook:
    planned = rng.uniform(8_000.0, 60_000.0, PARTS)
    return CostBook(
        planned, 1.45 * planned + 19_000.0, np.full(PARTS, 0.3), np.full(PARTS, 3.0), rng.random(PARTS) < 0.4
    )


def fleet(
    rng: np.random.Generator, vehicles: int, *, unknown_fraction: float = 0.5, found_fraction: float = 0.2
) -> tuple[Cells, Looks]:
    """Vehicles with five looks at every part, 8,000 km apart; some parts have got worse."""
    count = vehicles * PARTS
    now = np.repeat(rng.uniform(80_000.0, 250_000.0, vehicles), PARTS)
    fitted = rng.uniform(0.0, 40_000.0, count)
    cells = Cells(
        vehicle=np.repeat(np.arange(vehicles), PARTS),
        slot=np.tile(np.arange(PARTS), vehicles),
        fitted_clock_km=np.where(rng.random(count) < unknown_fraction, np.nan, fitted),
        now_clock_km=now,
        clock_km_per_month=np.full(count, 1_200.0),
    )
    ago = 8_000.0 * np.arange(LOOKS, 0, -1) - 4_000.0
    worse = np.sort(rng.choice(4, (count, LOOKS), p=[0.5, 0.25, 0.15, 0.1]), axis=1)
    grade = np.where(rng.random(count)[:, None] < found_fraction, worse, 0)
    return cells, Looks(np.repeat(np.arange(count), LOOKS), (now[:, None] - ago).ravel(), grade.ravel())


def judged(book: LifeBook, costs: CostBook, lives: PlausibleLives, cells: Cells, looks: Looks) -> FloatArray:
    """Next year's cost of every part, batch by batch."""
    cost = np.empty(len(cells.slot))
    for where, some, seen in batches(cells, looks):
        cost[where] = next_year_cost(residuals_by_life_filter(book, some, seen, lives=lives), costs, some)
    return cost


def filtered(book: LifeBook, lives: PlausibleLives, cells: Cells, looks: Looks) -> FloatArray:
    """Chance of failure within 10,000 km of every part, batch by batch."""
    chance = np.empty(len(cells.slot))
    for where, some, seen in batches(cells, looks):
        residuals = residuals_by_life_filter(book, some, seen, lives=lives)
        chance[where] = residuals.failure_chance_fraction(np.full(len(some.slot), 10_000.0))
    return chance


def plain(lives: PlausibleLives, cells: Cells, looks: Looks, split: bool) -> FloatArray:
    """The floor: chance of failure within 10,000 km, all histories known, five looks a part."""
    chance = np.empty(len(cells.slot))
    clock, grade = looks.clock_km.reshape(-1, LOOKS), looks.grade.reshape(-1, LOOKS)
    steps = seen_steps()
    for first in range(0, len(chance), CHUNK):
        part = slice(first, first + CHUNK)
        slot, fitted = cells.slot[part], cells.fitted_clock_km[part]
        threshold = [each[slot] for each in lives.threshold_km]
        growth = [each[slot] for each in lives.growth] if split else threshold
        smoothing = lives.smoothing_km[slot, None]
        weight = np.repeat(lives.weight[None, :], len(slot), axis=0)
        for look in range(LOOKS):
            position = clock[part, look] - fitted
            step = steps[grade[part, look]]
            likelihood = step[:, :1] + np.zeros_like(weight)
            reach = np.exp((position - lives.centre_km[slot]) / lives.smoothing_km[slot])[:, None]
            for k in range(3):
                if split:
                    likelihood += step[:, k + 1, None] * reach / (growth[k] + reach)
                else:
                    passed = 1.0 / (1.0 + np.exp(np.minimum((threshold[k] - position[:, None]) / smoothing, 700.0)))
                    likelihood += step[:, k + 1, None] * passed
            weight *= likelihood
        driven = (cells.now_clock_km[part] - fitted)[:, None]
        left = [np.maximum(each - driven, 0.0) for each in threshold]
        weight *= left[3] > 0.0
        weight /= weight.sum(axis=1, keepdims=True)
        chance[part] = (weight * (left[3] <= 10_000.0)).sum(axis=1)
    return chance


def seconds(work: Callable[[], object]) -> float:
    """Processor time: the work has one thread, and the machine may be shared."""
    started = time.process_time()
    work()
    return time.process_time() - started


def ratios(rng: np.random.Generator, vehicles: int = 200) -> dict[str, float]:
    book = book_of_60(rng)
    lives = PlausibleLives.of(book)
    cells, looks = fleet(rng, vehicles, unknown_fraction=0.0, found_fraction=0.0)
    usual = fleet(rng, vehicles)
    agree = np.abs(filtered(book, lives, cells, looks) - plain(lives, cells, looks, split=True)).max()
    rounds = []
    for _ in range(ROUNDS):
        own = seconds(lambda: filtered(book, lives, cells, looks))
        floor = seconds(lambda: plain(lives, cells, looks, split=True))
        formula = seconds(lambda: plain(lives, cells, looks, split=False))
        more = seconds(lambda: filtered(book, lives, *usual))
        rounds.append((own / floor, own / formula, more / floor, 1e6 * own / len(cells.slot)))
    middle = np.median(rounds, axis=0)
    return {
        "ratio_to_split_floor": round(float(middle[0]), 3),
        "ratio_to_formula_floor": round(float(middle[1]), 3),
        "usual_fleet_to_split_floor": round(float(middle[2]), 3),
        "microseconds_per_part": round(float(middle[3]), 2),
        "largest_difference_to_floor": float(agree),
    }


def whole_fleets(rng: np.random.Generator, sizes: tuple[int, ...]) -> list[dict[str, float]]:
    book, costs = book_of_60(rng), costs_of_60(rng)
    lives = PlausibleLives.of(book)
    table = build_score_table(book, costs)
    report = []
    for vehicles in sizes:
        cells, looks = fleet(rng, vehicles)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        forecast = seconds(lambda: judged(book, costs, lives, cells, looks))  # noqa: B023 -- called at once
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        last, since = looks.grade[LOOKS - 1 :: LOOKS], np.full(len(cells.slot), 4_000.0)
        score = seconds(lambda: score_vehicles(table, cells, last, since, vehicles))  # noqa: B023
        report.append(
            {
                "vehicles": vehicles,
                "forecast_seconds": round(forecast, 2),
                "forecast_microseconds_per_part": round(1e6 * forecast / len(cells.slot), 2),
                "score_seconds": round(score, 3),
                "score_nanoseconds_per_part": round(1e9 * score / len(cells.slot), 1),
                "memory_grown_mib": round(grown / 1024.0, 1),
            }
        )
    return report


def one_vehicle(rng: np.random.Generator) -> dict[str, float]:
    """Milliseconds for a batch of one vehicle, with the lives of the book at hand and without."""
    book, costs = book_of_60(rng), costs_of_60(rng)
    lives = PlausibleLives.of(book)
    cells, looks = fleet(rng, 1)
    ready = [seconds(lambda: judged(book, costs, lives, cells, looks)) for _ in range(21)]
    fresh = [seconds(lambda: residuals_by_life_filter(book, cells, looks)) for _ in range(21)]
    table = [seconds(lambda: build_score_table(book, costs)) for _ in range(3)]
    return {
        "forecast_ms": round(1e3 * float(np.median(ready)), 2),
        "without_lives_ms": round(1e3 * float(np.median(fresh)), 2),
        "score_table_ms": round(1e3 * float(np.median(table)), 1),
    }


if __name__ == "__main__":
    draws = np.random.default_rng(1)
    report = {
        "ratio": ratios(draws),
        "one_vehicle": one_vehicle(draws),
        "whole_fleet": whole_fleets(draws, (1_000, 10_000)),
    }
    print(json.dumps(report, indent=2))
