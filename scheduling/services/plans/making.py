"""Plans made at once, stored, and solved to the end behind the answer."""

import uuid
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.words import Role
from fleetcare.support.bell import ring_after_commit
from inspections.catalogue.loader import default_catalogue
from scheduling.core.planner.audit import audited
from scheduling.core.planner.frontier import Of, frontier, useful_amount
from scheduling.core.planner.planning import plan_at_once
from scheduling.core.planner.problem import PlanProblem
from scheduling.core.planner.solver import Limits
from scheduling.models import StoredPlan
from scheduling.selectors import stored_plans
from scheduling.services.plans.asking import PlanAsk
from scheduling.services.plans.filling import fill, require_sound
from scheduling.services.plans.posing import Posed, posed
from scheduling.services.plans.solving import solve_plan
from scheduling.services.plans.telling import Telling, frontier_points
from scheduling.words import PlanState

Json = dict[str, Any]
UNTITLED_KEPT = 50
"""Plans without a title beyond the newest so many of a fleet go when another is made."""
FRONTIER_SECONDS = 4.0
FRONTIER_TOLERANCE = 1e-4


def make_plan(access: Access, ask: PlanAsk, *, exact: bool = False, title: str = "") -> StoredPlan:
    """Which jobs go into which visit, and how close to the best that is. Planners and owners.

    Answers with a plan found at once and its bound; what is not yet shown to be the best is solved by a worker.
    `exact` waits for that. Raises InvalidInput naming everything that cannot be meant, with its place.
    """
    access.require(Role.PLANNER)
    return store_plan(access, posed(access, ask), exact=exact, title=title)


def store_plan(access: Access, question: Posed, *, exact: bool, title: str = "", **columns: Any) -> StoredPlan:
    """Plans, recounts and stores a question; `columns` are further ones of the row."""
    plan = plan_at_once(question.problem)
    require_sound(question.problem, plan)
    row = StoredPlan(
        fleet=access.fleet,
        title=title,
        made_on=question.basis["as_of"],
        made_by=access.actor,
        asked=question.ask.as_json(),
        basis=question.basis,
        jobs=question.jobs,
        **columns,
    )
    fill(row, question.problem, plan, final=plan.status != "feasible")
    with transaction.atomic():
        row.save(force_insert=True)
        _forget_older(access)
        if row.state == PlanState.IMPROVING and not exact:
            ring_after_commit("scheduling.solve_plan", str(access.fleet.pk), str(row.pk))
    if row.state == PlanState.IMPROVING and exact:
        solve_plan(access.fleet.pk, row.pk)
    return stored_plans(access).select_related("fleet").one(pk=row.pk)


def _forget_older(access: Access) -> None:
    rows = StoredPlan.objects.within(access.fleet).filter(title="").order_by("-created_at", "-id")
    old = list(rows.values_list("pk", flat=True)[UNTITLED_KEPT : UNTITLED_KEPT + 100])
    if old:
        StoredPlan.objects.within(access.fleet).filter(pk__in=old).delete()


@transaction.atomic
def delete_plan(access: Access, plan: StoredPlan) -> None:
    """Removes a plan; what it planned is untouched. Planners and owners."""
    access.require(Role.PLANNER)
    plan.delete()


def plan_frontier(
    access: Access, ask: PlanAsk, *, of: Of = "money", steps: int = 6, amounts: Sequence[int] | None = None
) -> Json:
    """What each further amount of money (minor units) or time (minutes) buys. Planners and owners; nothing is stored.

    Without `amounts`, `steps` even ones up to where nothing more is bought. Raises InvalidInput as `make_plan`.
    """
    access.require(Role.PLANNER)
    question = posed(access, ask)
    telling = Telling(default_catalogue(), access.fleet.currency, question.problem, question.jobs, question.basis)
    asked = amounts or _even_amounts(question.problem, of, steps)
    limits = Limits(FRONTIER_SECONDS / len(asked), FRONTIER_TOLERANCE)
    points = frontier_points(telling, frontier(question.problem, asked, of, limits), of)
    return {"of": "hours" if of == "minutes" else of, "points": points}


def _even_amounts(problem: PlanProblem, of: Of, steps: int) -> list[int]:
    """From nothing to what the best plan without this limit takes."""
    free = frontier(problem, [useful_amount(problem, of)], of)[0]
    done = audited(problem, free.placed).visits
    taken = sum(visit.cash_minor if of == "money" else visit.minutes for visit in done)
    return [-(-taken * number // (steps - 1)) for number in range(steps)]


def plan_of(access: Access, plan_id: uuid.UUID) -> StoredPlan:
    """A plan of the fleet; raises NotFound."""
    return stored_plans(access).select_related("fleet").one(pk=plan_id)
