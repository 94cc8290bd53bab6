"""Findings closed by work done on the vehicle, and opened again where the work is taken back."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.db.models import F

from fleetcare.fleet.access import Access
from fleetcare.kernel.errors import Conflict
from fleetcare.support.tenancy import TenantQuerySet
from inspections.models import Finding, FindingChange
from inspections.words import ChangeKind

RENEWED = "renewed"


@dataclass(frozen=True, slots=True)
class ClosedFindings:
    """Findings that work closed, and the steps of their history that say so, by id."""

    findings: tuple[uuid.UUID, ...] = ()
    changes: tuple[uuid.UUID, ...] = ()

    def __add__(self, other: "ClosedFindings") -> "ClosedFindings":
        return ClosedFindings(self.findings + other.findings, self.changes + other.changes)


def close_for_renewal(
    access: Access, vehicle_id: uuid.UUID, part_key: str, positions: Iterable[str], on: date
) -> ClosedFindings:
    """Closes the open findings of parts that were renewed; inside a transaction, three statements at most.

    What was seen after that day was seen of the new part, and stays open.
    """
    rows = Finding.objects.within(access.fleet).filter(
        vehicle=vehicle_id, part_key=part_key, position__in=positions, closed_on=None
    )
    return _close(access, rows.filter(seen_on__lte=on), on, RENEWED, None)


def close_as_remedied(
    access: Access, vehicle_id: uuid.UUID, findings: Sequence[uuid.UUID], on: date, total_km: Decimal, because: str
) -> ClosedFindings:
    """Closes open findings put right without renewing anything: the part counts as seen sound from then on, at its age.

    Inside a transaction. Those that are closed already are passed over.
    """
    rows = Finding.objects.within(access.fleet).filter(vehicle=vehicle_id, pk__in=findings, closed_on=None)
    return _close(access, rows, on, because, total_km)


def _close(
    access: Access, rows: TenantQuerySet[Finding], on: date, because: str, remedied_km: Decimal | None
) -> ClosedFindings:
    closed = list(rows)
    if not closed:
        return ClosedFindings()
    mine = Finding.objects.within(access.fleet).filter(pk__in=[finding.pk for finding in closed], closed_on=None)
    mine.update(closed_on=on, closed_because=because, remedied_total_km=remedied_km, version=F("version") + 1)
    changes = [
        FindingChange(
            fleet=access.fleet,
            finding=finding,
            kind=ChangeKind.CLOSED,
            grade=finding.grade,
            happened_on=on,
            because=because,
            actor=access.actor,
        )
        for finding in closed
    ]
    FindingChange.objects.bulk_create(changes)
    return ClosedFindings(tuple(finding.pk for finding in closed), tuple(change.pk for change in changes))


def open_again(access: Access, closed: ClosedFindings) -> None:
    """Opens findings that work had closed, as they were; inside a transaction.

    Raises Conflict where a fresh look has opened the same finding anew: it stands, and the closing with it.
    """
    rows = Finding.objects.within(access.fleet).filter(pk__in=closed.findings)
    back = {"closed_on": None, "closed_because": "", "remedied_total_km": None}
    try:
        with transaction.atomic():
            rows.update(**back, version=F("version") + 1)
    except IntegrityError as error:
        sentence = "A later look has found the same again; that finding stands."
        raise Conflict(sentence, code="finding-opened-again") from error
    FindingChange.objects.within(access.fleet).filter(pk__in=closed.changes).delete()
