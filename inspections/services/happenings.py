"""What of inspecting and judging is told to others: stored as events in the same transaction."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Fleet, Standing, Vehicle
from fleetcare.fleet.services.events import Happening, record_events
from fleetcare.fleet.words import EventKind
from fleetcare.kernel.grades import Grade
from inspections.models import FindingChange, Inspection
from inspections.services.checking import CheckedResult
from inspections.words import ChangeKind

Json = dict[str, Any]
_TOLD = {ChangeKind.OPENED: EventKind.FINDING_OPENED, ChangeKind.WORSENED: EventKind.FINDING_WORSENED}


def announce_inspection(
    access: Access, inspection: Inspection, results: Sequence[CheckedResult], changes: Iterable[FindingChange]
) -> None:
    """Says that an inspection was completed and which findings it opened or worsened; one statement."""
    grades = [result.grade for result in results if result.grade is not None]
    facts = {
        "sheet": inspection.sheet,
        "inspected_on": inspection.inspected_on.isoformat(),
        "results": len(results),
        "worst_grade": max(grades).word if grades else None,
    }
    completed = Happening(EventKind.INSPECTION_COMPLETED, inspection.vehicle_id, inspection.pk, facts)
    told = [_of_finding(inspection, change) for change in changes if change.kind in _TOLD]
    record_events(access.fleet, [completed, *told])


def _of_finding(inspection: Inspection, change: FindingChange) -> Happening:
    finding = change.finding
    facts = {
        "check": finding.check_key,
        "part": finding.part_key,
        "position": finding.position or None,
        "grade": Grade(change.grade).word,
        "seen_on": change.happened_on.isoformat(),
        "inspection": str(inspection.pk),
    }
    return Happening(_TOLD[ChangeKind(change.kind)], inspection.vehicle_id, finding.pk, facts)


def announce_bans(fleet: Fleet, verdicts: Iterable[tuple[Vehicle, Mapping[str, Any]]]) -> None:
    """Says for which vehicles "do not drive" was raised or lifted; call before the standings are stored.

    Each takes a conditional update, so that of several assessments at once only one says it, and a slow one that
    rests on older writes says nothing. Without a change no statement.
    """
    record_events(fleet, [_of_ban(vehicle, document) for vehicle, document in verdicts if _turned(vehicle, document)])


def _turned(vehicle: Vehicle, document: Mapping[str, Any]) -> bool:
    before, after = vehicle.standing.do_not_drive, document["do_not_drive"]
    if before == after:
        return False
    standing = Standing.objects.within(vehicle.fleet_id).filter(
        vehicle=vehicle, do_not_drive=before, assessed_revision__lte=vehicle.standing.revision
    )
    return bool(standing.update(do_not_drive=after))


def _of_ban(vehicle: Vehicle, document: Mapping[str, Any]) -> Happening:
    kind = EventKind.DO_NOT_DRIVE_RAISED if document["do_not_drive"] else EventKind.DO_NOT_DRIVE_LIFTED
    dangers = [{key: danger[key] for key in ("part", "position", "why")} for danger in document["dangers"]]
    return Happening(kind, vehicle.pk, vehicle.pk, {"dangers": dangers})
