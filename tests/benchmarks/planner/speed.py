"""Measures the backlog and the planner and prints the figures as JSON: `python -m tests.benchmarks.planner.speed`.

Times are processor seconds of this process (one thread), so that a busy machine disturbs them little; every plan is
audited. Bounded: about a minute.
"""

import json
import sys
from collections.abc import Callable
from statistics import median
from time import process_time
from typing import Any

import numpy as np

from inspections.core.looking import look_interval_clock_km
from scheduling.core.backlog import candidates, rank_jobs
from scheduling.core.planner.audit import audited
from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import PlanProblem
from scheduling.core.planner.solver import Limits
from scheduling.core.waiting import waiting_of_rows
from tests.benchmarks.planner.fleets import InventedFleet, invented_fleet
from tests.benchmarks.planner.instances import problem

SEEDS = (1, 2, 3)
SIZES = {"60 jobs": (3, 20, 1), "200 jobs": (10, 20, 1), "1,000 jobs": (50, 20, 1), "2,000 jobs": (100, 20, 1)}
VISITS = {
    "15 jobs, 2 visits": (1, 15, 2),
    "30 jobs, 2 visits": (2, 15, 2),
    "60 jobs, 3 visits": (3, 20, 3),
    "200 jobs, 4 visits": (10, 20, 4),
}
LIMITS = Limits(seconds=20.0)
LARGE = Limits(seconds=20.0, tolerance_fraction=1e-5)
SEVERAL_VISITS = Limits(seconds=5.0, tolerance_fraction=1e-3)


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Processor seconds and what came back."""
    start = process_time()
    result = work()
    return process_time() - start, result


def backlog_figures(vehicles: int, possibilities: int) -> dict[str, float]:
    """What a fleet's backlog costs to compute, without what the residuals cost."""
    fleet = invented_fleet(vehicles, possibilities)
    rows_seconds, rows = timed(lambda: candidates(fleet.options, fleet.grade))
    waiting_seconds, waiting = timed(lambda: _waiting(fleet, rows))
    residual_seconds = sum(
        timed(lambda at=at: fleet.residuals(rows[at : at + 4096]))[0] for at in range(0, len(rows), 4096)
    )
    arguments = (
        fleet.options,
        fleet.cells,
        fleet.grade,
        waiting,
        fleet.costs,
        fleet.credit,
        np.full(vehicles, 5_000.0),
    )
    rank_seconds, ranking = timed(lambda: rank_jobs(*arguments))
    order_seconds, _ = timed(lambda: ranking.fleet_order)
    document_seconds, _ = timed(lambda: [ranking.of(vehicle) for vehicle in range(vehicles)])
    waiting_alone = waiting_seconds - residual_seconds
    return {
        "vehicles": vehicles,
        "cells": len(fleet.grade),
        "possibilities": possibilities,
        "jobs": len(fleet.options),
        "core_seconds": round(rows_seconds + waiting_alone + rank_seconds + order_seconds, 4),
        "of_which_waiting_seconds": round(waiting_alone, 4),
        "documents_seconds": round(document_seconds, 4),
    }


def quietest(vehicles: int, possibilities: int) -> dict[str, float]:
    """The least disturbed of a few runs."""
    runs = [backlog_figures(vehicles, possibilities) for _ in range(5)]
    return min(runs, key=lambda run: run["core_seconds"])


def _waiting(fleet: InventedFleet, rows: Any) -> Any:
    interval = look_interval_clock_km(fleet.cells.clock_km_per_month, fleet.cells.clock_km_per_month)
    return waiting_of_rows(fleet.residuals, fleet.cells, rows, interval, np.full(len(fleet.grade), 10_000.0))


def plan_figures(size: tuple[int, int, int], limits: Limits) -> dict[str, Any]:
    """Medians over the seeds; statuses and gaps of each."""
    problems = [problem(*size[:2], seed, size[2]) for seed in SEEDS]
    quick = [timed(lambda each=each: plan_at_once(each)) for each in problems]
    exact = [timed(lambda each=each: plan_visits(each, limits)) for each in problems]
    for each, (_, plan) in [*zip(problems, quick, strict=True), *zip(problems, exact, strict=True)]:
        _must_hold(each, plan)
    return {
        "at_once_seconds": round(median(seconds for seconds, _ in quick), 4),
        "at_once_of_best": [
            round(one.value_minor / best.value_minor, 5) for (_, one), (_, best) in zip(quick, exact, strict=True)
        ],
        "at_once_worst_gap": max(plan.gap_fraction for _, plan in quick),
        "exact_seconds": [round(seconds, 3) for seconds, _ in exact],
        "exact_status": [plan.status for _, plan in exact],
        "exact_worst_gap": max(plan.gap_fraction for _, plan in exact),
    }


def _must_hold(each: PlanProblem, plan: Any) -> None:
    audit = audited(each, plan.placed)
    if audit.broken or audit.value_minor != plan.value_minor:
        raise RuntimeError(f"a plan failed its audit: {audit.broken}")


def figures() -> dict[str, Any]:
    """Everything that is measured."""
    plan_at_once(problem(1, 3, 1))  # loads the solver
    return {
        "backlog": [quietest(*size) for size in ((1, 360), (2_000, 64), (2_000, 360))],
        "plans": {name: plan_figures(size, LIMITS) for name, size in SIZES.items()},
        "plans_to_a_hundred_thousandth": {"2,000 jobs": plan_figures(SIZES["2,000 jobs"], LARGE)},
        "plans_over_visits": {name: plan_figures(size, SEVERAL_VISITS) for name, size in VISITS.items()},
    }


if __name__ == "__main__":
    json.dump(figures(), sys.stdout, indent=2)
    sys.stdout.write("\n")
