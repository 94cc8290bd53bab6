"""Who did what, when and from where: rows that are only ever added."""

from django.db import models

from fleetcare.support.tenancy import TenantModel


class AuditEntry(TenantModel):
    """One write, or one thing of security that happened, with what was before and after.

    Written by triggers in the transaction of the write itself; the database refuses to change or delete it, except
    while the whole fleet is erased. Columns of people and secrets are masked or left out.
    """

    at = models.DateTimeField()
    actor = models.CharField(max_length=48)
    """As `fleetcare.support.doing` names actors."""
    address = models.CharField(max_length=64, blank=True)
    request_id = models.CharField(max_length=64, blank=True)
    action = models.CharField(max_length=24)
    what = models.CharField(max_length=48)
    """The kind of thing, as the table's name; "account" for what concerns a login."""
    subject_id = models.UUIDField(null=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["fleet", "-at", "-id"], name="audit_by_fleet"),
            models.Index(fields=["fleet", "subject_id", "-at"], name="audit_by_subject"),
        ]
