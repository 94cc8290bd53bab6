"""Coverage of the 80 % intervals, world by world: ``python -m tests.benchmarks.judge_wear.coverage [parts] [seed]``.

Prints JSON. With the default of 4,000 parts a figure's standard error is 0.6 percentage points; takes two minutes.
"""

import json
import sys
import time

import numpy as np

from inspections.core.wear import WearReadings, WearSeries, forecast_wear
from tests.benchmarks.judge_wear.driven_vehicles import due_errors
from tests.benchmarks.judge_wear.fuelled_vehicles import rise_errors
from tests.benchmarks.judge_wear.worn_parts import WORLDS, forecast_errors

READINGS = (0, 1, 2, 3, 5, 10)


def coverage(parts: int, seed: int) -> dict[str, object]:
    """All tables."""
    return {
        "parts": parts,
        "seed": seed,
        "wear": {
            name: {str(n): forecast_errors(world, n, parts, seed) for n in READINGS if n or world.fitting != "renewed"}
            for name, world in WORLDS.items()
        },
        "usage": {str(n): due_errors(n, parts, seed) for n in READINGS[1:]},
        "fuel": rise_errors(parts // 4, seed),
        "cpu_seconds_for_100000_series_of_5": round(cpu_seconds_for(100_000, 5), 2),
    }


def cpu_seconds_for(parts: int, readings: int) -> float:
    """Processor time to forecast so many series."""
    rng = np.random.default_rng(0)
    life_km = rng.uniform(30e3, 120e3, parts)
    clock = np.sort(rng.uniform(0.05, 0.6, (parts, readings)), axis=1)
    rate = np.exp(0.4 * rng.standard_normal(parts))[:, None]
    value = 12.0 - 9.0 * (clock * rate + 0.02 * rng.standard_normal(clock.shape))
    ones = np.ones(parts)
    series = WearSeries(
        new_value=12.0 * ones,
        minor_value=4.0 * ones,
        limit_value=3.0 * ones,
        dangerous_value=1.5 * ones,
        noise_sd=0.25 * ones,
        life_km=life_km,
        fitted_clock_km=0.0 * ones,
        now_clock_km=0.65 * life_km,
    )
    notes = WearReadings(np.repeat(np.arange(parts), readings), (clock * life_km[:, None]).ravel(), value.ravel())
    begin = time.process_time()
    forecast_wear(series, notes)
    return time.process_time() - begin


if __name__ == "__main__":
    arguments = [int(argument) for argument in sys.argv[1:]]
    print(json.dumps(coverage(*(arguments + [4000, 1][len(arguments) :])), indent=1))
