"""Secret addresses under which a reader's calendar program finds what is due."""

from django.db import models

from fleetcare.support.secret_links import DIGEST_CHARACTERS
from fleetcare.support.tenancy import TenantModel
from scheduling.models.reminders import ReminderChoice


class CalendarLink(TenantModel):
    """One address of one reader; only its digest is stored."""

    reader = models.ForeignKey(ReminderChoice, models.CASCADE, related_name="calendar_links", db_index=False)
    digest = models.CharField(max_length=DIGEST_CHARACTERS, unique=True)
    name = models.CharField(max_length=80, blank=True)
    made_by = models.CharField(max_length=45)
    created_at = models.DateTimeField(auto_now_add=True)
    last_read_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "-created_at", "id"], name="calendar_link_by_fleet")]
