"""What work costs in a fleet, and who does it: said by the fleet, and learned from the jobs that it closed."""

from django.db import models

from fleetcare.fleet.words import Doer, Raising
from fleetcare.support.tenancy import TenantModel


class WorkTerms(TenantModel):
    """Who can do what in a fleet, and what an hour counts for; one row a fleet at most.

    Without it every hour counts as the fleet's labour rate says, and only licensed work goes to a workshop.
    """

    done_by = models.CharField(max_length=12, choices=Doer, default=Doer.OWN)
    """Who does what could be done here."""
    own_hour_minor = models.PositiveBigIntegerField(null=True)
    """Empty: the fleet's labour rate."""
    workshop_hour_minor = models.PositiveBigIntegerField(null=True)
    """Empty: what workshops usually take."""
    hardest_own = models.PositiveSmallIntegerField(default=5)
    """The highest difficulty (1 to 5) of the jobs done here."""
    licensed_here = models.BooleanField(default=False)
    raising = models.CharField(max_length=8, choices=Raising, default=Raising.STANDS)
    tools = models.JSONField(null=True)
    """Tools that are there, in the catalogue's words; empty (null) where nobody has listed them."""
    tools_lacking = models.JSONField(default=list)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet"], name="work_terms_once"),
            models.CheckConstraint(
                condition=models.Q(hardest_own__gte=0) & models.Q(hardest_own__lte=5), name="work_terms_difficulty"
            ),
        ]


class JobPrice(TenantModel):
    """What a fleet says of one job of the catalogue; what is empty, the catalogue says."""

    job_key = models.CharField(max_length=100)
    parts_low_minor = models.PositiveBigIntegerField(null=True)
    parts_typical_minor = models.PositiveBigIntegerField(null=True)
    parts_high_minor = models.PositiveBigIntegerField(null=True)
    hours = models.DecimalField(max_digits=6, decimal_places=2, null=True)
    done_by = models.CharField(max_length=12, choices=Doer, blank=True)
    note = models.CharField(max_length=500, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "job_key"], name="job_price_once"),
            models.CheckConstraint(
                condition=models.Q(parts_typical_minor=None)
                | models.Q(parts_low_minor__lte=models.F("parts_typical_minor"))
                & models.Q(parts_high_minor__gte=models.F("parts_typical_minor")),
                name="job_price_rises",
            ),
        ]


class JobExperience(TenantModel):
    """What the jobs of one kind that a fleet closed lately took: one figure a job, the last ones only."""

    job_key = models.CharField(max_length=100)
    hours = models.JSONField(default=list)
    """Without the access that they share with others."""
    parts_minor = models.JSONField(default=list)
    learned_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "job_key"], name="job_experience_once")]
