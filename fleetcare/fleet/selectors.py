"""Reading: what is asked for, scoped to the fleet."""

import uuid
from typing import Any

from django.db.models import Q, QuerySet
from django.db.models.functions import Coalesce

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import (
    ApiKey,
    Contact,
    Fleet,
    FuelFill,
    Invitation,
    Membership,
    OdometerReading,
    User,
    Vehicle,
)
from fleetcare.support.tenancy import TenantQuerySet

_BEYOND_ANY_SCORE = 101.0


def fleets_of(user: User) -> QuerySet[Fleet]:
    """The fleets a signed-in user belongs to."""
    return Fleet.objects.filter(pk__in=Membership.objects.filter(user=user).values("fleet")).order_by("name", "id")


def memberships(access: Access) -> TenantQuerySet[Membership]:
    """Members with their users."""
    return Membership.objects.within(access.fleet).select_related("user")


def invitations(access: Access) -> TenantQuerySet[Invitation]:
    """All invitations, those accepted, revoked or run out too."""
    return Invitation.objects.within(access.fleet)


def keys(access: Access) -> TenantQuerySet[ApiKey]:
    """All keys, revoked ones too."""
    return ApiKey.objects.within(access.fleet)


def contacts(access: Access) -> TenantQuerySet[Contact]:
    """Contacts with the vehicles they are told about."""
    return Contact.objects.within(access.fleet).prefetch_related("links")


def vehicle_of(access: Access, vehicle_id: uuid.UUID) -> Vehicle:
    """The vehicle with its standing; raises NotFound, also for other fleets' vehicles."""
    return Vehicle.objects.within(access.fleet).select_related("standing").one(pk=vehicle_id)


def vehicles(access: Access, *, q: str = "", **conditions: Any) -> QuerySet[Any]:
    """Vehicles with their standing; `q` searches name, plate, VIN, make and model."""
    stored = Vehicle.objects.within(access.fleet).select_related("standing")
    rows: QuerySet[Any] = stored.annotate(sort_score=Coalesce("standing__score", _BEYOND_ANY_SCORE)).filter(
        **conditions
    )
    for word in q.split():
        anywhere = Q()
        for field in ("name", "plate", "vin", "make", "model"):
            anywhere |= Q(**{f"{field}__icontains": word})
        rows = rows.filter(anywhere)
    return rows


def readings(vehicle: Vehicle) -> TenantQuerySet[OdometerReading]:
    """Odometer readings of one vehicle."""
    return OdometerReading.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)


def fuel_fills(vehicle: Vehicle) -> TenantQuerySet[FuelFill]:
    """Fuel fills of one vehicle with their odometer readings."""
    return FuelFill.objects.within(vehicle.fleet_id).filter(vehicle=vehicle).select_related("reading")
