"""Two workers at the same rows, on a database that lets them run at once: each row is done by exactly one."""

import threading
import uuid
from collections import Counter
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, connections
from django.utils import timezone

from fleetcare.fleet.services.events import record_event
from fleetcare.fleet.words import EventKind
from fleetcare.support import outbound
from scheduling.models import WebhookDelivery
from scheduling.services import hooks, queue
from scheduling.services.lanes import Work, work_lanes
from scheduling.services.queue import Outcome, sent, work_through
from scheduling.services.relay import relay_events
from scheduling.services.webhooks import add_endpoint
from tests.conftest import Cast, make_cast

pytestmark = [
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="needs PostgreSQL: writers of SQLite take turns"),
]
WORKERS, ROWS = 3, 40


@pytest.fixture
def waiting(settings: Any) -> Cast:
    """A fleet with deliveries to one endpoint."""
    settings.WEBHOOKS_ALLOW_LOCAL = True
    cast = make_cast("Home")
    add_endpoint(cast.access, url="http://127.0.0.1:9/none")
    for _ in range(ROWS):
        record_event(cast.fleet, kind=EventKind.JOB_CLOSED)
    relay_events(cast.fleet.pk)
    return cast


def at_once(run: Any) -> None:
    """Runs it in several threads, each with a connection of its own; their faults are raised here."""
    faults: list[BaseException] = []

    def one() -> None:
        try:
            run()
        except BaseException as fault:  # noqa: BLE001 - raised below
            faults.append(fault)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=one) for _ in range(WORKERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    if faults:
        raise faults[0]


def test_each_row_is_claimed_by_one_of_the_workers_that_want_it(waiting: Cast) -> None:
    """All stand at the same row before any claims it: what counts is the condition of the update."""
    rows = list(WebhookDelivery.objects.within(waiting.fleet))
    gate, lock, claimed = threading.Barrier(WORKERS), threading.Lock(), Counter[uuid.UUID]()

    def worker() -> None:
        for row in WebhookDelivery.objects.within(waiting.fleet).order_by("pk"):
            gate.wait(30)
            if queue.claim(row):
                with lock:
                    claimed[row.pk] += 1

    at_once(worker)
    assert claimed == Counter({row.pk: 1 for row in rows})
    assert set(WebhookDelivery.objects.within(waiting.fleet).values_list("attempts", flat=True)) == {1}


@pytest.mark.parametrize("engine", ["one by one", "in lanes"])
def test_workers_that_run_at_once_do_every_row_exactly_once(waiting: Cast, engine: str) -> None:
    lock, done = threading.Lock(), Counter[uuid.UUID]()

    def perform(row: WebhookDelivery, _: Any = None) -> Outcome:
        with lock:
            done[row.pk] += 1
        return sent()

    def ready(*_: Any) -> Any:
        return hooks._ready(timezone.now())

    def worker() -> None:
        until = timezone.now() + timedelta(seconds=30)
        if engine == "one by one":
            work_through(ready, perform, lambda row: row.pk, until=until)
        else:
            work_lanes(Work(ready, lambda row: row.pk, lambda _: lambda: None, perform), until=until)

    at_once(worker)
    rows = WebhookDelivery.objects.within(waiting.fleet)
    assert done == Counter({row.pk: 1 for row in rows})
    assert set(rows.values_list("state", flat=True)) == {"sent"}


def test_two_senders_call_a_receiver_once_for_each_event(waiting: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    lock, called = threading.Lock(), Counter[str]()

    def post(_url: str, _body: bytes, headers: Any, **_: Any) -> outbound.Reply:
        with lock:
            called[headers["webhook-id"]] += 1
        return outbound.Reply(200, b"")

    monkeypatch.setattr(outbound, "post", post)
    at_once(hooks.send_hooks)
    assert set(called.values()) == {1}
    assert len(called) == ROWS
