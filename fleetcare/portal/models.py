"""What joins features: links that open a report without a login."""

from django.db import models

from fleetcare.portal.words import ExchangeKind, ExchangeState, LinkKind
from fleetcare.support.secret_links import DIGEST_CHARACTERS
from fleetcare.support.tenancy import TenantModel


class SharedLink(TenantModel):
    """A private link to one vehicle's report: a digest of the secret in the address, an end, and who made it."""

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="shared_links", db_index=False)
    kind = models.CharField(max_length=12, choices=LinkKind, default=LinkKind.REPORT)
    digest = models.CharField(max_length=DIGEST_CHARACTERS, unique=True)
    note = models.CharField(max_length=120, blank=True)
    """Whom it was given to, in the words of whoever made it."""
    made_by = models.CharField(max_length=45)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "vehicle", "created_at", "id"], name="link_by_vehicle")]


class ExchangeJob(TenantModel):
    """Long work on a fleet's record: asked for, claimed by a worker under a lease, done or failed with the reason.

    `options` is how it is to be done, `result` what came of it. Files are kept until `files_until`.
    """

    kind = models.CharField(max_length=8, choices=ExchangeKind)
    state = models.CharField(max_length=8, choices=ExchangeState, default=ExchangeState.QUEUED)
    progress_fraction = models.FloatField(default=0.0)
    options = models.JSONField(default=dict)
    result = models.JSONField(default=dict)
    problem = models.JSONField(default=dict)
    """Why it failed, as an error document would say it."""
    upload = models.CharField(max_length=120, blank=True)
    product = models.CharField(max_length=120, blank=True)
    """Names of kept files: what was sent, and what came out."""
    upload_sha256 = models.CharField(max_length=64, blank=True)
    asked_by = models.CharField(max_length=45)
    role = models.CharField(max_length=12)
    claim = models.UUIDField(null=True)
    claimed_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True)
    files_until = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["fleet", "kind", "created_at", "id"], name="exchange_by_fleet"),
            models.Index(
                fields=["claimed_until"],
                name="exchange_waiting",
                condition=models.Q(state__in=[ExchangeState.QUEUED, ExchangeState.RUNNING]),
            ),
            models.Index(fields=["files_until"], name="exchange_files_until"),
        ]
