"""Who was asked to join a fleet."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Lower

from fleetcare.fleet.words import Role
from fleetcare.support.secret_links import DIGEST_CHARACTERS
from fleetcare.support.tenancy import TenantModel


class Invitation(TenantModel):
    """An invitation by mail; whoever holds its secret and the address may join once."""

    email = models.EmailField()
    role = models.CharField(max_length=12, choices=Role)
    digest = models.CharField(max_length=DIGEST_CHARACTERS, unique=True)
    invited_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, null=True, related_name="+")
    """Empty: invited by a key, or by the software itself."""
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "-created_at"], name="invitation_by_fleet")]
        constraints = [
            models.UniqueConstraint(
                "fleet",
                Lower("email"),
                condition=models.Q(accepted_at=None, revoked_at=None),
                name="invitation_open_once",
            )
        ]
