"""What a customer is asked, and what they answered."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.words import Answer, EstimateState


class Estimate(TenantModel):
    """Jobs with prices for the customer of a workshop; sent as a private link of which only the digest is stored.

    The currency is the fleet's. Prices are net where a tax is named, and to be paid as they stand where none is.
    """

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="estimates", db_index=False)
    number = models.PositiveIntegerField()
    contact = models.ForeignKey("fleet.Contact", models.SET_NULL, null=True, related_name="+")
    customer = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2, null=True)
    state = models.CharField(max_length=12, choices=EstimateState, default=EstimateState.DRAFT)
    token_digest = models.CharField(max_length=64, null=True, unique=True)
    sent_at = models.DateTimeField(null=True)
    expires_at = models.DateTimeField(null=True)
    answered_at = models.DateTimeField(null=True)
    """When the last line was answered."""
    mailed_to = models.EmailField(blank=True)
    """The address that its link was last mailed to."""
    mailed_at = models.DateTimeField(null=True)
    mails = models.PositiveSmallIntegerField(default=0)
    entered_by = models.CharField(max_length=45)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "vehicle", "id"], name="estimate_by_vehicle")]
        constraints = [
            models.UniqueConstraint(fields=["fleet", "number"], name="estimate_number_once"),
            models.CheckConstraint(
                condition=~models.Q(state__in=[EstimateState.SENT, EstimateState.ANSWERED])
                | models.Q(token_digest__isnull=False, sent_at__isnull=False, expires_at__isnull=False),
                name="estimate_sent_with_a_link",
            ),
        ]


class EstimateLine(TenantModel):
    """One thing to decide: accepted with one of its options, or declined."""

    estimate = models.ForeignKey(Estimate, models.CASCADE, related_name="lines", db_index=False)
    line = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=160)
    explanation = models.CharField(max_length=1000, blank=True)
    safety = models.BooleanField(default=False)
    before_driving = models.BooleanField(default=False)
    answer = models.CharField(max_length=12, choices=Answer, blank=True)
    chosen = models.ForeignKey("scheduling.EstimateOption", models.SET_NULL, null=True, related_name="+")
    answered_by = models.CharField(max_length=120, blank=True)
    answered_at = models.DateTimeField(null=True)
    reason = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "estimate", "line"], name="estimate_line_once"),
            models.CheckConstraint(
                condition=models.Q(answer="", answered_at=None) | ~models.Q(answer="", answered_by=""),
                name="estimate_answer_has_a_name",
            ),
        ]


class EstimateOption(TenantModel):
    """One way to do what a line is about, with its price: repair or renew, this quality or that."""

    estimate_line = models.ForeignKey(EstimateLine, models.CASCADE, related_name="options", db_index=False)
    option = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=160)
    job = models.ForeignKey("scheduling.Job", models.SET_NULL, null=True, related_name="+")
    """The job it stands for; made when the option is accepted, where there was none."""
    job_key = models.CharField(max_length=100, blank=True)
    positions = models.JSONField(default=list)
    hours = models.DecimalField(max_digits=7, decimal_places=2, null=True)
    parts_minor = models.PositiveBigIntegerField(default=0)
    labour_minor = models.PositiveBigIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "estimate_line", "option"], name="estimate_option_once"),
        ]
