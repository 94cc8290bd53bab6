"""Plans: the best jobs for the visits there are, stored, solved to the end, and made anew with what moved and why."""

from scheduling.services.plans.asking import JobAsk, JobRef, PersonAsk, PlanAsk, VisitAsk
from scheduling.services.plans.making import delete_plan, make_plan, plan_frontier, plan_of
from scheduling.services.plans.reading import plan_json, plan_summaries
from scheduling.services.plans.renewing import renew_plan
from scheduling.services.plans.solving import ask_for_solving, solve_plan

__all__ = [
    "JobAsk",
    "JobRef",
    "PersonAsk",
    "PlanAsk",
    "VisitAsk",
    "ask_for_solving",
    "delete_plan",
    "make_plan",
    "plan_frontier",
    "plan_json",
    "plan_of",
    "plan_summaries",
    "renew_plan",
    "solve_plan",
]
