"""Findings open, worsen, improve and close by what a fresh look says; a constant number of statements."""

from collections.abc import Iterable
from datetime import date

from django.db import transaction

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from fleetcare.kernel.grades import Grade
from fleetcare.support.versions import store
from inspections.models import Finding, FindingChange, Inspection, Result
from inspections.services.checking import CheckedResult
from inspections.words import ChangeKind, InspectionState

SEEN_SOUND = "seen sound"


def apply_results(access: Access, inspection: Inspection, results: Iterable[CheckedResult]) -> list[FindingChange]:
    """Carries the results of a completed inspection into the vehicle's findings; returns what changed.

    A result that a later inspection has already overtaken changes nothing.
    """
    overtaken = _overtaken(inspection)
    looks = {r.place: r for r in results if r.grade is not None and r.place not in overtaken}
    known = Finding.objects.within(access.fleet).filter(vehicle=inspection.vehicle_id, closed_on=None)
    open_now = {(finding.check_key, finding.position): finding for finding in known}
    opened = [
        _opened(access, inspection, look) for place, look in looks.items() if look.grade and place not in open_now
    ]
    moved = [(finding, looks[place]) for place, finding in open_now.items() if place in looks]
    changes = [_change(access, inspection, finding, ChangeKind.OPENED) for finding in opened]
    changes += [_moved(access, inspection, finding, look) for finding, look in moved]
    Finding.objects.bulk_create(opened)
    if moved:
        fields = ["grade", "seen_on", "seen_in", "closed_on", "closed_because", "deferred_until", "version"]
        # An insert that turns into an update on the row's own key: a quarter of the time of a CASE for every column.
        rows = [finding for finding, _ in moved]
        Finding.objects.bulk_create(rows, update_conflicts=True, unique_fields=["id"], update_fields=fields)
    FindingChange.objects.bulk_create(changes)
    return changes


def _overtaken(inspection: Inspection) -> set[tuple[str, str]]:
    later = Result.objects.within(inspection.fleet_id).filter(
        inspection__fleet=inspection.fleet_id,
        inspection__vehicle=inspection.vehicle_id,
        inspection__state=InspectionState.COMPLETED,
        inspection__inspected_on__gt=inspection.inspected_on,
        grade__isnull=False,
    )
    return set(later.values_list("check_key", "position"))


def _opened(access: Access, inspection: Inspection, look: CheckedResult) -> Finding:
    return Finding(
        fleet=access.fleet,
        vehicle_id=inspection.vehicle_id,
        check_key=look.check_key,
        part_key=look.part_key,
        position=look.position,
        grade=look.grade or Grade.SOUND,
        opened_on=inspection.inspected_on,
        seen_on=inspection.inspected_on,
        seen_in=inspection,
    )


def _moved(access: Access, inspection: Inspection, finding: Finding, look: CheckedResult) -> FindingChange:
    before, after = finding.grade, int(look.grade or Grade.SOUND)
    finding.seen_on, finding.seen_in, finding.version = inspection.inspected_on, inspection, finding.version + 1
    if after == Grade.SOUND:
        finding.closed_on, finding.closed_because = inspection.inspected_on, SEEN_SOUND
        return _change(access, inspection, finding, ChangeKind.CLOSED)
    finding.grade = after
    if after > before:
        # Somebody put off a milder defect than this one.
        finding.deferred_until = None
        return _change(access, inspection, finding, ChangeKind.WORSENED)
    return _change(access, inspection, finding, ChangeKind.IMPROVED if after < before else ChangeKind.CONFIRMED)


def _change(
    access: Access,
    inspection: Inspection | None,
    finding: Finding,
    kind: ChangeKind,
    because: str = "",
    on: date | None = None,
) -> FindingChange:
    return FindingChange(
        fleet=access.fleet,
        finding=finding,
        inspection=inspection,
        kind=kind,
        grade=finding.grade,
        happened_on=on or (inspection.inspected_on if inspection else finding.seen_on),
        because=because,
        actor=access.actor,
    )


def _require_open(finding: Finding) -> None:
    if finding.closed_on is not None:
        raise Conflict(f"This finding was closed on {finding.closed_on.isoformat()}.", code="finding-closed")


@transaction.atomic
def defer_finding(access: Access, finding: Finding, *, until: date, because: str) -> Finding:
    """Puts a finding off until a day, with the reason. A dangerous one cannot be put off. Planners and owners.

    Raises InvalidInput for a day that is not to come, Conflict for a closed or dangerous finding.
    """
    access.require(Role.PLANNER)
    _require_open(finding)
    now = today(access.fleet)
    if until <= now:
        raise InvalidInput.at("/deferred_until", "past", "Put it off until a day to come.")
    if finding.grade == Grade.DANGEROUS:
        raise Conflict("A dangerous finding is not put off: do not drive until it is remedied.", code="dangerous")
    finding.deferred_until, finding.deferred_because = until, because
    store(finding, ["deferred_until", "deferred_because"])
    _change(access, None, finding, ChangeKind.DEFERRED, because, now).save(force_insert=True)
    touch(finding.vehicle)
    return finding


@transaction.atomic
def dismiss_finding(access: Access, finding: Finding, *, because: str) -> Finding:
    """Closes a finding that was none, with the reason. Planners and owners. Raises Conflict where it is closed."""
    access.require(Role.PLANNER)
    _require_open(finding)
    finding.closed_on, finding.closed_because, finding.dismissed = today(access.fleet), because, True
    store(finding, ["closed_on", "closed_because", "dismissed"])
    _change(access, None, finding, ChangeKind.DISMISSED, because, finding.closed_on).save(force_insert=True)
    touch(finding.vehicle)
    return finding
