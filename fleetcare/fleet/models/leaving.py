"""Fleets and accounts that somebody asked to have erased, until the day on which they are."""

from django.conf import settings
from django.db import models

from fleetcare.support.secret_links import DIGEST_CHARACTERS
from fleetcare.support.tenancy import TenantModel


class FleetLeaving(TenantModel):
    """A fleet that is going to be erased; whoever holds the secret of the mail, or any owner, can still stop it."""

    digest = models.CharField(max_length=DIGEST_CHARACTERS, unique=True)
    asked_by = models.CharField(max_length=48)
    asked_at = models.DateTimeField()
    erase_after = models.DateTimeField(db_index=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet"], name="fleet_leaves_once")]


class AccountLeaving(models.Model):
    """A person's account that is going to be erased."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, primary_key=True, related_name="leaving")
    digest = models.CharField(max_length=DIGEST_CHARACTERS, unique=True)
    asked_at = models.DateTimeField()
    erase_after = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"account {self.pk}"
