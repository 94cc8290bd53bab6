"""What every row that waits to be sent carries: the database is the queue, the broker only a bell."""

from django.db import models

from fleetcare.support.tenancy import TenantModel
from scheduling.words import QueueState


class QueuedRow(TenantModel):
    """Something to be sent outside.

    It is claimed by a conditional update that sets `claim` and a lease, and `attempts` is raised before the work: an
    attempt that ends with any outcome sets it back to zero, so that it counts only those that ended in silence.
    `refusals` counts the outcomes after which it is tried again.
    """

    state = models.CharField(max_length=10, choices=QueueState, default=QueueState.WAITING)
    not_before = models.DateTimeField()
    claim = models.UUIDField(null=True)
    claimed_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    refusals = models.PositiveSmallIntegerField(default=0)
    answer = models.CharField(max_length=300, blank=True)
    """What the other side said last."""
    made_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        abstract = True
