"""Fuel as it was filled."""

from django.db import models

from fleetcare.fleet.models.vehicles import OdometerReading, Vehicle
from fleetcare.support.tenancy import TenantModel


class FuelFill(TenantModel):
    """One fill. Without a reading its litres still count, but no distance ends there."""

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="fuel_fills", db_index=False)
    reading = models.ForeignKey(OdometerReading, models.RESTRICT, null=True, related_name="+")
    filled_on = models.DateField()
    litres = models.DecimalField(max_digits=9, decimal_places=3)
    full = models.BooleanField()
    missed_before = models.BooleanField(default=False)
    """At least one fill since the one before was not written down."""
    price_minor = models.PositiveBigIntegerField(null=True)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "vehicle", "filled_on", "id"], name="fill_by_vehicle")]
        constraints = [
            models.UniqueConstraint(fields=["fleet", "vehicle", "reading", "litres"], name="fill_once"),
            models.CheckConstraint(condition=models.Q(litres__gt=0), name="fill_is_some"),
        ]
