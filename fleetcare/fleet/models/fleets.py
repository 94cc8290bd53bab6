"""The fleet is the tenant; members, keys and contacts belong to it."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Lower

from fleetcare.fleet.words import DistanceUnit, FleetKind, LimitScheme, Role
from fleetcare.kernel.ids import new_id
from fleetcare.support.tenancy import TenantModel


class Fleet(models.Model):
    """The vehicles kept together by a household, a club or a workshop, and how they reckon."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=FleetKind)
    currency = models.CharField(max_length=3)
    distance_unit = models.CharField(max_length=2, choices=DistanceUnit, default=DistanceUnit.KM)
    time_zone = models.CharField(max_length=64)
    limit_scheme = models.CharField(max_length=8, choices=LimitScheme, default=LimitScheme.EU)
    labour_per_hour_minor = models.PositiveBigIntegerField()
    price_factor = models.DecimalField(max_digits=12, decimal_places=4, default=1)
    """What a thing of one euro in the catalogue costs here, in the fleet's currency."""
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class Membership(TenantModel):
    """A user in a fleet."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "user"], name="membership_once")]


class ApiKey(TenantModel):
    """A key of an API client: its prefix is shown, its secret only stored as SHA-256 of 256 random bits."""

    name = models.CharField(max_length=80)
    role = models.CharField(max_length=12, choices=Role)
    prefix = models.CharField(max_length=16, unique=True)
    digest = models.CharField(max_length=64)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(null=True)
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "id"], name="key_by_fleet")]


class Contact(TenantModel):
    """A person told about vehicles who need not have a login."""

    name = models.CharField(max_length=120)
    email = models.EmailField()
    phone = models.CharField(max_length=40, blank=True)
    language = models.CharField(max_length=12, default="en")
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)
    vehicles = models.ManyToManyField("fleet.Vehicle", through="fleet.ContactVehicle", related_name="contacts")

    class Meta:
        constraints = [models.UniqueConstraint("fleet", Lower("email"), name="contact_email_once")]


class ContactVehicle(TenantModel):
    """Which vehicles a contact is told about."""

    contact = models.ForeignKey(Contact, models.CASCADE, related_name="links")
    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "contact", "vehicle"], name="contact_vehicle_once")]
