"""A small book of lives and costs as a mechanic would enter it, for the tests of the judge.

Typical lives and P-F intervals in km, spreads and shares of distance: common practice, no source. Costs in cents.
"""

import numpy as np

from inspections.core.types import Cells, CostBook, FloatArray, IntArray, LifeBook, Looks

BALL_JOINT, BUSHING, HOSE, BEARING, WATER_PUMP, DISC, SENSOR = range(7)
SLOTS = 7


def book() -> LifeBook:
    """Ball joint, bushing, hose, bearing, water pump, brake disc, and a sensor that shows nothing before it fails."""
    return LifeBook(
        life_km=np.array([200_000.0, 230_000.0, 260_000.0, 250_000.0, 210_000.0, 120_000.0, 300_000.0]),
        life_cv=np.array([0.35, 0.35, 0.35, 0.35, 0.35, 0.30, 0.45]),
        pf_km=np.array([35_000.0, 60_000.0, 38_000.0, 28_000.0, 17_000.0, 50_000.0, 0.0]),
        km_weight=np.array([0.9, 0.7, 0.3, 1.0, 0.8, 1.0, 0.8]),
        km_per_year=np.full(SLOTS, 15_000.0),
    )


def costs() -> CostBook:
    planned = np.array([18_000.0, 22_000.0, 9_000.0, 30_000.0, 35_000.0, 25_000.0, 12_000.0])
    return CostBook(
        planned_minor=planned,
        failure_minor=1.45 * planned + 19_000.0,
        major_minor_per_km=np.array([0.4, 0.1, 0.2, 0.5, 0.0, 0.8, 0.0]),
        dangerous_minor_per_km=np.array([4.0, 1.0, 2.0, 5.0, 0.5, 8.0, 0.0]),
        safety=np.array([True, False, True, True, False, True, False]),
    )


def cells(
    slot: list[int] | IntArray,
    now_km: float | FloatArray,
    fitted_km: float | FloatArray = 0.0,
    *,
    vehicle: list[int] | IntArray | None = None,
    km_per_month: float = 1_125.0,
) -> Cells:
    """Parts of one vehicle unless told otherwise; scalars count for every part."""
    count = len(slot)
    return Cells(
        vehicle=np.zeros(count, dtype=np.int64) if vehicle is None else np.asarray(vehicle),
        slot=np.asarray(slot, dtype=np.int64),
        fitted_clock_km=np.broadcast_to(np.asarray(fitted_km, dtype=float), count).copy(),
        now_clock_km=np.broadcast_to(np.asarray(now_km, dtype=float), count).copy(),
        clock_km_per_month=np.full(count, km_per_month),
    )


def looks(*seen: tuple[int, float, int]) -> Looks:
    """Looks as (cell, clock km, grade), in order of cell and time."""
    cell, clock, grade = zip(*seen, strict=True) if seen else ((), (), ())
    return Looks(np.array(cell, dtype=np.int64), np.array(clock, dtype=float), np.array(grade, dtype=np.int64))


def some_cells(of: Cells, rows: IntArray) -> Cells:
    return Cells(*(getattr(of, name)[rows] for name in Cells.__slots__))


def looks_of(of: Looks, rows: IntArray) -> Looks:
    """The looks at the chosen cells, renumbered to their new order."""
    parts = [np.flatnonzero(of.cell == row) for row in rows]
    kept = np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
    cell = np.repeat(np.arange(len(rows)), [len(part) for part in parts])
    return Looks(cell, of.clock_km[kept], of.grade[kept])
