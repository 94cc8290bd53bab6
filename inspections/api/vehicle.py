"""Inspections, findings, parts, walk and condition of one vehicle."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.response import Response

from fleetcare.fleet.api.answers import page_of
from fleetcare.fleet.api.base import Json, VehicleView
from fleetcare.fleet.words import Role
from inspections import selectors
from inspections.api import answers, inputs, shapes
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.walk import walk
from inspections.services.findings import defer_finding, dismiss_finding
from inspections.services.parts import fit_part
from inspections.services.recording import complete_inspection, record_inspection, save_results
from inspections.services.walking import save_entries
from inspections.words import Removal

if TYPE_CHECKING:
    from inspections.models import Inspection, Result

INSPECTOR = Role.INSPECTOR
_STATES = {"open": True, "closed": False}


class InspectionView(VehicleView):
    """Shared by the views that take a whole inspection."""

    def record(self, values: Json, key: uuid.UUID | None) -> tuple[Inspection, list[Result] | None]:
        return record_inspection(
            self.access,
            self.vehicle,
            inspected_on=values["inspected_on"],
            shown_km=values["shown_km"],
            results=values["results"],
            sheet=values["sheet"],
            inspector=values.get("inspector", ""),
            note=values.get("note", ""),
            trouble_codes=values.get("trouble_codes", ()),
            draft=values["state"] == "draft",
            key=key,
            odometer_pointer=values["odometer_pointer"],
        )

    def answer(self, inspection_id: uuid.UUID, status: int = 200, location: str | None = None) -> Response:
        found = selectors.inspections_with_results(self.vehicle).one(pk=inspection_id)
        body = shapes.inspection_json(found, found.results.all())
        return self.one(body, found.version, status=status, location=location)


class Inspections(InspectionView):
    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="list_inspections", responses=page_of(answers.InspectionSummaryOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        ordering = ("-inspected_on", "-id")
        return self.page(selectors.inspections(self.vehicle), shapes.inspection_json, ordering)

    @extend_schema(operation_id="post_inspection", request=inputs.InspectionNew, responses={201: answers.InspectionOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.InspectionNew)
        inspection, rows = self.record(values, values.get("id"))
        location = f"{request.path}{inspection.pk}/"
        if rows is None:
            return self.answer(inspection.pk, location=location)
        rows.sort(key=lambda row: (row.check_key, row.position))
        return self.one(shapes.inspection_json(inspection, rows), inspection.version, status=201, location=location)


class OneInspection(InspectionView):
    roles = {"PUT": INSPECTOR}

    @extend_schema(operation_id="read_inspection", responses=answers.InspectionOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Response:
        return self.answer(inspection_id)

    @extend_schema(
        operation_id="put_inspection",
        request=inputs.InspectionIn,
        responses={200: answers.InspectionOut, 201: answers.InspectionOut},
    )
    def put(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Response:
        _, rows = self.record(self.parsed(inputs.InspectionIn), inspection_id)
        return self.answer(inspection_id, 200 if rows is None else 201)


class InspectionResults(InspectionView):
    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="save_results", request=inputs.ResultsIn, responses=answers.InspectionOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Response:
        inspection = selectors.inspections(self.vehicle).one(pk=inspection_id)
        save_results(self.access, inspection, self.parsed(inputs.ResultsIn)["results"])
        return self.answer(inspection_id)


class InspectionEntries(InspectionView):
    """The queue of a phone: each entry is stored once, and one that is refused does not hold up the others."""

    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="save_entries", request=inputs.EntriesIn, responses=answers.EntriesOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Response:
        inspection = selectors.inspections(self.vehicle).one(pk=inspection_id)
        inspection.vehicle = self.vehicle
        values = self.parsed(inputs.EntriesIn)
        outcomes = save_entries(self.access, inspection, values["entries"], str(values.get("device", "")))
        entries = [{"id": each.key, "state": each.state, "detail": each.detail} for each in outcomes]
        return Response({"entries": entries})


class CompleteInspection(InspectionView):
    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="complete_inspection", request=None, responses=answers.InspectionOut)
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, inspection_id: uuid.UUID) -> Response:
        inspection = selectors.inspections(self.vehicle).select_related("vehicle").one(pk=inspection_id)
        complete_inspection(self.access, inspection)
        return self.answer(inspection_id)


class Findings(VehicleView):
    parameters = ("state",)

    @extend_schema(
        operation_id="list_findings",
        parameters=[OpenApiParameter("state", str, enum=list(_STATES))],
        responses=page_of(answers.FindingOut),
    )
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        rows = selectors.findings(self.access, self.vehicle)
        state = request.query_params.get("state")
        if state is not None and state not in _STATES:
            raise ValidationError({"state": [ErrorDetail("open or closed.", "choice")]})
        if state is not None:
            rows = rows.filter(closed_on__isnull=_STATES[state])
        return self.page(rows, shapes.finding_json, ("-grade", "-opened_on", "-id"))


class OneFinding(VehicleView):
    @extend_schema(operation_id="read_finding", responses=answers.FindingOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, finding_id: uuid.UUID) -> Response:
        finding = selectors.findings(self.access, self.vehicle).one(pk=finding_id)
        return self.one(shapes.finding_json(finding), finding.version)

    @extend_schema(operation_id="change_finding", request=inputs.FindingChangeIn, responses=answers.FindingOut)
    def patch(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID, finding_id: uuid.UUID) -> Response:
        finding = selectors.findings(self.access, self.vehicle).select_related("vehicle").one(pk=finding_id)
        self.require_match(finding)
        values = self.parsed(inputs.FindingChangeIn)
        if values.get("dismissed"):
            dismiss_finding(self.access, finding, because=values["because"])
        else:
            defer_finding(self.access, finding, until=values["deferred_until"], because=values["because"])
        return self.one(shapes.finding_json(finding), finding.version)


class Parts(VehicleView):
    roles = {"POST": INSPECTOR}

    @extend_schema(operation_id="list_parts", responses=answers.PartsOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        catalogue = default_catalogue()
        rows = selectors.fitted_parts(self.vehicle).filter(removed_on=None)
        fitted = {(row.part_key, row.position): row for row in rows}
        slots = [catalogue.slots[index] for index in catalogue.applicable_slots(self.vehicle.traits)]
        items = [shapes.part_json(s.part_key, s.position, fitted.get((s.part_key, s.position))) for s in slots]
        return Response({"items": items})

    @extend_schema(operation_id="fit_part", request=inputs.PartFitted, responses={201: answers.FittedOut})
    def post(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        values = self.parsed(inputs.PartFitted)
        part = fit_part(
            self.access,
            self.vehicle,
            part_key=values["part"],
            position=values.get("position") or "",
            fitted_on=values["fitted_on"],
            shown_km=values["shown_km"],
            removal=Removal(values["removal"]),
            description=values.get("description", ""),
            part_number=values.get("part_number", ""),
            odometer_pointer=values["odometer_pointer"],
        )
        return Response(shapes.fitted_json(part), status=201)


class PartHistory(VehicleView):
    @extend_schema(operation_id="list_part_history", responses=page_of(answers.FittedOut))
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        return self.page(selectors.fitted_parts(self.vehicle), shapes.fitted_json, ("part_key", "position", "id"))


class VehicleWalk(VehicleView):
    parameters = ("sheet",)

    @extend_schema(operation_id="read_walk", parameters=[OpenApiParameter("sheet", str)], responses=answers.WalkOut)
    def get(self, request: Any, fleet_id: uuid.UUID, vehicle_id: uuid.UUID) -> Response:
        catalogue = default_catalogue()
        sheet = request.query_params.get("sheet", "full")
        if sheet not in catalogue.sheets:
            sentence = f"Known sheets: {', '.join(catalogue.sheets)}."
            raise ValidationError({"sheet": [ErrorDetail(sentence, "unknown-sheet")]})
        found = walk(catalogue, self.vehicle.traits, sheet, self.access.fleet.limit_scheme)
        return Response(shapes.walk_json(found))
