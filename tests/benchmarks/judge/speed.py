"""How fast the judge is: `python -m tests.benchmarks.judge.speed` prints JSON.

10,000 vehicles of 60 parts with five looks each, through the life filter to next year's cost. The floors (see
`floors`) are the same arithmetic written out plainly in NumPy for one chunk of parts after the other: of parts all
fitted at a known clock and seen sound, once as the formula stands (an exponential for every look, life and
threshold), once with the judge's own splitting of the exponential; and of a mixed fleet, half of whose parts are as
bought and a fifth of which have findings. Ratios are medians of alternating rounds of processor time.
"""

import json
import math
import resource
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from inspections.core.batches import batches
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.score import score_vehicles
from inspections.core.score_table import ScoreTable, build_score_table
from inspections.core.types import Cells, CostBook, FloatArray, LifeBook, Looks
from inspections.core.yearly_cost import next_year_cost
from tests.benchmarks.judge.floors import known_chance, mixed_cost
from tests.benchmarks.judge.world import judge_book

PARTS, LOOKS = 60, 5
VEHICLES_SCORED_AT_ONCE = 50
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


def seconds(work: Callable[[], object]) -> float:
    """Processor time: the work has one thread, and the machine may be shared."""
    started = time.process_time()
    work()
    return time.process_time() - started


def ratios(rng: np.random.Generator, vehicles: int = 200) -> dict[str, float]:
    """A fleet of one kind to the chance of failure, and mixed ones to next year's cost, over their floors."""
    book, costs = book_of_60(rng), costs_of_60(rng)
    lives = PlausibleLives.of(book)
    cells, looks = fleet(rng, vehicles, unknown_fraction=0.0, found_fraction=0.0)
    mixed, uneven = fleet(rng, vehicles), unevenly_seen(rng, *fleet(rng, vehicles))
    own_cost, floor_cost = judged(book, costs, lives, *mixed), mixed_cost(lives, costs, *mixed, LOOKS)
    agree = np.abs(filtered(book, lives, cells, looks) - known_chance(lives, cells, looks, LOOKS, split=True)).max()
    works = {
        "known": lambda: filtered(book, lives, cells, looks),
        "known_floor": lambda: known_chance(lives, cells, looks, LOOKS, split=True),
        "known_formula_floor": lambda: known_chance(lives, cells, looks, LOOKS, split=False),
        "mixed": lambda: judged(book, costs, lives, *mixed),
        "mixed_floor": lambda: mixed_cost(lives, costs, *mixed, LOOKS),
        "uneven": lambda: judged(book, costs, lives, *uneven),
    }
    rounds = [{name: seconds(work) for name, work in works.items()} for _ in range(ROUNDS)]

    def ratio(own: str, floor: str) -> float:
        return round(float(np.median([taken[own] / taken[floor] for taken in rounds])), 3)

    return {
        "known_to_floor": ratio("known", "known_floor"),
        "known_to_formula_floor": ratio("known", "known_formula_floor"),
        "mixed_to_mixed_floor": ratio("mixed", "mixed_floor"),
        "mixed_with_cost_to_known_floor_without": ratio("mixed", "known_floor"),
        "uneven_looks_to_even": ratio("uneven", "mixed"),
        "largest_difference_known": float(agree),
        "largest_relative_difference_mixed": float((np.abs(own_cost - floor_cost) / floor_cost).max()),
    }


def unevenly_seen(rng: np.random.Generator, cells: Cells, looks: Looks) -> tuple[Cells, Looks]:
    """The same number of looks in all, but none to ten at a part."""
    count = len(cells.slot)
    cell = np.sort(rng.integers(0, count, len(looks.cell)))
    return cells, Looks(
        cell, cells.now_clock_km[cell] - np.sort(rng.uniform(4_000.0, 40_000.0, len(cell)))[::-1], looks.grade
    )


def whole_fleets(rng: np.random.Generator, sizes: tuple[int, ...]) -> dict[str, object]:
    """Forecast and score of mixed fleets of growing size, and how both grow with it."""
    book, costs = book_of_60(rng), costs_of_60(rng)
    lives = PlausibleLives.of(book)
    table = build_score_table(book, costs)
    report = []
    for vehicles in sizes:
        cells, looks = fleet(rng, vehicles)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        forecast = seconds(lambda: judged(book, costs, lives, cells, looks))  # noqa: B023 -- called at once
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        score = seconds(lambda: score_in_blocks(table, cells, looks))  # noqa: B023
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
    times = math.log(sizes[-1] / sizes[0])
    growth = {
        name: round(math.log(report[-1][f"{name}_seconds"] / report[0][f"{name}_seconds"]) / times, 3)
        for name in ("forecast", "score")
    }
    return {"sizes": report, "growth_exponent": growth}


def score_in_blocks(table: ScoreTable, cells: Cells, looks: Looks) -> None:
    """Scores of all vehicles, so many at once as the product does."""
    last, since = looks.grade[LOOKS - 1 :: LOOKS], np.full(len(cells.slot), 4_000.0)
    for first in range(0, len(cells.slot), VEHICLES_SCORED_AT_ONCE * PARTS):
        part = slice(first, first + VEHICLES_SCORED_AT_ONCE * PARTS)
        some = Cells(*(getattr(cells, name)[part] for name in Cells.__slots__))
        some = replace(some, vehicle=some.vehicle - some.vehicle[0])
        score_vehicles(table, some, last[part], since[part], int(some.vehicle[-1]) + 1)


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
