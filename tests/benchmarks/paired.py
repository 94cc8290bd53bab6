"""Cases measured in turns: whatever slows the machine for a while slows all of them."""

import gc
import math
import random
import time
from collections.abc import Callable, Mapping
from statistics import median
from typing import Any

ROUNDS = 9


def alternating(
    cases: Mapping[str, Callable[[], object]], floor: str, repeats: int, rounds: int = ROUNDS
) -> dict[str, Any]:
    """Of each case the median processor time and clock [us], and the medians of their ratios to `floor` in a round.

    The processor time is this process's alone; the clock counts a database server too, and whoever else is running.
    """
    order = random.Random(1)
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in cases}
    for work in cases.values():
        work()
    for _ in range(rounds):
        for name in order.sample(list(cases), len(cases)):
            gc.collect()
            begun = time.process_time(), time.perf_counter()
            for _ in range(repeats):
                cases[name]()
            ended = time.process_time(), time.perf_counter()
            taken[name].append(((ended[0] - begun[0]) / repeats, (ended[1] - begun[1]) / repeats))
    return {name: _told(times, taken[floor]) for name, times in taken.items()}


def _told(times: list[tuple[float, float]], base: list[tuple[float, float]]) -> dict[str, float]:
    told: dict[str, float] = {}
    for axis, kind in enumerate(("cpu", "clock")):
        mine, floor = [each[axis] for each in times], [each[axis] for each in base]
        told[f"{kind}_us"] = round(1e6 * median(mine))
        told[f"{kind}_ratio"] = round(median(a / b for a, b in zip(mine, floor, strict=True)), 2)
    return told


def exponent(sizes: Mapping[int, float]) -> float:
    """Of growth: the slope of log time over log size, by least squares."""
    points = [(math.log(size), math.log(taken)) for size, taken in sizes.items()]
    mean_x, mean_y = (sum(each[axis] for each in points) / len(points) for axis in (0, 1))
    above = sum((x - mean_x) * (y - mean_y) for x, y in points)
    return round(above / sum((x - mean_x) ** 2 for x, _ in points), 3)
