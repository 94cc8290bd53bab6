"""Addresses of other programs that are told what happens, and each telling."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.models.queue import QueuedRow
from scheduling.words import QueueState


class WebhookEndpoint(TenantModel):
    """An address that is told of events of the chosen kinds.

    Its secret is stored nowhere: it is derived from the installation's key, the endpoint's id and `secret_round`, so
    that a copy of the database signs nothing.
    """

    url = models.CharField(max_length=500)
    kinds = models.JSONField(default=list)
    """Kinds of events; empty: all."""
    description = models.CharField(max_length=120, blank=True)
    secret_round = models.PositiveIntegerField(default=1)
    rotated_at = models.DateTimeField(null=True)
    disabled_at = models.DateTimeField(null=True)
    disabled_because = models.CharField(max_length=200, blank=True)
    resume_at = models.DateTimeField(null=True)
    """Nothing is sent there before: it did not answer."""
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "id"], name="endpoint_by_fleet")]


class WebhookDelivery(QueuedRow):
    """One event told to one endpoint."""

    endpoint = models.ForeignKey(WebhookEndpoint, models.CASCADE, related_name="deliveries", db_index=False)
    event = models.ForeignKey("fleet.Event", models.CASCADE, related_name="webhook_deliveries", db_index=False)
    status = models.PositiveSmallIntegerField(null=True)
    """The last HTTP status."""

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "endpoint", "event"], name="hook_once")]
        indexes = [
            models.Index(fields=["not_before"], name="hook_waiting", condition=models.Q(state=QueueState.WAITING)),
            models.Index(fields=["fleet", "endpoint", "-made_at", "-id"], name="hook_by_endpoint"),
            models.Index(fields=["event"], name="hook_by_event"),
        ]
