"""What the decider made of a vehicle."""

from django.db import models

from fleetcare.support.documents import DocumentField
from fleetcare.support.tenancy import TenantModel


class StoredBacklog(TenantModel):
    """The ranked jobs of a vehicle as they were answered, from the same revision as its assessment."""

    vehicle = models.OneToOneField("fleet.Vehicle", models.CASCADE, related_name="backlog")
    as_of = models.DateField()
    revision = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    document = DocumentField()
    counted_worths = DocumentField(default=list)
    """What each job of the list counts with in the order of the whole fleet, see `scheduling.core.fleet_order`."""
