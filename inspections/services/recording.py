"""Recording an inspection: whole in one request, or gathered in a draft and completed later."""

import hashlib
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import orjson
from django.db import IntegrityError, transaction
from django.db.models import Case, F, When
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import ReadingSource, Role
from fleetcare.kernel.errors import Conflict, Fault, InvalidInput, raise_if_any
from fleetcare.kernel.grades import Grade
from fleetcare.support.bulk import insert_rows
from inspections.catalogue.loader import default_catalogue
from inspections.core.trouble_codes import MalformedTroubleCode, parse_code
from inspections.models import Inspection, Result
from inspections.services.checking import CheckedResult, checked_results
from inspections.services.entries import (
    hold_draft,
    result_row,
    said_of,
    store_entries,
    stored_keys,
    with_last_filled_in,
)
from inspections.services.findings import apply_results
from inspections.services.happenings import announce_inspection
from inspections.words import InspectionState

Given = Sequence[Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Heading:
    """What is said of an inspection as a whole."""

    inspected_on: date
    shown_km: Decimal
    sheet: str
    inspector: str
    note: str
    trouble_codes: list[str]

    def digest(self, results: Iterable[CheckedResult]) -> str:
        """Equal for equal content, whatever the order of the results."""
        said = sorted(results, key=lambda result: result.place)
        return hashlib.sha256(orjson.dumps([self, said], default=_as_text)).hexdigest()


def _as_text(value: Any) -> str:
    """A distance, the same whether 187450 or 187450.0 was sent."""
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    raise TypeError(f"{type(value).__name__} is no part of an inspection's content")


def record_inspection(
    access: Access,
    vehicle: Vehicle,
    *,
    inspected_on: date,
    shown_km: Decimal,
    results: Given,
    sheet: str = "full",
    inspector: str = "",
    note: str = "",
    trouble_codes: Sequence[str] = (),
    draft: bool = False,
    key: uuid.UUID | None = None,
    odometer_pointer: str = "/odometer_km",
) -> tuple[Inspection, list[Result] | None]:
    """Stores an inspection with its results, carries it into findings, and asks for a fresh assessment.

    Returns the inspection, and its results where it is new: with the client's own `key` the same content may be sent
    again and again. Raises InvalidInput with every fault of the body; Conflict where the same inspection (or the key
    with other content) is already stored.
    """
    access.require(Role.INSPECTOR)
    checked = _checked(access, vehicle, sheet, results, trouble_codes)
    codes = [parse_code(code).text for code in trouble_codes]
    heading = Heading(inspected_on, shown_km, sheet, inspector, note, codes)
    repeated = _repeated(access, vehicle, key, heading.digest(checked))
    if repeated is not None:
        return repeated, None
    with transaction.atomic():
        state = InspectionState.DRAFT if draft else InspectionState.COMPLETED
        inspection = _stored(access, vehicle, heading, checked, key, odometer_pointer, state)
        rows = [result_row(inspection, result) for result in checked]
        insert_rows(rows)
        if draft:
            touch(vehicle)
        else:
            _carry_on(access, inspection, checked)
    return inspection, rows


def _stored(
    access: Access,
    vehicle: Vehicle,
    heading: Heading,
    checked: list[CheckedResult],
    key: uuid.UUID | None,
    odometer_pointer: str,
    state: InspectionState,
) -> Inspection:
    """The inspection with its odometer reading, without results."""
    reading = record_odometer(
        access,
        vehicle,
        read_on=heading.inspected_on,
        shown_km=heading.shown_km,
        source=ReadingSource.INSPECTION,
        pointer=odometer_pointer,
        date_pointer="/inspected_on",
        touching=False,
    )
    inspection = Inspection(
        fleet=access.fleet,
        vehicle=vehicle,
        reading=reading,
        inspected_on=heading.inspected_on,
        sheet=heading.sheet,
        inspector=heading.inspector,
        note=heading.note,
        trouble_codes=heading.trouble_codes,
        state=state,
        completed_at=None if state == InspectionState.DRAFT else timezone.now(),
        content_digest=heading.digest(checked),
        entered_by=access.actor,
        **({"id": key} if key else {}),
    )
    _insert(inspection)
    return inspection


def _close(access: Access, inspection: Inspection, checked: list[CheckedResult]) -> None:
    """Completes an inspection: from now on it counts."""
    inspection.state, inspection.completed_at = InspectionState.COMPLETED, timezone.now()
    try:
        with transaction.atomic():
            inspection.save(update_fields=["state", "completed_at", "content_digest"])
    except IntegrityError as error:
        raise Conflict("The same inspection is already stored.", code="repeated-inspection") from error
    _carry_on(access, inspection, checked)


def _carry_on(access: Access, inspection: Inspection, checked: list[CheckedResult]) -> None:
    """What a completed inspection changes beyond itself: findings, events, where the vehicle stands."""
    changes = apply_results(access, inspection, checked)
    announce_inspection(access, inspection, checked, changes)
    on = inspection.inspected_on
    touch(inspection.vehicle, inspected_on=Case(When(inspected_on__gt=on, then=F("inspected_on")), default=on))


def _insert(inspection: Inspection) -> None:
    try:
        with transaction.atomic():
            inspection.save(force_insert=True)
    except IntegrityError as error:
        # Somebody else stored the same between our look and now; or one under this id, or another fleet has it.
        same = Inspection.objects.within(inspection.fleet_id).filter(
            vehicle=inspection.vehicle_id, content_digest=inspection.content_digest, state=InspectionState.COMPLETED
        )
        if inspection.state == InspectionState.COMPLETED and same.exclude(pk=inspection.pk).exists():
            raise Conflict("The same inspection is already stored.", code="repeated-inspection") from error
        raise Conflict("An inspection with this id is already stored.", code="id-in-use") from error


def _checked(
    access: Access, vehicle: Vehicle, sheet: str, results: Given, trouble_codes: Sequence[str]
) -> list[CheckedResult]:
    """Every fault at once: those of the sheet, the codes and the results."""
    catalogue = default_catalogue()
    faults: list[Fault] = []
    if sheet not in catalogue.sheets:
        faults.append(Fault("/sheet", "unknown-sheet", f"Known sheets: {', '.join(catalogue.sheets)}."))
    for index, code in enumerate(trouble_codes):
        try:
            parse_code(code)
        except MalformedTroubleCode as error:
            faults.append(Fault(f"/trouble_codes/{index}", "malformed-code", str(error)))
    checked: list[CheckedResult] = []
    try:
        checked = checked_results(catalogue, vehicle.traits, access.fleet.limit_scheme, results)
    except InvalidInput as error:
        faults.extend(error.faults)
    raise_if_any(faults)
    return checked


def _repeated(access: Access, vehicle: Vehicle, key: uuid.UUID | None, digest: str) -> Inspection | None:
    rows = Inspection.objects.within(access.fleet).filter(vehicle=vehicle).select_related("reading")
    if key is not None:
        stored = rows.filter(pk=key).first()
        if stored is not None and stored.content_digest != digest:
            raise Conflict("An inspection with this id and other content is stored.", code="id-in-use")
        if stored is not None:
            return stored
    same = rows.filter(content_digest=digest, state=InspectionState.COMPLETED).first()
    if same is not None:
        raise Conflict(f"This inspection is already stored under the id {same.pk}.", code="repeated-inspection")
    return None


@transaction.atomic
def save_results(access: Access, inspection: Inspection, results: Given) -> Inspection:
    """Adds results to a draft, all or none; of two words about a check and position the one said later stands.

    Each may carry the client's `id` (repeated, it is passed over), its `age_seconds` when it was sent, or
    `same_as_last` in the place of a result. Raises Conflict once completed, unless every id is stored already.
    """
    access.require(Role.INSPECTOR)
    known = stored_keys(inspection, (result.get("id") for result in results))
    if results and all(result.get("id") in known for result in results):
        return inspection
    hold_draft(inspection)
    filled = with_last_filled_in(inspection, results)
    checked = _checked(access, inspection.vehicle, inspection.sheet, filled, ())
    now = timezone.now()
    words = [said_of(result, given, now) for result, given in zip(checked, results, strict=True)]
    store_entries(access, inspection, [word for word in words if word.key not in known])
    return inspection


@transaction.atomic
def complete_inspection(access: Access, inspection: Inspection) -> Inspection:
    """Closes a draft: its results change findings and condition from now on. Repeating it changes nothing."""
    access.require(Role.INSPECTOR)
    if inspection.state == InspectionState.COMPLETED:
        return inspection
    hold_draft(inspection)
    rows = Result.objects.within(access.fleet).filter(inspection=inspection)
    checked = [_as_checked(row) for row in rows]
    if not checked:
        raise InvalidInput("A draft without results cannot be completed.", code="no-results")
    heading = Heading(
        inspection.inspected_on,
        inspection.reading.shown_km,
        inspection.sheet,
        inspection.inspector,
        inspection.note,
        inspection.trouble_codes,
    )
    inspection.content_digest = heading.digest(checked)
    _close(access, inspection, checked)
    return inspection


def _as_checked(row: Result) -> CheckedResult:
    entry = default_catalogue().checks[row.check_key]
    return CheckedResult(
        check_key=row.check_key,
        part_key=entry.part.key,
        position=row.position,
        grade=None if row.grade is None else Grade(row.grade),
        value=row.value,
        observations=tuple(row.observations),
        note=row.note,
        not_examined=row.not_examined,
    )
