"""The tick: every step by itself, nothing twice, and what lags behind is seen."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.test import Client

from fleetcare.fleet.models import Event, Standing
from fleetcare.fleet.services.events import record_event
from scheduling.models import Letter
from scheduling.services import ticking
from scheduling.services.hooks import send_hooks
from scheduling.services.letters.making import make_letters
from scheduling.services.letters.sending import send_letters
from scheduling.services.notices import make_notices
from scheduling.services.webhooks import add_endpoint
from tests.conftest import Cast
from tests.scheduling.reminders.given import daily, due_item
from tests.scheduling.webhooks.receiver import receiving

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


def test_one_tick_brings_what_is_due_to_the_reader_and_the_event_to_the_receiver(
    cast: Cast, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    settings.WEBHOOKS_ALLOW_LOCAL = True
    with receiving() as receiver, time_machine.travel(NOON, tick=False):
        daily(cast)
        # A follow-up: what a rule or the judge made would be withdrawn by the assessment, since neither wants it.
        due_item(cast.vehicle, NOON.date(), kind="follow-up", source="follow-up:of-a-test", what="Wheel alignment")
        add_endpoint(cast.access, url=receiver.url, kinds=["item.due"])
        # What the first tick makes known, the second passes on at the latest; then a worker is rung to send.
        for _ in range(2):
            with django_capture_on_commit_callbacks(execute=True):
                assert ticking.tick() == []
        assert (mail.outbox, receiver.got) == ([], []), "what calls outside is no part of a tick"
        send_letters()
        send_hooks()
    assert [message.subject for message in mail.outbox] == ["Due now: Wheel alignment, Home car"]
    # The judge made an item of its own, for a vehicle nobody has looked at: that is told too.
    assert sum(b"Wheel alignment" in body for _, body in receiver.got) == 1
    assert len({headers["webhook-id"] for headers, _ in receiver.got}) == len(receiver.got)


@pytest.mark.parametrize("broken", ["due items", "events", "notices", "letters", "queues", "assessments", "lives"])
def test_a_step_that_fails_stops_no_other_and_is_logged(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, caplog: Any, broken: str
) -> None:
    went: list[str] = []

    def step(name: str) -> Any:
        def run() -> None:
            went.append(name)
            if name == broken:
                raise RuntimeError("no")

        return run

    monkeypatch.setattr(ticking, "_STEPS", {name: step(name) for name in ticking._STEPS})
    assert ticking.tick() == [broken]
    assert len(went) == len(ticking._STEPS)
    assert f"tick: {broken} failed" in caplog.text
    assert "RuntimeError: no" in caplog.text


def test_the_real_steps_all_go_well_on_an_empty_and_on_a_kept_fleet(cast: Cast) -> None:
    assert ticking.tick() == []
    assert Standing.objects.within(cast.fleet).get().assessed_on is not None


def test_readiness_tells_how_long_the_oldest_mail_waits_and_warns_when_it_is_long(cast: Cast) -> None:
    client = Client()
    with time_machine.travel(NOON, tick=False) as clock:
        assert client.get("/readyz").json()["oldest_delivery_seconds"] is None
        daily(cast)
        due_item(cast.vehicle, NOON.date())
        make_notices()
        make_letters()
        clock.shift(600)
        assert client.get("/readyz").json() == {
            "status": "ready", "reasons": [], "warnings": [], "oldest_delivery_seconds": 600,
        }  # fmt: skip
        clock.shift(600)
        answer = client.get("/readyz")
        assert (answer.status_code, answer.json()["warnings"]) == (200, ["deliveries"])


def test_a_mail_that_waits_for_a_retry_is_not_late(cast: Cast) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        daily(cast)
        due_item(cast.vehicle, NOON.date())
        make_notices()
        make_letters()
        Letter.objects.within(cast.fleet).update(not_before=NOON + timedelta(days=1))
        clock.shift(3600)
        assert ticking.late_since() is None


def test_events_are_forgotten_after_90_days_and_only_those_passed_on(cast: Cast) -> None:
    with time_machine.travel(NOON, tick=False):
        old, waiting = (record_event(cast.fleet, kind="job.closed") for _ in range(2))
        Event.objects.within(cast.fleet).filter(pk=old.pk).update(relayed_at=NOON)
    with time_machine.travel(NOON + timedelta(days=91), tick=False):
        ticking.forget_old_events()
    assert list(Event.objects.within(cast.fleet)) == [waiting]
