"""What moved in a vehicle's backlog."""

from django.db import models

from fleetcare.support.documents import DocumentField
from fleetcare.support.tenancy import TenantModel


class BacklogChanges(TenantModel):
    """What a vehicle's backlog rested on when something last moved, and what moved the last few times."""

    vehicle = models.OneToOneField("fleet.Vehicle", models.CASCADE, related_name="+")
    since = models.DateField()
    """Of the basis."""
    basis = DocumentField()
    steps = DocumentField(default=list)
    """The latest first; a fixed number at most."""
