"""A plan made anew in place of another: with what is known now, and what moved because of what."""

import dataclasses
from typing import Any

import msgspec

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict
from scheduling.models import StoredPlan
from scheduling.services.plans.asking import PlanAsk
from scheduling.services.plans.changes import causes_since
from scheduling.services.plans.making import store_plan
from scheduling.services.plans.posing import posed


def renew_plan(access: Access, plan: StoredPlan, *, exact: bool = False, **asked: Any) -> StoredPlan:
    """A new plan for what was asked then, with whatever of it (`visits`, `wishes`, `vehicles`, `carry_over`) is given
    anew. Planners and owners; the old one stays as it was.

    Visits that have passed, vehicles that are no longer kept and wishes about jobs that are no longer open are left
    behind. Raises Conflict where that leaves no visit or no vehicle, InvalidInput as `make_plan`.
    """
    access.require(Role.PLANNER)
    ask = dataclasses.replace(PlanAsk.of_json(plan.asked), **asked)
    if "visits" not in asked:
        left = tuple(visit for visit in ask.visits if visit.on >= today(access.fleet))
        if not left:
            raise Conflict("Every visit of this plan has passed; name new ones.", code="visits-past")
        ask = dataclasses.replace(ask, visits=left)
    question = posed(access, ask, anew=not asked)
    causes = msgspec.to_builtins(causes_since(plan, question.ask, question.basis))
    return store_plan(access, question, exact=exact, title=plan.title, replaces=plan, causes=causes)
