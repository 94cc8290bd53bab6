"""Invented planning problems of any size, always the same for a seed."""

import numpy as np

from scheduling.core.planner.problem import PlanJob, PlanProblem, PlanUnit, Visit

RATE_MINOR_PER_MINUTE = 60

ACCESS = {
    "wheel-off.front-left": 15,
    "wheel-off.front-right": 15,
    "wheel-off.rear-left": 15,
    "wheel-off.rear-right": 15,
    "undertray-off": 20,
    "coolant-drained": 35,
    "subframe-lowered": 120,
    "trim-off": 30,
}
FOLLOW_UPS = {"wheel-alignment": (20, 7000), "brake-bleed": (30, 1200), "road-test": (20, 0), "code-clear": (20, 0)}


def _unit(key: str, minutes: int, cash_minor: int = 0) -> PlanUnit:
    return PlanUnit(key, cash_minor + minutes * RATE_MINOR_PER_MINUTE, cash_minor, minutes)


UNITS = [_unit(key, minutes) for key, minutes in ACCESS.items()]
UNITS += [_unit(key, minutes, cash) for key, (minutes, cash) in FOLLOW_UPS.items()]


def problem(vehicles: int, jobs_a_vehicle: int, seed: int, visits: int = 1, share: float = 0.4) -> PlanProblem:
    """`share` of the money and hours that all jobs together would take is there, split over the visits."""
    rng = np.random.default_rng(seed)
    jobs = tuple(_job(rng, f"v{vehicle}") for vehicle in range(vehicles) for _ in range(jobs_a_vehicle))
    money = int(share * sum(job.cash_minor for job in jobs) / visits)
    minutes = int(share * sum(job.minutes for job in jobs) / visits)
    return PlanProblem(jobs, tuple(Visit(7 * number, minutes, money) for number in range(visits)))


def _job(rng: np.random.Generator, vehicle: str) -> PlanJob:
    minutes = int(rng.integers(2, 36)) * 5
    parts = int(np.exp(rng.normal(9.2, 0.9)))
    cost = parts + minutes * RATE_MINOR_PER_MINUTE
    units = rng.choice(len(UNITS), size=int(rng.integers(0, 4)), replace=False)
    saving = int(cost * rng.normal(0.6, 0.8))
    loss = max(saving, 0) // 400
    return PlanJob(
        vehicle, "job", saving, parts, minutes, tuple(UNITS[unit] for unit in units), loss_minor_per_day=loss
    )
