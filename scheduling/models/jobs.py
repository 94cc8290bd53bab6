"""Jobs from the backlog or by hand, what was fitted with them, and how a closing is taken back."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.core.job_states import LIVE, JobState
from scheduling.words import JobOrigin

STATE_CHOICES = [(state.value, state.value) for state in JobState]
LIVE_STATES = [state.value for state in LIVE]


class Job(TenantModel):
    """One job on one vehicle, of the catalogue (`job_key`) or free (a title only).

    What was done and what it cost is empty until it is closed; amounts are minor units of the fleet's currency.
    """

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="jobs", db_index=False)
    job_key = models.CharField(max_length=100, blank=True)
    title = models.CharField(max_length=160)
    part_key = models.CharField(max_length=60, blank=True)
    positions = models.JSONField(default=list)
    place = models.CharField(max_length=400, blank=True)
    """The positions as one text in catalogue order: what makes two jobs the same."""
    origin = models.CharField(max_length=12, choices=JobOrigin, default=JobOrigin.HAND)
    state = models.CharField(max_length=12, choices=STATE_CHOICES, default=JobState.OPEN.value)
    safety = models.BooleanField(default=False)
    """The part is one that people's safety hangs on, or somebody said so."""
    before_driving = models.BooleanField(default=False)
    planned_on = models.DateField(null=True)
    assigned_to = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)
    reason = models.CharField(max_length=500, blank=True)
    """Why it was declined or put off."""
    deferred_until = models.DateField(null=True)
    decided_by = models.CharField(max_length=120, blank=True)
    """Who declined, put off or accepted it: a member's name, or what a customer gave as theirs."""
    decided_at = models.DateTimeField(null=True)
    done_on = models.DateField(null=True)
    # Not to be deleted by itself, and no obstacle when the whole vehicle goes.
    reading = models.ForeignKey("fleet.OdometerReading", models.RESTRICT, null=True, related_name="+")
    hours = models.DecimalField(max_digits=7, decimal_places=2, null=True)
    labour_minor = models.PositiveBigIntegerField(null=True)
    parts_minor = models.PositiveBigIntegerField(null=True)
    other_minor = models.PositiveBigIntegerField(null=True)
    """Everything else: a tow, the alignment given out, the hire of a tool."""
    removal = models.CharField(max_length=16, blank=True)
    """Why what was renewed came off."""
    closed_by = models.CharField(max_length=45, blank=True)
    closed_at = models.DateTimeField(null=True)
    undo = models.JSONField(default=dict)
    """What the closing changed, by id, so that it can be taken back exactly."""
    entered_by = models.CharField(max_length=45)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [
            models.Index(fields=["fleet", "vehicle", "state", "id"], name="job_by_vehicle"),
            models.Index(fields=["fleet", "state", "planned_on", "id"], name="job_by_day"),
            models.Index(fields=["fleet", "job_key", "done_on"], name="job_by_kind"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["fleet", "vehicle", "job_key", "place"],
                condition=models.Q(state__in=LIVE_STATES) & ~models.Q(job_key=""),
                name="job_live_once",
            ),
            models.CheckConstraint(condition=~models.Q(title=""), name="job_has_a_title"),
            models.CheckConstraint(
                condition=~models.Q(state=JobState.DONE.value)
                | models.Q(done_on__isnull=False, closed_at__isnull=False),
                name="job_done_on_a_day",
            ),
            models.CheckConstraint(
                condition=~models.Q(state=JobState.DEFERRED.value) | models.Q(deferred_until__isnull=False),
                name="job_deferred_until_a_day",
            ),
        ]


class JobPart(TenantModel):
    """A line of what a job took: in the words of whoever bought it, with its number and its warranty."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="parts", db_index=False)
    line = models.PositiveSmallIntegerField()
    description = models.CharField(max_length=120)
    part_number = models.CharField(max_length=60, blank=True)
    quantity = models.DecimalField(max_digits=8, decimal_places=2, default=1)
    price_minor = models.PositiveBigIntegerField(default=0)
    """Of one."""
    warranty_until = models.DateField(null=True)
    warranty_km = models.PositiveIntegerField(null=True)
    """Distance from the fitting."""
    position = models.CharField(max_length=40, blank=True)
    fitted_part = models.ForeignKey("inspections.FittedPart", models.SET_NULL, null=True, related_name="+")
    """The part it became; of a line for several positions, the one at the first of them."""

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "job", "line"], name="job_line_once"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="job_part_is_some"),
        ]
