"""Estimates for a customer: drafted, sent by a private link, withdrawn."""

from __future__ import annotations

import uuid
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView, Json, VehicleView
from fleetcare.fleet.api.shapes import money
from scheduling import selectors
from scheduling.api import estimate_answers as answers
from scheduling.api import estimate_inputs as inputs
from scheduling.core.estimate_money import Price, price_of, sum_of
from scheduling.services import estimates as services
from scheduling.words import Answer, EstimateState

if TYPE_CHECKING:
    from fleetcare.fleet.access import Access
    from fleetcare.fleet.models import Fleet
    from scheduling.models import Estimate, EstimateLine, EstimateOption

_STATES = EstimateState.values
_PAGE = page_of(answers.EstimateOut)


def estimate_json(access: Access, estimate: Estimate) -> Json:
    """An estimate with its lines in the order of the paper and what they come to."""
    fleet, lines = access.fleet, list(estimate.lines.all())
    return {
        "id": estimate.pk,
        "number": estimate.number,
        "vehicle": estimate.vehicle_id,
        "vehicle_name": estimate.vehicle.name,
        "contact": estimate.contact_id,
        "customer": estimate.customer,
        "note": estimate.note,
        "tax_percent": None if estimate.tax_percent is None else float(estimate.tax_percent),
        "state": services.state_of(estimate),
        "sent_at": estimate.sent_at,
        "expires_at": estimate.expires_at,
        "answered_at": estimate.answered_at,
        "created_at": estimate.created_at,
        "lines": [_line_json(fleet, estimate, line) for line in lines],
        "offered": _price_json(fleet, sum_of(_prices(estimate, [line.options.all()[0] for line in lines]))),
        "accepted": _price_json(fleet, sum_of(_prices(estimate, _chosen(lines)))),
    }


def _chosen(lines: list[EstimateLine]) -> list[EstimateOption]:
    accepted = (line for line in lines if line.answer == Answer.ACCEPTED)
    return [option for line in accepted for option in line.options.all() if option.pk == line.chosen_id]


def _prices(estimate: Estimate, options: list[EstimateOption]) -> list[Price]:
    return [price_of(option.parts_minor, option.labour_minor, estimate.tax_percent) for option in options]


def _price_json(fleet: Fleet, price: Price) -> Json:
    return {
        "net": money(price.net_minor, fleet),
        "tax": money(price.tax_minor, fleet),
        "gross": money(price.gross_minor, fleet),
    }


def _line_json(fleet: Fleet, estimate: Estimate, line: EstimateLine) -> Json:
    return {
        "id": line.pk,
        "title": line.title,
        "explanation": line.explanation,
        "safety": line.safety,
        "before_driving": line.before_driving,
        "options": [_option_json(fleet, estimate, option) for option in line.options.all()],
        "answer": line.answer or None,
        "chosen": line.chosen_id,
        "answered_by": line.answered_by,
        "answered_at": line.answered_at,
        "reason": line.reason,
    }


def _option_json(fleet: Fleet, estimate: Estimate, option: EstimateOption) -> Json:
    return {
        "id": option.pk,
        "title": option.title,
        "job_id": option.job_id,
        "job": option.job_key or None,
        "positions": option.positions,
        "hours": None if option.hours is None else float(option.hours),
        "parts": money(option.parts_minor, fleet),
        "labour": money(option.labour_minor, fleet),
        "price": _price_json(fleet, price_of(option.parts_minor, option.labour_minor, estimate.tax_percent)),
    }


def draft_of(values: Json) -> services.Draft:
    """What a checked body says."""
    return services.Draft(
        lines=tuple(_line(line) for line in values["lines"]),
        contact_id=values.get("contact"),
        customer=values.get("customer", ""),
        note=values.get("note", ""),
        tax_percent=values.get("tax_percent"),
    )


def _line(values: Json) -> services.LineDraft:
    return services.LineDraft(
        options=tuple(_option(option) for option in values["options"]),
        title=values.get("title", ""),
        explanation=values.get("explanation", ""),
        safety=values["safety"],
    )


