"""What is done at every tick: each step by itself, so that a step that fails stops no other."""

import logging
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Min, QuerySet
from django.utils import timezone

from fleetcare.fleet.services.repeats import forget_answers
from fleetcare.support.bell import ring_after_commit
from inspections.services.lives import ask_for_learning
from scheduling.selectors import every_hook, every_letter, old_events
from scheduling.services.assess import sweep_stale
from scheduling.services.due.sweep import sweep_due
from scheduling.services.hooks import park_hooks, waiting_hooks
from scheduling.services.letters.making import make_letters
from scheduling.services.letters.sending import park_letters, waiting_letters
from scheduling.services.notices import make_notices
from scheduling.services.plans import ask_for_solving
from scheduling.services.queue import free
from scheduling.services.relay import relay_waiting

log = logging.getLogger(__name__)

_FORGET_MOST = 5_000


def tick() -> list[str]:
    """Does what time has made due, and what lost bells and dead workers left; returns the names of steps that failed.

    Any number may run at once: every step leaves alone what another has done.
    """
    return [name for name, step in _STEPS.items() if not _went_well(name, step)]


def _went_well(name: str, step: Callable[[], object]) -> bool:
    try:
        step()
    except Exception:
        log.exception("tick: %s failed", name)
        return False
    return True


def reconcile() -> None:
    """Rings again for what could be sent and nobody holds, and parks what no attempt has brought to an end."""
    park_letters()
    park_hooks()
    now = timezone.now()
    with transaction.atomic():
        if waiting_letters(now):
            ring_after_commit("scheduling.send_letters")
        if waiting_hooks(now):
            ring_after_commit("scheduling.send_hooks")


def forget_old_events() -> None:
    """Deletes events that were passed on long ago, with their webhook deliveries; some at each tick."""
    ids = list(old_events(timezone.now()).values_list("pk", flat=True)[:_FORGET_MOST])
    if ids:
        old_events(timezone.now()).filter(pk__in=ids).delete()


def late_since() -> datetime | None:
    """Since when the oldest mail or webhook that could be sent waits, or None; two queries."""
    now = timezone.now()
    oldest = [rows.filter(free(now)).order_by().aggregate(at=Min("not_before"))["at"] for rows in _queues()]
    return min((at for at in oldest if at is not None), default=None)


def _queues() -> list[QuerySet[Any]]:
    return [every_letter(), every_hook().filter(endpoint__disabled_at=None)]


def send_all(send: Callable[[], int], task_name: str, waiting: Callable[[datetime], bool]) -> None:
    """Sends what it can in half a minute and rings for the rest, so that other work gets its turn in between."""
    done = send()
    if done and settings.BELL == "broker" and waiting(timezone.now()):
        ring_after_commit(task_name)


# What is due first, what computes longest last: a slow assessment must not hold up a reminder.
_STEPS: dict[str, Callable[[], object]] = {
    "due items": sweep_due,
    "events": relay_waiting,
    "notices": make_notices,
    "letters": make_letters,
    "queues": reconcile,
    "plans": ask_for_solving,
    "assessments": sweep_stale,
    "lives": ask_for_learning,
    "old events": forget_old_events,
    "kept answers": forget_answers,
}
