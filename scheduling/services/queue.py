"""One engine for everything that is sent outside: claim a row, do it, write down what came of it.

The rows are the queue. A row is claimed by a conditional update that sets a lease, so that of several workers one gets
it and a worker that dies loses nothing: the row is free again when the lease ends. Row locks are not used; they do not
work on both databases.
"""

import logging
import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar

from django.conf import settings
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from scheduling.models.queue import QueuedRow
from scheduling.words import QueueState

log = logging.getLogger(__name__)

MOST_ATTEMPTS = 3
"""Attempts that may end in silence; then the row is parked and somebody is told."""
_LOOK_AHEAD = 50

Row = TypeVar("Row", bound=QueuedRow)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one attempt: a final state, or (`again_at`) when to try again."""

    state: QueueState
    answer: str = ""
    again_at: datetime | None = None
    refused: bool = False
    """Whether it counts as a refusal of the other side."""
    stop: bool = False
    """The way there is blocked for the rows of the same lane: leave them for later."""
    fields: dict[str, Any] = field(default_factory=dict)
    """Further columns of the row to store."""


def sent(answer: str = "", **fields: Any) -> Outcome:
    """The other side took it."""
    return Outcome(QueueState.SENT, answer, fields=fields)


def ended(state: QueueState, answer: str = "", **fields: Any) -> Outcome:
    """It is not tried again."""
    return Outcome(state, answer, fields=fields)


def later(at: datetime, answer: str = "", *, refused: bool = True, stop: bool = False, **fields: Any) -> Outcome:
    """It is tried again."""
    return Outcome(QueueState.WAITING, answer, at, refused, stop, fields)


def free(now: datetime) -> Q:
    """Rows that may be tried: their time has come and nobody holds them."""
    return Q(state=QueueState.WAITING, not_before__lte=now, attempts__lt=MOST_ATTEMPTS) & _let_go(now)


def _let_go(now: datetime) -> Q:
    return Q(claimed_until=None) | Q(claimed_until__lt=now)


def _silent(now: datetime) -> Q:
    """Rows of which every attempt ended in silence."""
    return Q(state=QueueState.WAITING, attempts__gte=MOST_ATTEMPTS) & _let_go(now)


def work_through(
    ready: Callable[[datetime], QuerySet[Row]],
    perform: Callable[[Row], Outcome],
    lane: Callable[[Row], object],
    *,
    until: datetime,
) -> int:
    """Claims and performs free rows one by one until there are none, or time is up.

    `ready(now)` gives the free rows in the order of sending; `lane(row)` names the way a row takes, and where that is
    found to be blocked its other rows are left for a later run. One row is claimed at a time, so that a worker that
    is killed leaves exactly one in doubt, and a row that kills its worker takes no other with it. Returns how many
    rows came to an outcome.
    """
    done = 0
    seen: set[uuid.UUID] = set()
    blocked: set[object] = set()
    while timezone.now() < until:
        rows = [row for row in ready(timezone.now())[:_LOOK_AHEAD] if row.pk not in seen and lane(row) not in blocked]
        if not rows:
            return done
        for row in rows:
            seen.add(row.pk)
            if lane(row) in blocked or timezone.now() >= until or not claim(row):
                continue
            outcome = _performed(row, perform)
            done += settle(row, outcome) if outcome else 0
            if outcome and outcome.stop:
                blocked.add(lane(row))
    return done


def _performed(row: Row, perform: Callable[[Row], Outcome]) -> Outcome | None:
    """The outcome; a fault of ours is logged and leaves the claim, so that it counts as an attempt without outcome."""
    try:
        return perform(row)
    except Exception:
        log.exception("%s %s failed", type(row).__name__, row.pk)
        return None


def _rows(row: Row) -> QuerySet[Row]:
    model: Any = type(row)
    rows: QuerySet[Row] = model.objects.within(row.fleet_id).filter(pk=row.pk)
    return rows


def run_until() -> datetime:
    """When a run of sendings stops to begin another: long before the time limit of its task, which is the lease."""
    return timezone.now() + timedelta(seconds=settings.DELIVERY_RUN_SECONDS)


def _lease() -> timedelta:
    """Longer than any one sending takes; what a dead worker held is free after it."""
    return timedelta(seconds=settings.DELIVERY_LEASE_SECONDS)


def claim(row: QueuedRow) -> bool:
    """Takes the row, if it is still free; the attempt counts from now on, however it ends."""
    now, mark = timezone.now(), uuid.uuid4()
    mine = _rows(row).filter(free(now))
    taken = mine.update(claim=mark, claimed_until=now + _lease(), attempts=F("attempts") + 1)
    row.claim = mark
    return bool(taken)


def settle(row: QueuedRow, outcome: Outcome) -> int:
    """Writes the outcome down, if the claim still holds; returns how many rows that were (0 or 1)."""
    over = outcome.state != QueueState.WAITING
    values = {
        "state": outcome.state,
        "answer": outcome.answer[:300],
        "claim": None,
        "claimed_until": None,
        "attempts": 0,
        "refusals": F("refusals") + int(outcome.refused),
        "ended_at": timezone.now() if over else None,
        **({"not_before": outcome.again_at} if outcome.again_at else {}),
        **outcome.fields,
    }
    stored = _rows(row).filter(claim=row.claim).update(**values)
    if not stored:
        log.warning("%s %s was settled by another worker; its lease had ended", type(row).__name__, row.pk)
    return stored


def park(rows: QuerySet[Row]) -> int:
    """Parks waiting rows whose every attempt ended in silence, and says so in the log; returns how many."""
    now, parked = timezone.now(), 0
    for row in rows.filter(_silent(now))[:_LOOK_AHEAD]:
        text = f"{MOST_ATTEMPTS} attempts ended without any outcome"
        mine = _rows(row).filter(_silent(now))
        if mine.update(state=QueueState.PARKED, answer=text, ended_at=now, claim=None, claimed_until=None):
            parked += 1
            log.error("parked %s %s of fleet %s: %s", type(row).__name__, row.pk, row.fleet_id, text)
    return parked


def pause_after(refusals: int, steps: Iterable[timedelta]) -> timedelta | None:
    """How long to wait after so many refusals (1 is the first), or None when it is enough."""
    listed = list(steps)
    return listed[refusals - 1] if refusals <= len(listed) else None
