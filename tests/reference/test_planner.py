"""The planner against knapsacks of known optimum and against another solver's own formulation.

Knapsack data: the fifty items of the OR-Tools documentation, optimum 7534 with weight 850 (read, and computed by three
solvers: R + C); P01 to P08 of a public-domain university collection (data from memory, each optimum proved by integer
programming and by dynamic programming: M + C); the three items of an algorithms textbook (the same).
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from scheduling.core.planner.audit import audited
from scheduling.core.planner.planning import plan_at_once, plan_visits
from scheduling.core.planner.problem import PlanJob, PlanProblem, Visit
from tests.benchmarks.planner.instances import problem as invented


@dataclass(frozen=True)
class Instance:
    """A knapsack: weights are money here."""

    name: str
    capacity: int
    weights: list[int]
    values: list[int]
    optimum: int

    def problem(self) -> PlanProblem:
        """The same as jobs that take money and no time."""
        pairs = zip(self.values, self.weights, strict=True)
        jobs = tuple(PlanJob("v", "job", value, weight, 0) for value, weight in pairs)
        return PlanProblem(jobs, (Visit(0, 0, self.capacity),))


KNAPSACKS = [
    Instance(
        "OR-Tools documentation example",
        850,
        [
            7,
            0,
            30,
            22,
            80,
            94,
            11,
            81,
            70,
            64,
            59,
            18,
            0,
            36,
            3,
            8,
            15,
            42,
            9,
            0,
            42,
            47,
            52,
            32,
            26,
            48,
            55,
            6,
            29,
            84,
            2,
            4,
            18,
            56,
            7,
            29,
            93,
            44,
            71,
            3,
            86,
            66,
            31,
            65,
            0,
            79,
            20,
            65,
            52,
            13,
        ],
        [
            360,
            83,
            59,
            130,
            431,
            67,
            230,
            52,
            93,
            125,
            670,
            892,
            600,
            38,
            48,
            147,
            78,
            256,
            63,
            17,
            120,
            164,
            432,
            35,
            92,
            110,
            22,
            42,
            50,
            323,
            514,
            28,
            87,
            73,
            78,
            15,
            26,
            78,
            210,
            36,
            85,
            189,
            274,
            43,
            33,
            10,
            19,
            389,
            276,
            312,
        ],
        7534,
    ),
    Instance(
        "P01",
        165,
        [23, 31, 29, 44, 53, 38, 63, 85, 89, 82],
        [92, 57, 49, 68, 60, 43, 67, 84, 87, 72],
        309,
    ),
    Instance(
        "P03",
        190,
        [56, 59, 80, 64, 75, 17],
        [50, 50, 64, 46, 50, 5],
        150,
    ),
    Instance(
        "P04",
        50,
        [31, 10, 20, 19, 4, 3, 6],
        [70, 20, 39, 37, 7, 5, 10],
        107,
    ),
    Instance(
        "P06",
        170,
        [41, 50, 49, 59, 55, 57, 60],
        [442, 525, 511, 593, 546, 564, 617],
        1735,
    ),
    Instance(
        "P08",
        6404180,
        [
            382745,
            799601,
            909247,
            729069,
            467902,
            44328,
            34610,
            698150,
            823460,
            903959,
            853665,
            551830,
            610856,
            670702,
            488960,
            951111,
            323046,
            446298,
            931161,
            31385,
            496951,
            264724,
            224916,
            169684,
        ],
        [
            825594,
            1677009,
            1676628,
            1523970,
            943972,
            97426,
            69666,
            1296457,
            1679693,
            1902996,
            1844992,
            1049289,
            1252836,
            1319836,
            953277,
            2067538,
            675367,
            853655,
            1826027,
            65731,
            901489,
            577243,
            466257,
            369261,
        ],
        13549094,
    ),
    Instance(
        "CLRS three items",
        50,
        [10, 20, 30],
        [60, 100, 120],
        220,
    ),
]


@pytest.mark.parametrize("instance", KNAPSACKS, ids=lambda each: each.name)
def test_the_best_plan_has_the_known_optimum(instance: Instance) -> None:
    problem = instance.problem()
    plan = plan_visits(problem)
    assert (plan.status, plan.value_minor, plan.bound_minor) == ("optimal", instance.optimum, instance.optimum)
    assert plan.visits[0].cash_minor <= instance.capacity
    assert audited(problem, plan.placed).broken == ()


@pytest.mark.parametrize("instance", KNAPSACKS, ids=lambda each: each.name)
def test_the_answer_at_once_and_its_bound_enclose_the_known_optimum(instance: Instance) -> None:
    plan = plan_at_once(instance.problem())
    assert plan.value_minor <= instance.optimum <= plan.bound_minor


def outside_optimum(problem: PlanProblem) -> float:
    """The same question put to SciPy in a formulation of its own: every unit its own variable, nothing folded."""
    units = sorted({(job.vehicle, unit) for job in problem.jobs for unit in job.units}, key=lambda each: str(each))
    count, (visit,) = len(problem.jobs), problem.visits
    gain = [job.saving_minor for job in problem.jobs] + [-unit.cost_minor for _, unit in units]
    rows = [[job.cash_minor for job in problem.jobs] + [unit.cash_minor for _, unit in units]]
    rows.append([job.minutes for job in problem.jobs] + [unit.minutes for _, unit in units])
    limits = [float(visit.money_minor), float(visit.minutes)]
    for index, job in enumerate(problem.jobs):
        for unit in job.units:
            row = [0] * (count + len(units))
            row[index], row[count + units.index((job.vehicle, unit))] = 1, -1
            rows.append(row)
            limits.append(0.0)
    found = milp(
        -np.array(gain, dtype=float),
        constraints=LinearConstraint(np.array(rows, dtype=float), -np.inf, np.array(limits)),
        integrality=np.ones(len(gain)),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 0.0},
    )
    return float(-found.fun)


@pytest.mark.parametrize("seed", range(6))
def test_shared_access_is_planned_as_well_as_another_formulation_finds(seed: int) -> None:
    problem = invented(vehicles=3, jobs_a_vehicle=10, seed=seed)
    plan = plan_visits(problem)
    assert plan.status == "optimal"
    assert plan.value_minor == pytest.approx(outside_optimum(problem), abs=0.5)


@pytest.mark.parametrize("seed", range(4))
def test_the_answer_at_once_is_within_its_own_proven_gap_of_the_best(seed: int) -> None:
    problem = invented(vehicles=3, jobs_a_vehicle=10, seed=seed)
    quick, best = plan_at_once(problem), plan_visits(problem)
    assert quick.value_minor <= best.value_minor <= quick.bound_minor
    assert best.value_minor - quick.value_minor <= quick.gap_fraction * quick.bound_minor + 1
