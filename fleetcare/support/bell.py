"""The bell: tells a worker that something waits in the database. A lost bell costs a tick, never the work."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from celery import current_app
from django.conf import settings
from django.db import transaction
from kombu.exceptions import OperationalError

log = logging.getLogger(__name__)

_held: ContextVar[bool] = ContextVar("bell_held", default=False)


@contextmanager
def bell_held() -> Iterator[None]:
    """No bell for what is written inside: for loading much at once, by a caller who assesses it all afterwards."""
    token = _held.set(True)
    try:
        yield
    finally:
        _held.reset(token)


def ring_after_commit(task_name: str, *arguments: Any) -> None:
    """Once the surrounding transaction is stored, asks for the named task; nothing happens if it is rolled back."""
    if not _held.get():
        transaction.on_commit(lambda: _ring(task_name, arguments))


def _ring(task_name: str, arguments: tuple[Any, ...]) -> None:
    if settings.BELL == "inline":
        task = current_app.tasks[task_name]
        # Somebody else's slow server must not keep a person waiting: what is sent waits for a worker's tick.
        if not getattr(task, "calls_outside", False):
            task.apply(args=arguments, throw=True)
        return
    try:
        current_app.send_task(task_name, args=arguments)
    except (OperationalError, OSError) as error:
        # The write is stored and the sweep will find it: a deaf broker must not fail a person's request.
        log.warning("bell for %s not heard: %s", task_name, error)
