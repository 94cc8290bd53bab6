"""Putting a plan into its row, recounted."""

from typing import Any

import msgspec

from inspections.catalogue.loader import default_catalogue
from scheduling.core.planner.audit import audited
from scheduling.core.planner.problem import Plan, PlanProblem
from scheduling.models import StoredPlan
from scheduling.services.plans.changes import changes_of
from scheduling.services.plans.telling import Telling
from scheduling.words import PlanState

Json = dict[str, Any]


_COLUMNS = [
    "document", "status", "value_minor", "bound_minor", "planned_jobs", "state", "problem", "changes", "causes",
]  # fmt: skip


class BrokenPlan(RuntimeError):
    """The planner's own recount does not confirm a plan. It is never stored; remedy: report the problem."""


def require_sound(problem: PlanProblem, plan: Plan) -> None:
    """Counts a plan again in integers; raises BrokenPlan where anything does not hold."""
    if plan.status == "infeasible":
        return
    recount = audited(problem, plan.placed)
    if recount.broken or recount.value_minor != plan.value_minor or plan.value_minor > plan.bound_minor:
        raise BrokenPlan("; ".join(recount.broken) or f"value {recount.value_minor}, told {plan.value_minor}")


def fill(row: StoredPlan, problem: PlanProblem, plan: Plan, *, final: bool) -> list[str]:
    """Puts a plan into its row, without saving; returns the columns it set.

    What moved against the plan it replaces is told anew each time, from the causes kept with it until it is final.
    """
    telling = Telling(default_catalogue(), row.fleet.currency, problem, row.jobs, row.basis)
    row.document = telling.document(plan)
    row.status, row.value_minor, row.bound_minor = plan.status, plan.value_minor, plan.bound_minor
    row.planned_jobs = len(plan.placed)
    row.state = PlanState.FINAL if final else PlanState.IMPROVING
    row.problem = None if final else msgspec.to_builtins(problem)
    row.changes = changes_of(row)
    row.causes = None if final else row.causes
    return _COLUMNS
