"""Words said about checks while an inspection is a draft: each stored once, the latest stands, none is lost.

Several phones may work on one draft, some of them without a connection for hours. So each word carries an id, which
the device made, and its age when it was sent. A repeated id changes nothing. Of two words about one check and
position the one said later stands, whichever arrives first; the other one stays in the journal and is shown beside it.
The age is taken instead of a time, because clocks of phones are wrong and a phone in the future would always win.
"""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F

from fleetcare.fleet.access import Access
from fleetcare.kernel.errors import Conflict, Fault, InvalidInput, raise_if_any
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.ids import new_id
from inspections.models import Inspection, Result, ResultEntry
from inspections.selectors import last_results
from inspections.services.checking import CheckedResult
from inspections.words import InspectionState

Given = Mapping[str, Any]
Place = tuple[str, str]
"""A check and a position."""

LONGEST_AGE = timedelta(days=60)
"""A device that claims more had its clock set meanwhile."""
_JUST_AFTER = timedelta(microseconds=1)
_SAID = ("grade", "value", "observations", "note", "not_examined")


@dataclass(frozen=True, slots=True)
class Said:
    """A result that fits the vehicle, with the id and the moment under which it was said."""

    result: CheckedResult
    key: uuid.UUID
    recorded_at: datetime
    same_as_last: bool

    def content(self) -> dict[str, Any]:
        """As the journal keeps it."""
        result = self.result
        said = {name: getattr(result, name) for name in _SAID}
        return {**said, "observations": list(result.observations), "same_as_last": self.same_as_last}


def said_of(result: CheckedResult, given: Given, now: datetime) -> Said:
    """A checked result with what the client sent about its saying: `id`, `age_seconds`, `same_as_last`."""
    age = min(timedelta(seconds=given.get("age_seconds") or 0.0), LONGEST_AGE)
    return Said(result, given.get("id") or new_id(), now - age, bool(given.get("same_as_last")))


def hold_draft(inspection: Inspection) -> None:
    """Holds the draft's row until the transaction ends, so that nobody completes it under a late result."""
    mine = Inspection.objects.within(inspection.fleet_id).filter(pk=inspection.pk, state=InspectionState.DRAFT)
    if not mine.update(version=F("version") + 1):
        raise Conflict("This inspection is completed; make a new one to correct it.", code="completed")
    inspection.version += 1


def stored_keys(inspection: Inspection, keys: Iterable[uuid.UUID | None]) -> set[uuid.UUID]:
    """Which of these ids have been stored in this inspection before."""
    asked = [key for key in keys if key is not None]
    if not asked:
        return set()
    rows = ResultEntry.objects.within(inspection.fleet_id).filter(inspection=inspection, pk__in=asked)
    return set(rows.values_list("pk", flat=True))


def with_last_filled_in(inspection: Inspection, given: Sequence[Given]) -> list[Given]:
    """The same with every `same_as_last` spelled out. Raises InvalidInput with every one that cannot be repeated."""
    wanted = [result["check"] for result in given if result.get("same_as_last")]
    last = last_results(inspection, wanted) if wanted else {}
    faults: list[Fault] = []
    filled: list[Given] = []
    for index, result in enumerate(given):
        try:
            filled.append(repeated(result, last) if result.get("same_as_last") else result)
        except InvalidInput as error:
            faults.extend(fault.under(f"/results/{index}") for fault in error.faults)
    raise_if_any(faults)
    return filled


def repeated(given: Given, last: Mapping[Place, Result]) -> Given:
    """What was found last time, said again. Raises InvalidInput where there is nothing to repeat.

    A figure is not repeated: a pad that wore three thousand km would look as if it had stopped wearing.
    """
    if any(given.get(name) for name in ("grade", "measurement", "observations", "not_examined")):
        raise InvalidInput.at("/same_as_last", "contradiction", "Either as last time, or a result of its own.")
    found = last.get((given["check"], given.get("position") or ""))
    if found is None or found.grade is None:
        raise InvalidInput.at("/same_as_last", "not-examined-last-time", "Last time this was not examined.")
    if found.value is not None:
        raise InvalidInput.at("/same_as_last", "measure-again", "Last time this was measured; measure it again.")
    note = given.get("note") or found.note
    return {**given, "grade": Grade(found.grade).word, "observations": found.observations, "note": note}


