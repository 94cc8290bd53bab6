"""What happened in a fleet and others may want to know: the outbox."""

from django.db import models

from fleetcare.support.tenancy import TenantModel


class Event(TenantModel):
    """A fact, stored in the transaction that made it one. `relayed_at` is set once it was passed on.

    Subject and vehicle are plain ids: what happened stays told when the row it was about is gone.
    """

    kind = models.CharField(max_length=40)
    vehicle_id = models.UUIDField(null=True)
    subject_id = models.UUIDField(null=True)
    facts = models.JSONField(default=dict)
    happened_at = models.DateTimeField()
    relayed_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["happened_at"], name="event_waiting", condition=models.Q(relayed_at=None)),
            models.Index(fields=["fleet", "-happened_at"], name="event_by_fleet"),
        ]
