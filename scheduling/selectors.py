"""Reading what the decider stored, scoped to the fleet."""

from django.db.models import F, Q

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Standing, Vehicle
from fleetcare.support.tenancy import TenantQuerySet
from scheduling.models import StoredBacklog


def stored_backlog(access: Access, vehicle: Vehicle) -> StoredBacklog | None:
    """The last backlog stored for a vehicle."""
    return StoredBacklog.objects.within(access.fleet).filter(vehicle=vehicle).first()


def fleet_backlogs(access: Access) -> TenantQuerySet[StoredBacklog]:
    """The stored backlogs of every vehicle that is kept, with the vehicles."""
    rows = StoredBacklog.objects.within(access.fleet).filter(vehicle__archived=False)
    return rows.select_related("vehicle")


STALE = ~Q(revision=F("assessed_revision")) | Q(assessed_on=None)


def stale_standings(today: object) -> TenantQuerySet[Standing]:
    """Vehicles whose figures are older than what was written, or than today."""
    return Standing.objects.filter(STALE | Q(assessed_on__lt=today))
