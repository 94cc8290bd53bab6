"""Small worlds for the decider's tests: lives known for certain, costs in round figures."""

import numpy as np

from inspections.core.types import Cells, CostBook, Residuals
from scheduling.core.types import JobOption, JobWork, SharedWork
from scheduling.core.waiting import Waiting, waiting

KM_PER_MONTH = 1_000.0
RATE = 6_000.0
"""Minor units an hour."""

WHEEL = SharedWork("wheel-off.front-left", 0.5)
ALIGNMENT = SharedWork("wheel-alignment", 0.5, 7_000.0)


def certain(*lives: tuple[float, float, float]) -> Residuals:
    """Parts whose distances to major, dangerous and failure are known."""
    table = np.array(lives, dtype=np.float64)
    major, dangerous, failure = (table[:, [column]] for column in range(3))
    return Residuals(np.ones_like(major), np.zeros_like(major), major, dangerous, failure)


def uncertain(seed: int, cells: int, possibilities: int, furthest_km: float = 90_000.0) -> Residuals:
    """Any lives at all, with uneven weights; some already major, dangerous or nearly failed."""
    rng = np.random.default_rng(seed)
    ends = np.sort(rng.uniform(0.0, furthest_km, (4, cells, possibilities)), axis=0)
    passed = rng.integers(0, 4, (cells, possibilities))
    for grade in range(3):
        ends[grade][passed > grade] = 0.0
    weight = rng.random((cells, possibilities))
    return Residuals(weight / weight.sum(axis=1, keepdims=True), *ends)


def waited(residuals: Residuals, km_per_month: float = KM_PER_MONTH) -> Waiting:
    """The ways to wait at a plain pace, looks every ten months, horizon 10,000 km."""
    pace = np.full(len(residuals.weight), km_per_month)
    return waiting(residuals, pace, 10.0 * pace, np.full(len(pace), 10_000.0))


def cells(*vehicle: int) -> Cells:
    """One cell each for these vehicles, slots counted up."""
    count = len(vehicle)
    return Cells(
        np.array(vehicle, dtype=np.int64),
        np.arange(count),
        np.full(count, np.nan),
        np.full(count, 100_000.0),
        np.full(count, KM_PER_MONTH),
    )


def costs(
    planned: list[float],
    failure: list[float],
    *,
    major: float = 0.0,
    dangerous: float = 0.0,
    safety: list[bool] | None = None,
) -> CostBook:
    """One slot a cell."""
    count = len(planned)
    return CostBook(
        np.array(planned, dtype=np.float64),
        np.array(failure, dtype=np.float64),
        np.full(count, major),
        np.full(count, dangerous),
        np.array(safety or [False] * count, dtype=bool),
    )


def option(
    vehicle: int,
    *cell: int,
    parts: float = 10_000.0,
    hours: float = 1.0,
    access: tuple[SharedWork, ...] = (),
    follow_ups: tuple[SharedWork, ...] = (),
    key: str = "part.replace",
    renews: bool = True,
) -> JobOption:
    """A job at a vehicle for these cells."""
    return JobOption(vehicle, JobWork(key, hours, parts, access, follow_ups, (), renews), cell)