def store_entries(access: Access, inspection: Inspection, words: Sequence[Said], device: str = "") -> set[uuid.UUID]:
    """Stores words about a draft that is held; returns the ids of those that a later word had overtaken already.

    Each check and position occurs at most once. Raises Conflict for an id that belongs to another inspection.
    """
    words, late = _overtaken(inspection, words, device)
    try:
        with transaction.atomic():
            ResultEntry.objects.bulk_create(_entry(access, inspection, word, device) for word in words)
    except IntegrityError as error:
        raise Conflict("A result with this id is stored elsewhere.", code="id-in-use") from error
    Result.objects.bulk_create(
        [result_row(inspection, word.result, word) for word in words if word.key not in late],
        update_conflicts=True,
        unique_fields=["fleet", "inspection", "check_key", "position"],
        update_fields=[*_SAID, "recorded_at", "same_as_last"],
    )
    return late


def _overtaken(inspection: Inspection, words: Sequence[Said], device: str) -> tuple[list[Said], set[uuid.UUID]]:
    """The words, and the ids of those that a later one of another phone had overtaken.

    One phone sends in the order of saying. What seems to be earlier than its own last word only travelled faster, so
    it is moved to just after it.
    """
    since = _standing_since(inspection, words)
    early = [word for word in words if since.get(word.result.place, word.recorded_at) > word.recorded_at]
    own = _last_of(inspection, device, early) if device and early else {}
    moved = {word.key for word in early if own.get(word.result.place) == since[word.result.place]}
    told = [
        replace(word, recorded_at=since[word.result.place] + _JUST_AFTER) if word.key in moved else word
        for word in words
    ]
    return told, {word.key for word in early} - moved


def _last_of(inspection: Inspection, device: str, words: Sequence[Said]) -> dict[Place, datetime]:
    """When this phone last spoke of the places of these words."""
    rows = ResultEntry.objects.within(inspection.fleet_id).filter(
        inspection=inspection, device=device, check_key__in={word.result.check_key for word in words}
    )
    return {(row.check_key, row.position): row.recorded_at for row in rows.order_by("recorded_at")}


def _standing_since(inspection: Inspection, words: Sequence[Said]) -> dict[Place, datetime]:
    rows = Result.objects.within(inspection.fleet_id).filter(
        inspection=inspection, check_key__in={word.result.check_key for word in words}
    )
    values = rows.values_list("check_key", "position", "recorded_at")
    return {(check, position): at or inspection.created_at for check, position, at in values}


def result_row(inspection: Inspection, result: CheckedResult, word: Said | None = None) -> Result:
    """The row of a result; `word` where it was said on the way."""
    return Result(
        fleet_id=inspection.fleet_id,
        inspection=inspection,
        check_key=result.check_key,
        position=result.position,
        grade=result.grade,
        value=result.value,
        observations=list(result.observations),
        note=result.note,
        not_examined=result.not_examined,
        recorded_at=word.recorded_at if word else None,
        same_as_last=word.same_as_last if word else False,
    )


def overruled(journal: Iterable[ResultEntry], results: Iterable[Result]) -> dict[Place, list[ResultEntry]]:
    """What other phones said last about a check, where it is not what stands now."""
    standing = {(row.check_key, row.position): row for row in results}
    last: dict[tuple[str, str, str, str], ResultEntry] = {}
    for entry in journal:
        last[entry.check_key, entry.position, entry.actor, entry.device] = entry
    found: dict[Place, list[ResultEntry]] = {}
    for (check, position, _, _), entry in last.items():
        row = standing.get((check, position))
        if row is not None and _told(entry) != _told_row(row):
            found.setdefault((check, position), []).append(entry)
    return found


def _told(entry: ResultEntry) -> list[Any]:
    said = entry.said
    return [said["grade"], said["value"], sorted(said["observations"]), said["not_examined"]]


def _told_row(row: Result) -> list[Any]:
    return [row.grade, row.value, sorted(row.observations), row.not_examined]


def _entry(access: Access, inspection: Inspection, word: Said, device: str) -> ResultEntry:
    return ResultEntry(
        id=word.key,
        fleet_id=inspection.fleet_id,
        inspection=inspection,
        check_key=word.result.check_key,
        position=word.result.position,
        said=word.content(),
        recorded_at=word.recorded_at,
        actor=access.actor,
        device=device,
    )
