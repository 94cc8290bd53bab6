"""Webhooks: signed as Standard Webhooks says, repeated, stopped; nobody waits for somebody else's receiver."""

import json
import threading
import time
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import standardwebhooks
import time_machine

from fleetcare.fleet.models import Event
from fleetcare.fleet.services.events import record_event
from fleetcare.fleet.words import EventKind
from fleetcare.support import outbound
from scheduling.models import WebhookDelivery, WebhookEndpoint
from scheduling.services import hooks, lanes, queue
from scheduling.services.hooks import secret_of, send_hooks
from scheduling.services.relay import relay_events, relay_waiting
from scheduling.services.webhooks import add_endpoint, change_endpoint, replay, rotate_secret, try_endpoint
from scheduling.words import QueueState
from tests.conftest import Cast
from tests.inspections.given import inspect
from tests.scheduling.webhooks.receiver import receiving

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _local(settings: Any) -> None:
    settings.WEBHOOKS_ALLOW_LOCAL = True


def endpoint(cast: Cast, url: str = "http://127.0.0.1:9/none", **values: Any) -> WebhookEndpoint:
    return add_endpoint(cast.access, url=url, **values)[0]


def happen(cast: Cast, kind: str = EventKind.JOB_CLOSED, **facts: Any) -> Event:
    event = record_event(cast.fleet, kind=kind, vehicle=cast.vehicle, facts=facts)
    relay_events(cast.fleet.pk)
    return event


def deliveries(cast: Cast) -> list[WebhookDelivery]:
    return list(WebhookDelivery.objects.within(cast.fleet).order_by("made_at", "pk"))


def answering(monkeypatch: pytest.MonkeyPatch, *replies: Any) -> list[str]:
    """Replaces the network: each call takes the next reply (a status or an error), the last one again and again."""
    called: list[str] = []
    left = list(replies)

    def post(url: str, body: bytes, headers: Any, **_: Any) -> outbound.Reply:
        called.append(url)
        reply = left.pop(0) if len(left) > 1 else left[0]
        if isinstance(reply, Exception):
            raise reply
        return outbound.Reply(reply, b"")

    monkeypatch.setattr(outbound, "post", post)
    return called


class TestForm:
    def test_the_reference_library_accepts_signature_and_body(self, cast: Cast) -> None:
        """Standard Webhooks; its own Python package is the oracle."""
        with receiving() as receiver:
            target = endpoint(cast, receiver.url)
            event = happen(cast, note="Grüße")
            assert send_hooks() == 1
        headers, body = receiver.got[0]
        said = standardwebhooks.Webhook(secret_of(target)).verify(body.decode(), headers)
        assert said["type"] == "job.closed"
        assert said["data"] == {
            "fleet": str(cast.fleet.pk), "vehicle": str(cast.vehicle.pk), "subject": None, "note": "Grüße",
        }  # fmt: skip
        assert headers["webhook-id"] == f"evt_{event.pk.hex}"
        assert headers["content-type"] == "application/json"

    def test_a_changed_byte_or_another_secret_is_noticed(self, cast: Cast, strangers: Cast) -> None:
        target, other = endpoint(cast), endpoint(strangers)
        event = happen(cast)
        body, now = hooks.event_body(event), datetime.now(UTC)
        headers = hooks.signed_headers(target, event, body, now)
        for secret, text in ((secret_of(target), body.decode() + " "), (secret_of(other), body.decode())):
            with pytest.raises(standardwebhooks.WebhookVerificationError):
                standardwebhooks.Webhook(secret).verify(text, headers)

    def test_a_replaced_secret_signs_beside_the_new_one_for_a_day(self, cast: Cast) -> None:
        target = endpoint(cast)
        old = secret_of(target)
        new = rotate_secret(cast.access, target)
        assert new != old
        event = happen(cast)
        body = hooks.event_body(event)
        for later, good in ((timedelta(hours=23), [old, new]), (timedelta(hours=25), [new])):
            with time_machine.travel(datetime.now(UTC) + later, tick=False):
                headers = hooks.signed_headers(target, event, body, datetime.now(UTC))
                assert [s for s in (old, new) if _verifies(s, body, headers)] == good

    def test_a_new_key_of_the_installation_leaves_known_secrets_valid(self, cast: Cast, settings: Any) -> None:
        target = endpoint(cast)
        known = secret_of(target)
        settings.SECRET_KEY_FALLBACKS, settings.SECRET_KEY = [settings.SECRET_KEY], "x1" * 30
        event = happen(cast)
        body = hooks.event_body(event)
        assert _verifies(known, body, hooks.signed_headers(target, event, body, datetime.now(UTC)))

    def test_the_database_holds_no_secret(self, cast: Cast) -> None:
        target = endpoint(cast)
        stored = WebhookEndpoint.objects.within(cast.fleet).values().get(pk=target.pk)
        assert secret_of(target).removeprefix("whsec_") not in json.dumps(stored, default=str)


