"""The fleet's own prices and hours by job, and who does the work."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import FleetView
from fleetcare.fleet.api.shapes import money, number
from inspections.core.job_costs import Range
from scheduling import selectors
from scheduling.api import price_answers, price_inputs
from scheduling.services import prices as services
from scheduling.services.options import done_by_reasons

if TYPE_CHECKING:
    from fleetcare.fleet.models import Fleet, JobPrice, WorkTerms
    from inspections.catalogue.prices import PriceBook

Json = dict[str, Any]


def price_json(row: JobPrice, fleet: Fleet, book: PriceBook) -> Json:
    """What a fleet says of a job, and what is reckoned with."""
    entry = services.known_job(row.job_key)
    figures = services.figures_of(book, row.job_key)
    bounds = (row.parts_low_minor, row.parts_typical_minor, row.parts_high_minor)
    low, typical, high = (None if each is None else money(each, fleet) for each in bounds)
    return {
        "job": row.job_key,
        "title": entry.job.title,
        "parts": None if typical is None else {"low": low, "typical": typical, "high": high},
        "hours": number(row.hours),
        "done_by": row.done_by or None,
        "note": row.note,
        "reckoned_parts": _money_range(figures.parts_minor, fleet),
        "reckoned_hours": _hours_range(figures.hours),
        "reckoned_done_by": figures.done_by,
        "done_by_because": done_by_reasons(figures),
        "hour_costs": money(round(figures.minor_per_hour), fleet),
        "closed_jobs": figures.closed_jobs,
    }


def _money_range(found: Range, fleet: Fleet) -> Json:
    return {name: money(round(getattr(found, name)), fleet) for name in ("low", "likely", "high")}


def _hours_range(found: Range) -> Json:
    return {name: round(getattr(found, name), 2) for name in ("low", "likely", "high")}


def terms_json(row: WorkTerms, fleet: Fleet, book: PriceBook) -> Json:
    """Who does what, with the rates that hold."""
    return {
        "done_by": row.done_by,
        "own_hour": money(round(book.terms.own_minor_per_hour), fleet),
        "workshop_hour": money(round(book.terms.workshop_minor_per_hour), fleet),
        "hardest_own": row.hardest_own,
        "licensed_here": row.licensed_here,
        "raising": row.raising,
        "tools": row.tools,
        "tools_lacking": row.tools_lacking,
        "said": row.version > 0,
    }


class Prices(FleetView):
    @extend_schema(operation_id="list_prices", responses=page_of(price_answers.JobPriceOut))
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        fleet, book = self.access.fleet, services.prices_here(self.access)
        rows = selectors.own_prices(self.access)
        return self.page(rows, lambda row: price_json(row, fleet, book), ("job_key", "id"))


class OnePrice(FleetView):
    @extend_schema(operation_id="read_price", responses=price_answers.JobPriceOut)
    def get(self, request: Any, fleet_id: uuid.UUID, job_key: str) -> Response:
        return self._answered(services.job_price(self.access, job_key))

    @extend_schema(operation_id="set_price", request=price_inputs.JobPriceIn, responses=price_answers.JobPriceOut)
    def put(self, request: Any, fleet_id: uuid.UUID, job_key: str) -> Response:
        row = services.job_price(self.access, job_key)
        self.require_match(row)
        said = self.parsed(price_inputs.JobPriceIn)
        parts = said.pop("parts", None) or {}
        said |= {f"parts_{name}_minor": value for name, value in parts.items()}
        said["done_by"] = said.get("done_by") or ""
        return self._answered(services.set_price(self.access, row, **said))

    @extend_schema(operation_id="drop_price", responses={204: None})
    def delete(self, request: Any, fleet_id: uuid.UUID, job_key: str) -> Response:
        row = services.job_price(self.access, job_key)
        self.require_match(row)
        services.drop_price(self.access, row)
        return Response(status=204)

    def _answered(self, row: JobPrice) -> Response:
        return self.one(price_json(row, self.access.fleet, services.prices_here(self.access)), row.version)


class WorkTermsHere(FleetView):
    @extend_schema(operation_id="read_work_terms", responses=price_answers.WorkTermsOut)
    def get(self, request: Any, fleet_id: uuid.UUID) -> Response:
        return self._answered(services.work_terms(self.access))

    @extend_schema(
        operation_id="set_work_terms", request=price_inputs.WorkTermsIn, responses=price_answers.WorkTermsOut
    )
    def put(self, request: Any, fleet_id: uuid.UUID) -> Response:
        row = services.work_terms(self.access)
        self.require_match(row)
        said = self.parsed(price_inputs.WorkTermsIn)
        for name in ("own_hour", "workshop_hour"):
            said[f"{name}_minor"] = said.pop(name, None)
        return self._answered(services.set_terms(self.access, row, **said))

    def _answered(self, row: WorkTerms) -> Response:
        return self.one(terms_json(row, self.access.fleet, services.prices_here(self.access)), row.version)
