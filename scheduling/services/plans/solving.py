"""The worker's part: a plan that was answered at once is solved to the end. Any number of workers may try."""

import logging
import uuid
from datetime import timedelta

import msgspec
from django.db import transaction
from django.db.models import F
from django.utils import timezone

from fleetcare.support.bell import ring_after_commit
from scheduling.core.planner.planning import plan_visits
from scheduling.core.planner.problem import PlanProblem
from scheduling.core.planner.solver import Limits
from scheduling.models import StoredPlan
from scheduling.selectors import plans_to_solve
from scheduling.services.plans.filling import fill, require_sound
from scheduling.words import PlanState

log = logging.getLogger(__name__)

LIMITS = Limits(seconds=5.0, tolerance_fraction=1e-5)
LEASE = timedelta(minutes=2)
"""Longer than any one solving takes; what a dead worker held is free after it."""
MOST_ATTEMPTS = 3
RING_MOST = 100


def solve_plan(fleet_id: uuid.UUID, plan_id: uuid.UUID) -> bool:
    """Solves a plan within LIMITS and stores the better answer; False where there was nothing (left) to do.

    Claimed by a conditional update and computed outside any transaction. Whoever lost the claim meanwhile stores
    nothing.
    """
    row = _claimed(fleet_id, plan_id)
    if row is None:
        return False
    problem = msgspec.convert(row.problem, PlanProblem)
    plan = plan_visits(problem, LIMITS)
    require_sound(problem, plan)
    columns = fill(row, problem, plan, final=True)
    mine = StoredPlan.objects.within(fleet_id).filter(pk=row.pk, claim=row.claim)
    values = {name: getattr(row, name) for name in columns}
    return bool(mine.update(**values, claim=None, claimed_until=None))


def _claimed(fleet_id: uuid.UUID, plan_id: uuid.UUID) -> StoredPlan | None:
    now, claim = timezone.now(), uuid.uuid4()
    free = plans_to_solve(now).within(fleet_id).filter(pk=plan_id, attempts__lt=MOST_ATTEMPTS)
    if not free.update(claim=claim, claimed_until=now + LEASE, attempts=F("attempts") + 1):
        return None
    rows = StoredPlan.objects.within(fleet_id).select_related("fleet", "replaces")
    return rows.filter(pk=plan_id, claim=claim).first()


def ask_for_solving() -> int:
    """Rings again for plans that a lost bell or a dead worker left; returns for how many.

    A plan that ended every attempt without an answer stays as it was found at once, and says so by its gap.
    """
    now = timezone.now()
    given_up = plans_to_solve(now).filter(attempts__gte=MOST_ATTEMPTS)
    count = given_up.order_by().update(state=PlanState.FINAL, problem=None, claim=None, claimed_until=None)
    if count:
        log.error("%d plans were given up after %d attempts", count, MOST_ATTEMPTS)
    left = list(plans_to_solve(now).values_list("fleet_id", "pk")[:RING_MOST])
    with transaction.atomic():
        for fleet_id, plan_id in left:
            ring_after_commit("scheduling.solve_plan", str(fleet_id), str(plan_id))
    return len(left)
