"""Reading inspections, findings and fitted parts, scoped to the fleet."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Count, Max, OuterRef, Prefetch, QuerySet, Subquery, Window
from django.db.models.functions import Coalesce, RowNumber

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.support.tenancy import TenantQuerySet
from inspections.models import Assessment, Finding, FittedPart, Inspection, Photo, Result, ResultEntry, ScorePoint
from inspections.words import InspectionState


def inspections(vehicle: Vehicle) -> TenantQuerySet[Inspection]:
    """Inspections of a vehicle with their odometer readings."""
    return Inspection.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).select_related("reading")


def inspections_with_results(vehicle: Vehicle) -> TenantQuerySet[Inspection]:
    """The same with every result, in one query more."""
    results = Result.objects.within(vehicle.fleet_id).order_by("check_key", "position")
    return inspections(vehicle).prefetch_related(Prefetch("results", results))


def open_walks(vehicle: Vehicle) -> QuerySet[Any]:
    """Drafts with the number of checks entered (`done`) and when somebody last worked on them (`touched_at`)."""
    results = Result.objects.within(vehicle.fleet_id).filter(inspection=OuterRef("pk")).order_by()
    entries = ResultEntry.objects.within(vehicle.fleet_id).filter(inspection=OuterRef("pk")).order_by()
    done = results.values("inspection").annotate(number=Count("pk")).values("number")
    last = entries.values("inspection").annotate(at=Max("received_at")).values("at")
    drafts = inspections(vehicle).filter(state=InspectionState.DRAFT)
    return drafts.annotate(done=Coalesce(Subquery(done), 0), touched_at=Coalesce(Subquery(last), "created_at"))


def journal(inspection: Inspection) -> TenantQuerySet[ResultEntry]:
    """Every word said about a draft, also those a later one overtook, in the order of saying."""
    rows = ResultEntry.objects.within(inspection.fleet_id).filter(inspection=inspection)
    return rows.order_by("recorded_at", "id")


def last_results(inspection: Inspection, check_keys: Iterable[str]) -> dict[tuple[str, str], Result]:
    """What was last said of these checks at each position before this inspection, with that inspection; one query."""
    rows = Result.objects.within(inspection.fleet_id).filter(
        check_key__in=set(check_keys),
        inspection__fleet=inspection.fleet_id,
        inspection__vehicle=inspection.vehicle_id,
        inspection__state=InspectionState.COMPLETED,
        inspection__inspected_on__lte=inspection.inspected_on,
    )
    newest_first = Window(
        RowNumber(),
        partition_by=["check_key", "position"],
        order_by=["-inspection__inspected_on", "-inspection__completed_at", "-inspection_id"],
    )
    latest = rows.exclude(inspection=inspection.pk).annotate(rank=newest_first).filter(rank=1)
    return {(row.check_key, row.position): row for row in latest.select_related("inspection")}


def looks_at(vehicle: Vehicle, findings: Iterable[Finding]) -> dict[tuple[Any, str, str], dict[str, Any]]:
    """What the last look at each finding saw (value, observations, note) by inspection, check and position.

    One query: only the results of those checks in those inspections.
    """
    listed = list(findings)
    rows = Result.objects.within(vehicle.fleet_id).filter(
        inspection__in={finding.seen_in_id for finding in listed},
        check_key__in={finding.check_key for finding in listed},
    )
    names = ("value", "observations", "note")
    found = rows.values_list("inspection_id", "check_key", "position", *names)
    return {row[:3]: dict(zip(names, row[3:], strict=True)) for row in found}


def results_not_examined(inspection: Inspection) -> TenantQuerySet[Result]:
    """What an inspection left out, with the reasons."""
    rows = Result.objects.within(inspection.fleet_id).filter(inspection=inspection, grade=None)
    return rows.order_by("check_key", "position")


def measured_values(vehicle: Vehicle) -> TenantQuerySet[Result]:
    """Every figure measured in a completed inspection, with its day and distance, oldest first."""
    rows = Result.objects.within(vehicle.fleet_id).filter(
        inspection__fleet=vehicle.fleet_id,
        inspection__vehicle=vehicle,
        inspection__state=InspectionState.COMPLETED,
        value__isnull=False,
    )
    return rows.select_related("inspection__reading").order_by("inspection__inspected_on", "inspection_id", "id")


def photos(vehicle: Vehicle) -> TenantQuerySet[Photo]:
    """Photos of a vehicle with their inspections, newest last."""
    rows = Photo.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).select_related("inspection")
    return rows.order_by("created_at", "id")


def findings(access: Access, vehicle: Vehicle) -> TenantQuerySet[Finding]:
    """All findings of a vehicle, closed ones too."""
    return Finding.objects.within(access.fleet).filter(vehicle=vehicle)


def open_findings(access: Access, vehicle: Vehicle) -> TenantQuerySet[Finding]:
    """What is wrong now, worst first."""
    return findings(access, vehicle).filter(closed_on=None).order_by("-grade", "opened_on", "id")


def fitted_parts(vehicle: Vehicle) -> TenantQuerySet[FittedPart]:
    """Recorded parts, those that came off too."""
    return FittedPart.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)


def stored_assessment(access: Access, vehicle: Vehicle) -> Assessment | None:
    """The last verdict stored for a vehicle; no query where it was read with the vehicle."""
    if Vehicle.assessment.is_cached(vehicle):
        return getattr(vehicle, "assessment", None)
    return Assessment.objects.within(access.fleet).filter(vehicle=vehicle).first()


def score_history(vehicle: Vehicle) -> TenantQuerySet[ScorePoint]:
    """The score over time."""
    return ScorePoint.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).order_by("as_of")
