"""What somebody learned about a model of vehicle, and what the maker says about it."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.words import NoteKind


class KnowHow(TenantModel):
    """A note tied to a part, a job or a check, for every vehicle of the fleet of one make and model."""

    make = models.CharField(max_length=60)
    model = models.CharField(max_length=60)
    model_key = models.CharField(max_length=125)
    """Make and model without case and spaces around: what vehicles are matched by."""
    part_key = models.CharField(max_length=60, blank=True)
    job_key = models.CharField(max_length=100, blank=True)
    check_key = models.CharField(max_length=100, blank=True)
    kind = models.CharField(max_length=12, choices=NoteKind)
    text = models.CharField(max_length=2000)
    value = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    unit = models.CharField(max_length=12, blank=True)
    source = models.CharField(max_length=300, blank=True)
    author = models.CharField(max_length=120, blank=True)
    entered_by = models.CharField(max_length=45)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "model_key", "part_key"], name="know_how_by_model")]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(part_key="") | ~models.Q(job_key="") | ~models.Q(check_key=""),
                name="know_how_about_something",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind=NoteKind.TORQUE)
                | (models.Q(value__isnull=False) & ~models.Q(unit="") & ~models.Q(source="")),
                name="torque_has_value_and_source",
            ),
        ]
