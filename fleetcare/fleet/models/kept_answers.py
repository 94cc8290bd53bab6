"""Answers kept for a client that repeats its request."""

from django.db import models


class KeptAnswer(models.Model):
    """What a POST with an Idempotency-Key was answered, stored in the transaction that did the work.

    No tenant row: who makes a fleet has none yet. It is reached by its id alone, a digest of fleet, actor and key,
    and read only with the key.
    """

    id = models.CharField(primary_key=True, max_length=64)
    fleet = models.ForeignKey("fleet.Fleet", models.CASCADE, null=True, related_name="+")
    fingerprint = models.CharField(max_length=64)
    sealed = models.BinaryField()
    expires_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return self.id