def _verifies(secret: str, body: bytes, headers: dict[str, str]) -> bool:
    try:
        standardwebhooks.Webhook(secret).verify(body.decode(), headers)
    except standardwebhooks.WebhookVerificationError:
        return False
    return True


class TestRelay:
    def test_an_event_goes_to_the_endpoints_that_asked_for_its_kind(self, cast: Cast, strangers: Cast) -> None:
        every, some = endpoint(cast), endpoint(cast, kinds=["finding.opened"])
        off = endpoint(cast)
        change_endpoint(cast.access, off, disabled=True)
        endpoint(strangers)
        happen(cast, "finding.opened")
        happen(cast, "job.closed")
        told = {(row.endpoint_id, row.event.kind) for row in deliveries(cast)}
        assert told == {(every.pk, "finding.opened"), (every.pk, "job.closed"), (some.pk, "finding.opened")}
        assert deliveries(strangers) == []

    def test_relaying_twice_tells_once(self, cast: Cast) -> None:
        endpoint(cast)
        event = happen(cast)
        Event.objects.within(cast.fleet).filter(pk=event.pk).update(relayed_at=None)  # a relay that died before its end
        assert relay_waiting() == 1
        assert relay_waiting() == 0
        assert len(deliveries(cast)) == 1

    def test_an_inspection_is_told_with_what_it_found(
        self, cast: Cast, django_capture_on_commit_callbacks: Any
    ) -> None:
        with receiving() as receiver:
            endpoint(cast, receiver.url)
            with django_capture_on_commit_callbacks(execute=True):
                inspect(cast.access, cast.vehicle, grade="major")
            assert receiver.got == [], "nobody waits for somebody else's server"
            send_hooks()
        kinds = [json.loads(body)["type"] for _, body in receiver.got]
        assert sorted(kinds) == ["finding.opened", "inspection.completed"]
        finding = next(json.loads(body)["data"] for _, body in receiver.got if b"finding.opened" in body)
        assert finding["grade"] == "major"
        assert finding["vehicle"] == str(cast.vehicle.pk)

    def test_what_was_rolled_back_was_never_told(self, cast: Cast) -> None:
        from django.db import transaction

        endpoint(cast)
        with transaction.atomic():
            record_event(cast.fleet, kind=EventKind.JOB_CLOSED)
            transaction.set_rollback(True)
        assert relay_waiting() == 0


