"""Reading inspections, findings and fitted parts, scoped to the fleet."""

from django.db.models import Prefetch

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.support.tenancy import TenantQuerySet
from inspections.models import Assessment, Finding, FittedPart, Inspection, Result, ScorePoint


def inspections(vehicle: Vehicle) -> TenantQuerySet[Inspection]:
    """Inspections of a vehicle with their odometer readings."""
    return Inspection.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).select_related("reading")


def inspections_with_results(vehicle: Vehicle) -> TenantQuerySet[Inspection]:
    """The same with every result, in one query more."""
    results = Result.objects.within(vehicle.fleet_id).order_by("check_key", "position")
    return inspections(vehicle).prefetch_related(Prefetch("results", results))


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
    """The last verdict stored for a vehicle."""
    return Assessment.objects.within(access.fleet).filter(vehicle=vehicle).first()


def score_history(vehicle: Vehicle) -> TenantQuerySet[ScorePoint]:
    """The score over time."""
    return ScorePoint.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).order_by("as_of")
