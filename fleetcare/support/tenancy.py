"""Rows that belong to one fleet, reached only through it."""

import uuid
from typing import Any, TypeVar

from django.db import models

from fleetcare.kernel.errors import NotFound
from fleetcare.kernel.ids import new_id

_Row = TypeVar("_Row", bound=models.Model)


class TenantQuerySet(models.QuerySet[_Row]):
    """The only way to tenant rows outside migrations: `within(fleet)` first."""

    def within(self, fleet: Any) -> "TenantQuerySet[_Row]":
        """The rows of one fleet; takes the fleet or its id."""
        return self.filter(fleet=fleet)

    def one(self, **conditions: Any) -> _Row:
        """The row that meets the conditions; raises NotFound, which also hides other fleets' rows."""
        row = self.filter(**conditions).first()
        if row is None:
            raise NotFound
        return row


class TenantModel(models.Model):
    """A row of a fleet with an id that a client may choose."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    fleet = models.ForeignKey("fleet.Fleet", models.CASCADE, related_name="+", db_index=False)

    objects = TenantQuerySet.as_manager()

    class Meta:
        abstract = True

    fleet_id: uuid.UUID
