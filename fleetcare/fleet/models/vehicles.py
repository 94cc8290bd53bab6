"""Vehicles, how far they have gone, and where they stand."""

from django.db import models

from fleetcare.fleet.words import ReadingSource
from fleetcare.support.tenancy import TenantModel


class Vehicle(TenantModel):
    """One vehicle; its traits decide which checks apply."""

    name = models.CharField(max_length=80)
    plate = models.CharField(max_length=20, blank=True)
    vin = models.CharField(max_length=17, blank=True)
    make = models.CharField(max_length=60, blank=True)
    model = models.CharField(max_length=60, blank=True)
    model_year = models.PositiveSmallIntegerField(null=True)
    first_used_on = models.DateField()
    traits = models.JSONField(default=dict)
    note = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "archived", "name", "id"], name="vehicle_by_name")]
        constraints = [
            models.UniqueConstraint(fields=["fleet", "vin"], condition=~models.Q(vin=""), name="vehicle_vin_once")
        ]

    def __str__(self) -> str:
        return self.name


class OdometerReading(TenantModel):
    """What the odometer showed on a day, and how far the vehicle had gone in all.

    The two differ once an odometer was replaced; every computation uses the total.
    """

    vehicle = models.ForeignKey(Vehicle, models.CASCADE, related_name="readings", db_index=False)
    read_on = models.DateField()
    shown_km = models.DecimalField(max_digits=10, decimal_places=3)
    total_km = models.DecimalField(max_digits=10, decimal_places=3)
    source = models.CharField(max_length=12, choices=ReadingSource)
    replacement = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "vehicle", "read_on", "total_km"], name="reading_once"),
            models.CheckConstraint(condition=models.Q(total_km__gte=0, shown_km__gte=0), name="reading_not_negative"),
        ]


class Standing(TenantModel):
    """Where a vehicle stands: one row that lists and headers read, filled by the judge and the decider.

    `revision` counts what was written about the vehicle, `assessed_revision` what the figures rest on: a figure is
    stale while the two differ, and a slow assessment can never hide a later write.
    """

    vehicle = models.OneToOneField(Vehicle, models.CASCADE, related_name="standing")
    revision = models.PositiveIntegerField(default=1)
    assessed_revision = models.PositiveIntegerField(default=0)
    assessed_on = models.DateField(null=True)
    odometer_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    odometer_on = models.DateField(null=True)
    score = models.FloatField(null=True)
    score_low = models.FloatField(null=True)
    score_high = models.FloatField(null=True)
    coverage_fraction = models.FloatField(default=0.0)
    worst_grade = models.PositiveSmallIntegerField(default=0)
    do_not_drive = models.BooleanField(default=False)
    open_findings = models.PositiveIntegerField(default=0)
    next_year_cost_minor = models.BigIntegerField(default=0)
    backlog_cost_minor = models.BigIntegerField(default=0)
    backlog_jobs = models.PositiveIntegerField(default=0)
    inspected_on = models.DateField(null=True)
    next_due_on = models.DateField(null=True)
    next_due_what = models.CharField(max_length=120, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["fleet", "-do_not_drive", "score"], name="standing_by_score"),
            models.Index(
                fields=["assessed_on"],
                name="standing_stale",
                condition=~models.Q(revision=models.F("assessed_revision")),
            ),
        ]
