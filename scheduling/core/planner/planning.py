"""Jobs into visits: a plan at once, then the best plan, always with a bound and always recounted."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from scheduling.core.planner.audit import Audit, audited
from scheduling.core.planner.formulation import Model, formulated
from scheduling.core.planner.greedy import greedy
from scheduling.core.planner.improving import improved
from scheduling.core.planner.left_out import left_out
from scheduling.core.planner.loosening import ways_out
from scheduling.core.planner.musts import musts_alone, musts_of
from scheduling.core.planner.problem import Placed, Plan, PlanProblem, Status
from scheduling.core.planner.rules import require_sense
from scheduling.core.planner.settling import near, settled
from scheduling.core.planner.solver import Limits, Relaxed, Solved, relaxed, solved
from scheduling.core.types import FloatArray

MUSTS_LIMITS = Limits(seconds=2.0, tolerance_fraction=0.05)
NEAR_PLACES = 40
"""So many places of jobs, those that the relaxed program is least sure of, are searched first."""
NEAR_LIMITS = Limits(seconds=1.0, nodes=100)
WHOLE = 1.0 - 1e-6
HALF = 0.05
"""What the relaxed program does less of than this counts as not done."""
MOST_FILLED = 2_000
"""Places gone through in making a first plan better, over all fillings: some 20 ms of processor time."""
FEWEST_TRIES = 4
"""With fewer fillings than these nothing is won for the time they take."""
SMALL_PLACES = 150
"""Up to here other greedy plans are tried too; in larger problems what is done by halves is too little to matter."""


def plan_visits(problem: PlanProblem, limits: Limits | None = None) -> Plan:
    """The best plan for the visits' money, hours, people and bays.

    Its status is "optimal" where no plan can save more (or not by more than the limits' tolerance), "feasible" where
    time ran out first (the bound tells by how much at most), "infeasible" where not all that must be done fits: then
    nothing is planned, and `ways_out` tell what would let it fit. Raises InvalidInput for a problem that
    contradicts itself. The same problem gives the same plan, unless time runs out.
    """
    return _planned(problem, limits or Limits(), exact=True)


def plan_at_once(problem: PlanProblem) -> Plan:
    """A good plan in milliseconds, with the bound of the relaxed program: never better than `plan_visits`.

    Where the greedy search finds no room for a job that must be done, those alone are solved for; only where that
    finds none either is the whole program solved.
    """
    return _planned(problem, Limits(), exact=False)


@dataclass(frozen=True, slots=True)
class _Candidate:
    placed: tuple[Placed, ...]
    audit: Audit


def _planned(problem: PlanProblem, limits: Limits, *, exact: bool) -> Plan:
    require_sense(problem)
    model = formulated(problem)
    bound = relaxed(model)
    if bound.outcome == "infeasible":
        return _infeasible(problem)
    best = _best(_quick(problem, model, bound))
    if best is None and not exact:
        best = _best(_around_musts(problem, model))
    whole_bound = _whole(bound.bound)
    if (exact or best is None) and (best is None or best.audit.value_minor < whole_bound):
        found = _searched(problem, model, limits, bound, best)
        if found is None:
            return _infeasible(problem)
        best, whole_bound = found
    if best is None:
        best = _best(_around_musts(problem, model))
    return _nothing_found(problem, whole_bound) if best is None else _as_plan(problem, best, whole_bound, limits)


def _searched(
    problem: PlanProblem, model: Model, limits: Limits, bound: Relaxed, best: _Candidate | None
) -> tuple[_Candidate | None, int] | None:
    """The best plan that the solver finds, and a bound on all; None where there is no plan at all.

    First near what the relaxed program does, then everywhere: the better the plan in hand, the more is settled.
    """
    if best is None:
        answer = solved(model, limits)
        if answer.outcome == "infeasible":
            return None
        return _best(_from_solver(problem, model, answer)), _whole(min(bound.bound, answer.bound))
    if len(model.places) > NEAR_PLACES:
        nearby = replace(NEAR_LIMITS, seconds=min(NEAR_LIMITS.seconds, limits.seconds))
        answer = solved(model, nearby, columns_of(model, best.placed), near(model, bound, NEAR_PLACES))
        best = _best([best, *_from_solver(problem, model, answer)]) or best
    value = best.audit.value_minor
    answer = solved(model, limits, columns_of(model, best.placed), settled(model, bound, value))
    # What is settled was so for better plans only: where there is none, the plan in hand is the best.
    left = value if answer.outcome == "infeasible" else max(answer.bound, float(value))
    return _best([best, *_from_solver(problem, model, answer)]), _whole(min(bound.bound, left))


def _whole(bound: float) -> int:
    """The largest whole value that a bound allows; a hair is given for the solver's arithmetic."""
    return int(np.floor(bound + 1e-6 * max(1.0, abs(bound)) ** 0.5))


def _quick(problem: PlanProblem, model: Model, bound: Relaxed) -> list[_Candidate]:
    """Greedy plans: from what the relaxed program does, wholly or in part, by its prices, and by plain shares.

    Over several visits the best of them is then made better by moving what a vehicle has done at one of them.
    """
    prices = _prices(problem, model, bound)
    plans = [greedy(problem, model, prices, first) for first in _from_halves(model, bound, prices)]
    if len(model.places) <= SMALL_PLACES:
        plans += [greedy(problem, model), greedy(problem, model, prices)]
    found = _sound(problem, [plan for plan in plans if plan is not None])
    best, tries = _best(found), MOST_FILLED // max(len(model.places), 1)
    if best is None or len(problem.visits) == 1 or tries < FEWEST_TRIES:
        return found
    return [
        *found,
        *_sound(problem, [improved(problem, model, (prices, None), best.placed, _value_in(problem), tries)]),
    ]


def _value_in(problem: PlanProblem) -> Callable[[tuple[Placed, ...]], int | None]:
    def value(plan: tuple[Placed, ...]) -> int | None:
        audit = audited(problem, plan)
        return None if audit.broken else audit.value_minor

    return value


def _from_halves(model: Model, bound: Relaxed, prices: FloatArray) -> tuple[list[int], list[int]]:
    """Places that the relaxed program takes: those it takes whole, and all of them with the half-done ones first.

    Half-done ones matter: a large job takes the room of several small ones, and jobs of a vehicle that pay only
    together are all done by the same half. The whole ones behind them go in by worth, so that the least gives way.
    """
    halves = bound.halves[: len(model.places)]
    uses = np.array([need.use[:2] for need in model.work.jobs], dtype=np.float64).reshape(-1, 2)
    job = np.array([place.job for place in model.places], dtype=np.int64)
    visit = np.array([place.visit for place in model.places], dtype=np.int64)
    worth = model.gain[: len(job)] / ((uses[job] * prices[visit]).sum(axis=1) + 1e-9)
    whole = np.flatnonzero(halves >= WHOLE)
    whole = whole[np.argsort(-worth[whole], kind="stable")]
    partly = np.flatnonzero((halves >= HALF) & (halves < WHOLE))
    partly = partly[np.argsort(-halves[partly], kind="stable")]
    return whole.tolist(), [*partly.tolist(), *whole.tolist()]


def _prices(problem: PlanProblem, model: Model, bound: Relaxed) -> FloatArray:
    """What a minute and a minor unit of money are worth at each visit; money that carries over counts on."""
    visits = range(len(problem.visits))
    minutes = np.array([bound.price[model.row_of["minutes", visit, -1]] for visit in visits])
    money = np.array([bound.price[model.row_of["money", visit, -1]] for visit in visits])
    if problem.carry_over:
        money = np.cumsum(money[::-1])[::-1]
    return np.stack([minutes, money], axis=1)


def _sound(problem: PlanProblem, plans: list[tuple[Placed, ...]]) -> list[_Candidate]:
    """Plans that pass the audit; one that does not is no plan, whoever proposed it."""
    candidates = [_Candidate(plan, audited(problem, plan)) for plan in plans]
    return [candidate for candidate in candidates if not candidate.audit.broken]


def _best(candidates: list[_Candidate]) -> _Candidate | None:
    return max(candidates, key=lambda candidate: candidate.audit.value_minor, default=None)


def columns_of(model: Model, placed: tuple[Placed, ...]) -> FloatArray:
    """A plan as values of the program's variables."""
    x = np.zeros(model.columns)
    column_of = {place: column for column, place in enumerate(model.places)}
    for place in placed:
        x[column_of[place]] = 1.0
        for group in model.work.groups_of[place.job]:
            x[model.unit_column[group, place.visit]] = 1.0
    return x


def _from_solver(problem: PlanProblem, model: Model, answer: Solved) -> list[_Candidate]:
    if answer.x is None:
        return []
    chosen = np.flatnonzero(answer.x[: len(model.places)] > 0.5)
    return _sound(problem, [tuple(sorted(model.places[column] for column in chosen))])


def _around_musts(problem: PlanProblem, model: Model) -> list[_Candidate]:
    """Where no plan was found yet: only what must be done is solved for, the rest filled in."""
    musts = musts_of(problem)
    alone = formulated(musts_alone(problem, musts))
    answer = solved(alone, MUSTS_LIMITS)
    if answer.x is None:
        return []
    column_of = {place: column for column, place in enumerate(model.places)}
    chosen = [alone.places[column] for column in np.flatnonzero(answer.x[: len(alone.places)] > 0.5)]
    first = [column_of[replace(place, job=musts[place.job])] for place in chosen]
    plan = greedy(problem, model, first=sorted(first, key=lambda column: model.places[column].visit))
    return _sound(problem, [] if plan is None else [plan])


def _as_plan(problem: PlanProblem, best: _Candidate, bound: int, limits: Limits) -> Plan:
    value = best.audit.value_minor
    bound = max(bound, value)
    close = bound - value <= limits.tolerance_fraction * max(abs(bound), 1)
    status: Status = "optimal" if bound == value or close else "feasible"
    return Plan(status, value, bound, best.audit.visits, left_out(problem, best.placed, best.audit))


def _infeasible(problem: PlanProblem) -> Plan:
    empty = audited(problem, ())
    return Plan("infeasible", 0, 0, empty.visits, left_out(problem, (), empty), ways_out(problem))


def _nothing_found(problem: PlanProblem, bound: int) -> Plan:
    """Time ran out before any plan with all that must be done was found, though one may exist."""
    empty = audited(problem, ())
    return Plan("infeasible", 0, max(bound, 0), empty.visits, left_out(problem, (), empty), ways_out(problem))
