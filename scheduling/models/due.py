"""Scheduled work, when it was done, and what is due."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.core.due import State
from scheduling.words import Closed, DueKind, RuleKind

STATES = [(int(state), state.word) for state in State]


class ServiceRule(TenantModel):
    """Work every so many km or months, whichever comes first, or a day on which a document ends.

    It is about one vehicle, or (`vehicle` empty) about each vehicle of the fleet that meets `needs`, `make` and
    `model`.
    """

    vehicle = models.ForeignKey(
        "fleet.Vehicle", models.CASCADE, null=True, related_name="service_rules", db_index=False
    )
    kind = models.CharField(max_length=12, choices=RuleKind, default=RuleKind.SERVICE)
    template = models.CharField(max_length=60, blank=True)
    """The catalogue's template it was copied from."""
    title = models.CharField(max_length=120)
    part_key = models.CharField(max_length=60, blank=True)
    needs = models.JSONField(default=list)
    make = models.CharField(max_length=60, blank=True)
    model = models.CharField(max_length=60, blank=True)
    every_km = models.PositiveIntegerField(null=True)
    every_months = models.PositiveIntegerField(null=True)
    ends_on = models.DateField(null=True)
    """A day by which it is due whatever was done before: an insurance, a warranty."""
    ends_total_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    lead_days = models.PositiveSmallIntegerField(default=30)
    """How long before it is due it counts as soon."""
    safety = models.BooleanField(default=False)
    source = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "vehicle", "id"], name="rule_by_vehicle")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(every_km__gt=0)
                | models.Q(every_months__gt=0)
                | models.Q(ends_on__isnull=False)
                | models.Q(ends_total_km__isnull=False),
                name="rule_says_when",
            )
        ]


class ServiceDone(TenantModel):
    """That the work of a rule was done on a vehicle, and where it stood then."""

    rule = models.ForeignKey(ServiceRule, models.CASCADE, related_name="done")
    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="+", db_index=False)
    done_on = models.DateField()
    total_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    job_id = models.UUIDField(null=True)
    """The job whose closing said so."""
    note = models.CharField(max_length=200, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "vehicle", "rule", "-done_on"], name="done_by_rule")]
        constraints = [models.UniqueConstraint(fields=["fleet", "rule", "vehicle", "done_on"], name="done_once_a_day")]


class DueItem(TenantModel):
    """Something with a due point. `source` says what it comes from, `period` which occurrence of it this is.

    `limit_on` is a date that stands; `due_on` the earlier of it and the day on which the distance is expected, with
    its 80 % interval. `reached` is what the odometer says of the distance: 0 not yet, 1 reached, 2 passed.
    """

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="due_items", db_index=False)
    kind = models.CharField(max_length=12, choices=DueKind)
    source = models.CharField(max_length=120)
    period = models.CharField(max_length=60)
    what = models.CharField(max_length=160)
    part_key = models.CharField(max_length=60, blank=True)
    position = models.CharField(max_length=40, blank=True)
    safety = models.BooleanField(default=False)
    limit_on = models.DateField(null=True)
    due_on = models.DateField(null=True)
    due_total_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    due_shown_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    """The same distance as the odometer there now will show it."""
    earliest_on = models.DateField(null=True)
    latest_on = models.DateField(null=True)
    soon_on = models.DateField(null=True)
    """From this day on it counts as soon; from `earliest_on` on as due."""
    overdue_on = models.DateField(null=True)
    next_move_on = models.DateField(null=True)
    """The next day on which its state moves by time alone; empty where none does."""
    reached = models.PositiveSmallIntegerField(default=0)
    state = models.PositiveSmallIntegerField(choices=STATES, default=int(State.LATER))
    announced_state = models.PositiveSmallIntegerField(default=int(State.LATER))
    """The most pressing state that was told to webhooks."""
    snoozed_until = models.DateField(null=True)
    closed_on = models.DateField(null=True)
    closed_because = models.CharField(max_length=12, choices=Closed, blank=True)
    sequence = models.PositiveIntegerField(default=0)
    """Raised whenever a calendar's reader would see a change (RFC 5545)."""
    changed_at = models.DateTimeField(auto_now=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "vehicle", "source", "period"], name="due_once_a_period"),
        ]
        indexes = [
            models.Index(fields=["fleet", "vehicle", "due_on"], name="due_open", condition=models.Q(closed_on=None)),
            models.Index(fields=["next_move_on"], name="due_moves", condition=models.Q(closed_on=None)),
            models.Index(
                fields=["fleet"],
                name="due_news",
                condition=models.Q(closed_on=None, state__gte=State.DUE, state__gt=models.F("announced_state")),
            ),
        ]
