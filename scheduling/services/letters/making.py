"""Gathering what waits to be told into letters: safety at once, the rest when the reader's next slot has come."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import OuterRef, Subquery
from django.utils import timezone

from fleetcare.support.bell import ring_after_commit
from scheduling.core.slots import last_slot
from scheduling.models import Letter, ReminderChoice
from scheduling.selectors import letters_of_batch, readers_of, untold_deliveries
from scheduling.services.letters.readers import Reader
from scheduling.words import LetterKind

_CHUNK = 500


@dataclass(frozen=True, slots=True)
class _Wish:
    """A letter that is to be made, and (`slot`) the day of the gathered mail that it is."""

    choice: ReminderChoice
    kind: LetterKind
    slot: date | None = None


def make_letters() -> int:
    """Makes the letters whose time has come, in every fleet; returns how many. Run twice at once, each is made once."""
    waiting: dict[uuid.UUID, set[str]] = defaultdict(set)
    for reader_id, kind in untold_deliveries().order_by().values_list("reader_id", "kind").distinct():
        waiting[reader_id].add(kind)
    now, made, ids = timezone.now(), 0, list(waiting)
    for start in range(0, len(ids), _CHUNK):
        choices = readers_of(ids[start : start + _CHUNK])
        wishes = [wish for choice in choices for wish in _wishes(choice, waiting[choice.pk], now)]
        if wishes:
            made += _make(wishes, now)
    return made


def _wishes(choice: ReminderChoice, kinds: Iterable[str], now: datetime) -> Iterable[_Wish]:
    reader = Reader.of(choice)
    if reader.quiet_until(now) is not None:
        return
    if LetterKind.SAFETY in kinds:
        yield _Wish(choice, LetterKind.SAFETY)
    slot = last_slot(
        reader.wall(now), choice.rhythm, hour=choice.hour, weekday=choice.weekday, month_day=choice.month_day
    )
    first = choice.last_slot_on is None
    if LetterKind.DIGEST in kinds and slot is not None and (first or slot > (choice.last_slot_on or slot)):
        yield _Wish(choice, LetterKind.DIGEST, slot)


@transaction.atomic
def _make(wishes: Sequence[_Wish], now: datetime) -> int:
    """Letters take the rows that wait; a letter for which another maker left nothing is taken back."""
    batch = uuid.uuid4()
    for kind in LetterKind:
        mine = [wish for wish in wishes if wish.kind == kind]
        if mine:
            _make_kind(batch, kind, mine, now)
    made = letters_of_batch(batch)
    made.filter(deliveries=None).delete()
    _note_slots(wishes)
    ring_after_commit("scheduling.send_letters")
    return made.count()


def _make_kind(batch: uuid.UUID, kind: LetterKind, wishes: Sequence[_Wish], now: datetime) -> None:
    Letter.objects.bulk_create(
        Letter(fleet_id=wish.choice.fleet_id, reader=wish.choice, kind=kind, batch=batch, not_before=now)
        for wish in wishes
    )
    letter = letters_of_batch(batch).filter(reader=OuterRef("reader"), kind=kind).values("pk")[:1]
    waiting = untold_deliveries().filter(kind=kind, reader__in=[wish.choice.pk for wish in wishes])
    waiting.update(letter=Subquery(letter))


def _note_slots(wishes: Iterable[_Wish]) -> None:
    by_slot: dict[date, list[uuid.UUID]] = defaultdict(list)
    for wish in wishes:
        if wish.slot is not None:
            by_slot[wish.slot].append(wish.choice.pk)
    for slot, ids in by_slot.items():
        readers_of(ids).order_by().update(last_slot_on=slot)
