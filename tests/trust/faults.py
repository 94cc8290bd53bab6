"""Fails the n-th call that leaves the process: of the database, the disk, the mail server or the broker."""

from __future__ import annotations

import errno
import smtplib
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from celery import current_app
from django.apps import apps
from django.core.mail.backends.locmem import EmailBackend
from django.db import OperationalError, connection
from kombu.exceptions import OperationalError as BrokerError

from fleetcare.fleet.models import Fleet, KeptAnswer
from fleetcare.support import stored_files
from fleetcare.support.tenancy import TenantModel

# The tests stand in a transaction, so a service's own becomes a savepoint. A connection that is lost is rolled back
# by the database; failing the statement that rolls back would only break the test.
_OF_TRANSACTIONS = ("SAVEPOINT", "RELEASE", "ROLLBACK")


class Faults:
    """Counts the calls; the one with the number `at` fails, once."""

    def __init__(self, at: int) -> None:
        self._at = at
        self.calls: Counter[str] = Counter()

    @property
    def struck(self) -> bool:
        """Whether the call that was to fail has come."""
        return self.calls.total() >= self._at > 0

    def step(self, kind: str, error: Exception) -> None:
        """One call; raises `error` where it is the one to fail."""
        self.calls[kind] += 1
        if self.calls.total() == self._at:
            raise error

    def on_statement(self, execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
        """Stands around each statement, as Django's execute_wrapper."""
        if not str(sql).startswith(_OF_TRANSACTIONS):
            self.step("database", OperationalError("the connection was lost"))
        return execute(sql, params, many, context)


@contextmanager
def failing(at: int) -> Iterator[Faults]:
    """Inside, the call with the number `at` fails (none for 0); every bell is heard by nobody."""
    faults = Faults(at)
    make_draft, replace, send = tempfile.mkstemp, Path.replace, EmailBackend.send_messages

    def mkstemp(*args: Any, **options: Any) -> Any:
        faults.step("file", OSError(errno.EIO, "the disk does not answer"))
        return make_draft(*args, **options)

    def named(path: Path, target: Any) -> Any:
        faults.step("file", OSError(errno.EIO, "the disk does not answer"))
        return replace(path, target)

    def sent(backend: Any, messages: Any) -> Any:
        faults.step("mail", smtplib.SMTPServerDisconnected("the line went dead"))
        return send(backend, messages)

    def rung(*_: Any, **__: Any) -> None:
        faults.step("broker", BrokerError("the broker does not answer"))

    with pytest.MonkeyPatch.context() as patch, connection.execute_wrapper(faults.on_statement):
        patch.setattr(stored_files.tempfile, "mkstemp", mkstemp)
        patch.setattr(Path, "replace", named)
        patch.setattr(EmailBackend, "send_messages", sent)
        patch.setattr(current_app, "send_task", rung)
        yield faults


def rows_of(fleet: Fleet) -> dict[str, int]:
    """How many rows each table has for the fleet; what is kept for a repetition too."""
    tables = [model for model in apps.get_models() if issubclass(model, TenantModel)]
    found = {model.__name__: model.objects.within(fleet).count() for model in tables}
    found["KeptAnswer"] = KeptAnswer.objects.filter(fleet=fleet).count()
    return {name: number for name, number in found.items() if number}
