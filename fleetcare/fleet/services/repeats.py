"""Doing a thing once however often it is asked for: the answer is stored with the work, and given again."""

from __future__ import annotations

import uuid
from collections.abc import Callable

from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from fleetcare.fleet.models import KeptAnswer
from fleetcare.support.idempotency import KEPT, Answer, Asked, KeyReused, StillRunning, seal, unseal

_FORGET_MOST = 5_000


@transaction.atomic
def answered_once(asked: Asked, fleet_id: uuid.UUID | None, do: Callable[[], Answer]) -> tuple[Answer, bool]:
    """The answer, and whether it is an earlier one given again.

    Work and answer are stored together or not at all; nothing is kept of what raises. Raises StillRunning while
    another request with the key is at work (PostgreSQL; on SQLite it waits for it), KeyReused where the key stands
    for another request.
    """
    if not _is_alone(asked):
        raise StillRunning("The first request with this key is still at work; repeat it in a moment.")
    kept = KeptAnswer.objects.filter(pk=asked.row_id).first()
    if kept is not None and kept.expires_at > timezone.now():
        if kept.fingerprint != asked.fingerprint:
            raise KeyReused("This key was sent before with another address or body.")
        return unseal(asked, bytes(kept.sealed)), True
    if kept is not None:
        kept.delete()
    answer = do()
    _keep(asked, fleet_id, answer)
    return answer, False


def _is_alone(asked: Asked) -> bool:
    # SQLite lets one transaction write at a time; PostgreSQL is asked for a lock that ends with the transaction,
    # so that a process that dies leaves nothing behind.
    if connection.vendor != "postgresql":
        return True
    number = int.from_bytes(bytes.fromhex(asked.row_id)[:8], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [number])
        return bool(cursor.fetchone()[0])


def _keep(asked: Asked, fleet_id: uuid.UUID | None, answer: Answer) -> None:
    kept = KeptAnswer(
        id=asked.row_id,
        fleet_id=fleet_id,
        fingerprint=asked.fingerprint,
        sealed=seal(asked, answer),
        expires_at=timezone.now() + KEPT,
    )
    try:
        with transaction.atomic():
            kept.save(force_insert=True)
    except IntegrityError as error:
        raise StillRunning("Another request with this key was answered meanwhile; repeat it.") from error


def forget_answers() -> None:
    """Deletes answers whose time is over; some at each tick."""
    over = KeptAnswer.objects.filter(expires_at__lt=timezone.now())
    ids = list(over.values_list("pk", flat=True)[:_FORGET_MOST])
    if ids:
        KeptAnswer.objects.filter(pk__in=ids).delete()
