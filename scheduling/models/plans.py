"""Plans as they were made, and what each rests on."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.words import PlanState

STATUSES = [(status, status) for status in ("optimal", "feasible", "infeasible")]


class StoredPlan(TenantModel):
    """Which jobs go into which visit, as it was answered.

    Stored with the answer found at once (`improving`, with the `problem` that a worker solves to the end), then with
    the best one found (`final`). A worker claims it with a lease; one that has run out can be claimed again.
    """

    title = models.CharField(max_length=120, blank=True)
    made_on = models.DateField()
    made_by = models.CharField(max_length=45)
    asked = models.JSONField()
    """Vehicles, visits and wishes, as they were asked for."""
    basis = models.JSONField()
    """What the figures rest on: revision and distance of each vehicle, prices, lives, catalogue."""
    jobs = models.JSONField()
    """Every job that was considered, with its figures; places in this list are what the problem speaks of."""
    problem = models.JSONField(null=True)
    """What is still to be solved; empty once it is."""
    document = models.JSONField()
    changes = models.JSONField(null=True)
    """What moved against the plan it was made in place of."""
    causes = models.JSONField(null=True)
    """What happened since that plan, as long as `changes` may still change."""
    replaces = models.ForeignKey("self", models.SET_NULL, null=True, related_name="+")
    state = models.CharField(max_length=12, choices=PlanState, default=PlanState.IMPROVING)
    claim = models.UUIDField(null=True)
    claimed_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    status = models.CharField(max_length=12, choices=STATUSES)
    value_minor = models.BigIntegerField()
    bound_minor = models.BigIntegerField()
    planned_jobs = models.PositiveIntegerField()
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [
            models.Index(fields=["fleet", "-created_at", "-id"], name="plan_by_fleet"),
            models.Index(
                fields=["created_at"], name="plan_to_solve", condition=models.Q(state=PlanState.IMPROVING.value)
            ),
        ]