class TestRepeating:
    def test_a_receiver_down_for_an_hour_gets_everything_afterwards(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        endpoint(cast)
        with time_machine.travel(NOW, tick=False) as clock:
            for number in range(5):
                happen(cast, number=number)
            answering(monkeypatch, outbound.Unreachable("down"))
            for minute in range(60):
                clock.move_to(NOW + timedelta(minutes=minute))
                send_hooks()
            answering(monkeypatch, 200)
            for minute in range(60, 180, 5):
                clock.move_to(NOW + timedelta(minutes=minute))
                send_hooks()
        assert [row.state for row in deliveries(cast)] == [QueueState.SENT] * 5

    def test_the_pauses_grow_over_days_and_then_it_is_given_up(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        endpoint(cast)
        with time_machine.travel(NOW, tick=False) as clock:
            happen(cast)
            called = answering(monkeypatch, 500)
            pauses = []
            for _ in range(10):
                (row,) = deliveries(cast)
                clock.move_to(row.not_before)
                before = row.not_before
                send_hooks()
                pauses.append(deliveries(cast)[0].not_before - before)
        assert len(called) == 10
        assert deliveries(cast)[0].state == QueueState.GIVEN_UP
        assert pauses[:-1] == sorted(pauses[:-1])
        assert timedelta(days=3) < sum(pauses, timedelta()) < timedelta(days=5)

    def test_gone_switches_the_endpoint_off(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        target = endpoint(cast)
        happen(cast, number=1)
        happen(cast, number=2)
        called = answering(monkeypatch, 410)
        send_hooks()
        target.refresh_from_db()
        assert target.disabled_because == "It answered 410 Gone."
        assert len(called) == 1
        change_endpoint(cast.access, target, disabled=False)
        answering(monkeypatch, 200)
        send_hooks()
        assert sorted(row.state for row in deliveries(cast)) == [QueueState.BOUNCED, QueueState.SENT]

    @pytest.mark.parametrize("status", [301, 307, 400, 404, 500, 503])
    def test_only_2xx_is_success(self, cast: Cast, monkeypatch: pytest.MonkeyPatch, status: int) -> None:
        endpoint(cast)
        happen(cast)
        answering(monkeypatch, status)
        send_hooks()
        (row,) = deliveries(cast)
        assert (row.state, row.status, row.refusals) == (QueueState.WAITING, status, 1)

    def test_who_does_not_answer_holds_up_nobody_else(
        self, cast: Cast, strangers: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        slow, good = endpoint(cast, "http://127.0.0.1:9/slow"), endpoint(strangers, "http://127.0.0.1:9/good")
        with time_machine.travel(NOW) as clock:
            for number in range(20):
                happen(cast, number=number)
            happen(strangers)
            called: list[str] = []

            def post(url: str, *_: Any, **__: Any) -> outbound.Reply:
                called.append(url)
                if url == slow.url:
                    clock.shift(10)  # what a receiver that never answers takes
                    raise outbound.Unreachable("timeout")
                return outbound.Reply(200, b"")

            monkeypatch.setattr(outbound, "post", post)
            send_hooks()
        assert deliveries(strangers)[0].state == QueueState.SENT
        assert called.count(slow.url) == 1
        assert good.url in called

    def test_a_worker_that_died_leaves_the_row_to_another_after_the_lease(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        class Killed(BaseException):
            """Stands for a process that is gone: nothing after it runs."""

        endpoint(cast)
        with time_machine.travel(NOW, tick=False) as clock:
            happen(cast)
            monkeypatch.setattr(outbound, "post", lambda *_, **__: (_ for _ in ()).throw(Killed))
            with pytest.raises(Killed):
                send_hooks()
            called = answering(monkeypatch, 200)
            send_hooks()
            assert called == []
            clock.shift(121)
            send_hooks()
        assert len(called) == 1
        assert deliveries(cast)[0].state == QueueState.SENT

    def test_a_row_that_kills_its_worker_three_times_is_parked_and_said_so(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch, caplog: Any
    ) -> None:
        class Killed(BaseException):
            """Stands for a process that is gone."""

        endpoint(cast)
        monkeypatch.setattr(outbound, "post", lambda *_, **__: (_ for _ in ()).throw(Killed))
        with time_machine.travel(NOW, tick=False) as clock:
            happen(cast)
            for _ in range(3):
                with pytest.raises(Killed):
                    send_hooks()
                clock.shift(121)
            assert send_hooks() == 0
            hooks.park_hooks()
        assert deliveries(cast)[0].state == QueueState.PARKED
        assert [record.levelname for record in caplog.records] == ["ERROR"]

    def test_a_late_settlement_does_not_overwrite_the_next_workers_claim(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        endpoint(cast)
        with time_machine.travel(NOW, tick=False) as clock:
            happen(cast)

            real = hooks._conclude

            def conclude(row: WebhookDelivery, reply: Any) -> Any:
                clock.shift(121)  # longer than the lease: another worker takes it and is told 200
                monkeypatch.setattr(hooks, "_conclude", real)
                answering(monkeypatch, 200)
                assert send_hooks() == 1
                return real(row, reply)

            answering(monkeypatch, 500)
            monkeypatch.setattr(hooks, "_conclude", conclude)
            assert send_hooks() == 0
        assert deliveries(cast)[0].state == QueueState.SENT


class TestManyAtOnce:
    def test_an_endpoint_that_did_not_answer_is_left_alone_for_a_minute(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        endpoint(cast)
        with time_machine.travel(NOW, tick=False) as clock:
            happen(cast, number=1)
            called = answering(monkeypatch, outbound.Unreachable("silence"), 200)
            send_hooks()
            happen(cast, number=2)
            clock.shift(50)
            assert send_hooks() == 0
            assert len(called) == 1
            clock.shift(11)
            assert send_hooks() == 2

    def test_a_long_queue_before_a_slow_receiver_does_not_hide_the_others(
        self, cast: Cast, strangers: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """More rows than are looked at in one go, all before the other's in the order of sending."""
        monkeypatch.setattr(lanes, "_LOOK_AHEAD", 3)
        monkeypatch.setattr(lanes, "LOOK_EVERY_SECONDS", 0.01)
        slow = endpoint(cast, "http://127.0.0.1:9/slow")
        for number in range(5):
            happen(cast, number=number)
        endpoint(strangers, "http://127.0.0.1:9/good")
        happen(strangers)
        told = threading.Event()
        order: list[str] = []

        def post(url: str, *_: Any, **__: Any) -> outbound.Reply:
            if url == slow.url:
                assert told.wait(20), "the other waited for the slow one"
            order.append(url)
            told.set()
            return outbound.Reply(200, b"")

        monkeypatch.setattr(outbound, "post", post)
        assert send_hooks() == 6
        assert order == ["http://127.0.0.1:9/good", *[slow.url] * 5]

    def test_a_second_run_leaves_everything_to_the_one_that_sends(
        self, cast: Cast, strangers: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Or a receiver that does not answer would hold every worker process, one after the other."""
        endpoint(cast)
        happen(cast)
        first = deliveries(cast)[0]
        with time_machine.travel(NOW, tick=False) as clock:
            WebhookDelivery.objects.within(cast.fleet).update(not_before=NOW)
            assert queue.claim(first)
            endpoint(strangers)
            happen(strangers)
            called = answering(monkeypatch, 200)
            clock.shift(hooks.CALL_LASTS_AT_MOST - timedelta(seconds=1))
            assert send_hooks() == 0
            clock.shift(2)
            assert send_hooks() == 1, "who has said nothing for longer than a call lasts is dead"
        assert len(called) == 1

    def test_no_endpoint_is_called_twice_at_the_same_time(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        endpoint(cast)
        for number in range(4):
            happen(cast, number=number)
        now_called, most = [0], [0]

        def post(*_: Any, **__: Any) -> outbound.Reply:
            now_called[0] += 1
            most[0] = max(most[0], now_called[0])
            time.sleep(0.005)
            now_called[0] -= 1
            return outbound.Reply(200, b"")

        monkeypatch.setattr(outbound, "post", post)
        assert send_hooks() == 4
        assert most == [1]


class TestByHand:
    def test_a_test_is_sent_whatever_kinds_were_asked_for(self, cast: Cast) -> None:
        with receiving() as receiver:
            target = endpoint(cast, receiver.url, kinds=["job.closed"])
            try_endpoint(cast.access, target)
            send_hooks()
        assert json.loads(receiver.got[0][1])["type"] == "test"

    def test_a_replay_carries_the_same_id_and_body(self, cast: Cast) -> None:
        with receiving() as receiver:
            endpoint(cast, receiver.url)
            happen(cast, note="once")
            send_hooks()
            replay(cast.access, deliveries(cast)[0])
            send_hooks()
        first, second = receiver.got
        assert first[0]["webhook-id"] == second[0]["webhook-id"]
        assert first[1] == second[1]


@pytest.mark.parametrize("count", [1, 6])
def test_relaying_takes_the_same_queries_however_much_happened(
    cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    endpoint(cast)
    for _ in range(count):
        record_event(cast.fleet, kind=EventKind.JOB_CLOSED)
    # fleet, events, savepoint, endpoints, deliveries, mark, release, events again
    with django_assert_num_queries(8):
        assert relay_events(cast.fleet.pk) == count


def test_sending_one_takes_two_queries_and_three_looks(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    answering(monkeypatch, 200)
    monkeypatch.setattr(lanes, "LOOK_EVERY_SECONDS", 60.0)
    endpoint(cast)
    counts = []
    for size in (1, 5):
        for _ in range(size):
            happen(cast)
        with CaptureQueriesContext(connection) as seen:
            send_hooks()
        counts.append(len(seen) - 2 * size)
    # A claim and a settlement each; whether another run sends, and two looks for what is ready.
    assert counts == [3, 3]
