"""Invented fleets with findings, always the same for a seed: what the backlog is measured on."""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import BoolArray, Cells, CostBook, FloatArray, IntArray, LifeBook, Residuals
from scheduling.core.long_run import long_run_cost_per_km, new_part_residuals
from scheduling.core.types import JobOption, JobWork, SharedWork

PARTS = 60
KM_PER_YEAR = 13_500.0
STAGE_EDGES = np.array([1.5, 1.0, 0.5, 0.15, 0.0])
"""Share of the P-F interval left where each grade begins and ends."""


@dataclass(frozen=True)
class InventedFleet:
    """Vehicles with 60 fitted parts each, some of them graded minor or worse, and a job for each of those."""

    cells: Cells
    grade: IntArray
    book: LifeBook
    costs: CostBook
    credit: FloatArray
    options: list[JobOption]
    possibilities: int

    def residuals(self, rows: IntArray) -> Residuals:
        """What is left of these parts: anywhere in the stage that the grade names."""
        warning = self.book.pf_km[self.cells.slot[rows]][:, None]
        high, low = STAGE_EDGES[self.grade[rows]][:, None], STAGE_EDGES[self.grade[rows] + 1][:, None]
        place = (np.arange(self.possibilities) + 0.5) / self.possibilities
        failure = warning * (low + (high - low) * place)
        ends = [np.maximum(failure - share * warning, 0.0) for share in (1.0, 0.5, 0.15)]
        return Residuals(np.full_like(failure, 1.0 / self.possibilities), *ends, failure)


def invented_fleet(vehicles: int, possibilities: int, with_findings: float = 0.15, seed: int = 1) -> InventedFleet:
    """`with_findings` is the share of parts graded minor or worse."""
    rng = np.random.default_rng(seed)
    book = LifeBook(
        rng.uniform(45e3, 280e3, PARTS),
        rng.uniform(0.25, 0.5, PARTS),
        rng.uniform(15e3, 60e3, PARTS),
        rng.uniform(0.3, 1.0, PARTS),
        np.full(PARTS, KM_PER_YEAR),
    )
    planned = rng.uniform(4_000, 60_000, PARTS)
    failure = 1.45 * planned + rng.uniform(4_000, 60_000, PARTS)
    safety: BoolArray = rng.random(PARTS) < 0.4
    costs = CostBook(planned, failure, rng.uniform(0, 0.5, PARTS), rng.uniform(0, 8, PARTS), safety)
    count = vehicles * PARTS
    cells = Cells(
        np.repeat(np.arange(vehicles), PARTS),
        np.tile(np.arange(PARTS), vehicles),
        np.full(count, np.nan),
        rng.uniform(50e3, 200e3, count),
        rng.uniform(400, 2_500, count),
    )
    shares = [1.0 - with_findings, 0.6 * with_findings, 0.3 * with_findings, 0.1 * with_findings]
    grade = rng.choice(4, count, p=shares)
    works = [_work(rng, part, float(planned[part])) for part in range(PARTS)]
    credit = long_run_cost_per_km(new_part_residuals(book), costs, np.full(PARTS, 10_000.0))
    options = [JobOption(row // PARTS, works[row % PARTS], (row,)) for row in np.flatnonzero(grade).tolist()]
    return InventedFleet(cells, grade, book, costs, credit, options, possibilities)


ACCESS = [
    SharedWork(f"wheel-off.{corner}", 0.25) for corner in ("front-left", "front-right", "rear-left", "rear-right")
]
ACCESS += [SharedWork("undertray-off", 0.3), SharedWork("coolant-drained", 0.6)]
FOLLOW_UPS = [SharedWork("wheel-alignment", 0.3, 7_000), SharedWork("wheel-nut-retorque", 0.1)]
FOLLOW_UPS += [SharedWork("road-test", 0.3)]


def _work(rng: np.random.Generator, part: int, planned: float) -> JobWork:
    access = rng.choice(len(ACCESS), int(rng.integers(0, 3)), replace=False)
    follow_ups = rng.choice(len(FOLLOW_UPS), int(rng.integers(0, 3)), replace=False)
    return JobWork(
        f"part-{part}.replace",
        float(rng.uniform(0.3, 3.0)),
        0.6 * planned,
        tuple(ACCESS[each] for each in access),
        tuple(FOLLOW_UPS[each] for each in follow_ups),
    )
