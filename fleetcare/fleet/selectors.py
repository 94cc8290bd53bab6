"""Reading: what is asked for, scoped to the fleet."""

import uuid
from typing import Any, TypeGuard

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
from fleetcare.kernel.errors import NotFound
from fleetcare.support.prepared import Prepared
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


def vehicle_of(access: Access, vehicle_id: uuid.UUID, *together: str) -> Vehicle:
    """The vehicle with its standing; raises NotFound, also for other fleets' vehicles.

    `together` names single rows about a vehicle that are read with it.
    """
    return Vehicle.objects.within(access.fleet).select_related("standing", *together).one(pk=vehicle_id)


VEHICLE_COLUMNS = (
    "id", "name", "plate", "vin", "make", "model", "model_year", "first_used_on", "traits", "note", "archived",
    "standing__odometer_km", "standing__odometer_on", "standing__score", "standing__coverage_fraction",
    "standing__worst_grade", "standing__do_not_drive", "standing__open_findings", "standing__backlog_cost_minor",
    "standing__next_due_on", "standing__next_due_what", "standing__inspected_on", "standing__revision",
    "standing__assessed_revision", "version",
)  # fmt: skip
"""What the API tells of a vehicle, without a join beyond its standing."""
USUAL_PAGE = 50

_one_vehicle = Prepared(
    lambda fleet, vehicle: Vehicle.objects.within(fleet).filter(pk=vehicle).values_list(*VEHICLE_COLUMNS),
    fleet=uuid.UUID,
    vehicle=uuid.UUID,
)
_first_vehicles = Prepared(
    lambda fleet: (
        Vehicle.objects.within(fleet)
        .filter(archived=False)
        .order_by("name", "id")
        .values_list(*VEHICLE_COLUMNS)[: USUAL_PAGE + 1]
    ),
    fleet=uuid.UUID,
)


def vehicle_columns(access: Access, vehicle_id: uuid.UUID) -> tuple[Any, ...]:
    """`VEHICLE_COLUMNS` of one vehicle as the driver gives them; raises NotFound, also for other fleets' vehicles."""
    rows = _one_vehicle.columns(fleet=access.fleet.pk, vehicle=vehicle_id)
    if not rows:
        raise NotFound
    return rows[0]


def first_vehicles(access: Access) -> list[tuple[Any, ...]]:
    """`VEHICLE_COLUMNS` of the first page of kept vehicles by name, and of the one after it if there is one."""
    return _first_vehicles.columns(fleet=access.fleet.pk)


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


def is_contact(person: object) -> TypeGuard[Contact]:
    """Whether this is a contact, who is only told; else it is a member with a login."""
    return isinstance(person, Contact)
