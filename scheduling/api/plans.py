"""Plans: the best set of jobs for the visits there are, kept, made anew, and what more money or hours would buy."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView
from fleetcare.support.pages import CursorPages
from scheduling.api import answers_plans as answers
from scheduling.api import plan_inputs as inputs
from scheduling.selectors import plans_listed
from scheduling.services import plans


class Plans(FleetView):
    tag = "plan"
    costly = frozenset({"POST"})

    @extend_schema(operation_id="list_plans", responses=page_of(answers.PlanSummaryOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        pages = CursorPages()
        pages.ordering = ("-created_at", "-id")
        found = pages.paginate_queryset(plans_listed(self.access), request, view=self)
        return pages.get_paginated_response(plans.plan_summaries(self.access, found or ()))

    @extend_schema(operation_id="make_plan", request=inputs.PlanNew, responses={201: answers.PlanOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.PlanNew)
        ask = inputs.ask_of(values)
        plan = plans.make_plan(self.access, ask, exact=values["exact"], title=values.get("title", ""))
        return _made(self, plan, request.path)


class OnePlan(FleetView):
    tag = "plan"

    @extend_schema(operation_id="read_plan", responses=answers.PlanOut)
    def get(self, request: Any, fleet_id: uuid.UUID, plan_id: uuid.UUID) -> Response:
        return Response(plans.plan_json(self.access, plans.plan_of(self.access, plan_id)))

    @extend_schema(operation_id="delete_plan", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, plan_id: uuid.UUID) -> Response:
        plans.delete_plan(self.access, plans.plan_of(self.access, plan_id))
        return Response(status=204)


class PlanRenewed(FleetView):
    tag = "plan"
    costly = frozenset({"POST"})

    @extend_schema(operation_id="renew_plan", request=inputs.PlanRenewal, responses={201: answers.PlanOut})
    def post(self, request: Any, fleet_id: uuid.UUID, plan_id: uuid.UUID) -> Response:
        old = plans.plan_of(self.access, plan_id)
        values = self.parsed(inputs.PlanRenewal)
        plan = plans.renew_plan(self.access, old, exact=values["exact"], **inputs.asked(values))
        return _made(self, plan, request.path.removesuffix(f"{plan_id}/renew/"))


class PlanFrontier(FleetView):
    """Asked by POST because the question has a body; nothing is stored."""

    tag = "plan"
    costly = frozenset({"POST"})

    @extend_schema(operation_id="plan_frontier", request=inputs.FrontierQuestion, responses={200: answers.FrontierOut})
    def post(self, request: Any, fleet_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.FrontierQuestion)
        of, amounts = inputs.amounts_of(values)
        ask = inputs.ask_of(values)
        return Response(plans.plan_frontier(self.access, ask, of=of, steps=values["steps"], amounts=amounts))


def _made(view: FleetView, plan: Any, folder: str) -> Response:
    body = plans.plan_json(view.access, plan)
    return Response(body, status=201, headers={"Location": f"{folder}{plan.pk}/"})