def _option(values: Json) -> services.OptionDraft:
    hours: Decimal | None = values.get("hours")
    return services.OptionDraft(
        title=values.get("title", ""),
        job_id=values.get("job_id"),
        job_key=values.get("job", ""),
        positions=tuple(values.get("positions", ())),
        hours=hours,
        parts_minor=values.get("parts"),
        labour_minor=values.get("labour"),
    )


class FleetEstimates(FleetView):
    tag = "estimate"
    parameters = ("state",)

    @extend_schema(
        operation_id="list_fleet_estimates",
        parameters=[OpenApiParameter("state", str, enum=_STATES)],
        responses=_PAGE,
    )
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        rows, state = selectors.estimates(self.access), request.query_params.get("state")
        if state is not None and state not in _STATES:
            raise ValidationError({"state": [ErrorDetail(f"One of: {', '.join(_STATES)}.", "choice")]})
        if state is not None:
            rows = rows.filter(state=state)
        return self.page(rows, partial(estimate_json, self.access), ("-created_at", "-id"))


class VehicleEstimates(VehicleView):
    tag = "estimate"

    @extend_schema(operation_id="list_estimates", responses=_PAGE)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rows = selectors.estimates(self.access).filter(vehicle=self.vehicle)
        return self.page(rows, partial(estimate_json, self.access), ("-created_at", "-id"))

    @extend_schema(operation_id="draft_estimate", request=inputs.EstimateIn, responses={201: answers.EstimateOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        estimate = services.draft_estimate(self.access, self.vehicle, draft_of(self.parsed(inputs.EstimateIn)))
        place = f"/api/v1/fleets/{fleet_id}/estimates/{estimate.pk}/"
        stored = selectors.estimates(self.access).one(pk=estimate.pk)
        return self.one(estimate_json(self.access, stored), stored.version, status=201, location=place)


class EstimateView(FleetView):
    tag = "estimate"

    def found(self, estimate_id: uuid.UUID) -> Estimate:
        estimate = selectors.estimates(self.access).one(pk=estimate_id)
        self.require_match(estimate)
        return estimate

    def answer(self, estimate_id: uuid.UUID, **more: str) -> Response:
        estimate = selectors.estimates(self.access).one(pk=estimate_id)
        return self.one({**estimate_json(self.access, estimate), **more}, estimate.version)


class OneEstimate(EstimateView):
    @extend_schema(operation_id="read_estimate", responses=answers.EstimateOut)
    def get(self, request: Any, fleet_id: uuid.UUID, estimate_id: uuid.UUID) -> Response:
        return self.answer(estimate_id)

    @extend_schema(operation_id="put_estimate", request=inputs.EstimateIn, responses=answers.EstimateOut)
    def put(self, request: Any, fleet_id: uuid.UUID, estimate_id: uuid.UUID) -> Response:
        estimate = self.found(estimate_id)
        services.change_estimate(self.access, estimate, draft_of(self.parsed(inputs.EstimateIn)))
        return self.answer(estimate_id)

    @extend_schema(operation_id="delete_estimate", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, estimate_id: uuid.UUID) -> Response:
        services.drop_estimate(self.access, self.found(estimate_id))
        return Response(status=204)


class SendEstimate(EstimateView):
    """Makes the private link and shows it this once; an earlier link stops working."""

    @extend_schema(operation_id="send_estimate", request=inputs.SendIn, responses=answers.SentEstimateOut)
    def post(self, request: Any, fleet_id: uuid.UUID, estimate_id: uuid.UUID) -> Response:
        estimate = self.found(estimate_id)
        _, token = services.send_estimate(self.access, estimate, **self.parsed(inputs.SendIn))
        return self.answer(estimate_id, link=request.build_absolute_uri(f"/e/{token}/"))


class WithdrawEstimate(EstimateView):
    @extend_schema(operation_id="withdraw_estimate", request=None, responses=answers.EstimateOut)
    def post(self, request: Any, fleet_id: uuid.UUID, estimate_id: uuid.UUID) -> Response:
        services.withdraw_estimate(self.access, self.found(estimate_id))
        return self.answer(estimate_id)
