"""Each of the eight main flows with each of its calls failing once: all or nothing, and a repetition succeeds."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.db import connection, transaction
from django.test.client import encode_multipart
from django.utils import timezone
from rest_framework.test import APIClient

from fleetcare.portal.exchange import jobs as exchange
from fleetcare.portal.models import ExchangeJob
from fleetcare.support import stored_files
from inspections.models import Photo
from scheduling.services.estimates import answer_estimate, estimate_behind
from scheduling.services.letters.making import make_letters
from scheduling.services.letters.sending import send_letters
from scheduling.services.notices import make_notices
from tests.conftest import Cast
from tests.inspections.given import PADS, inspect, result
from tests.inspections.photos.pictures import upload
from tests.scheduling.reminders.given import daily, due_item
from tests.scheduling.work_given import PADS_JOB, day, job, line, sent
from tests.trust.faults import Faults, failing, rows_of

pytestmark = [pytest.mark.slow, pytest.mark.django_db, pytest.mark.timeout(900)]

FORM = "a-boundary-of-the-client"
TABLE = b"vehicle,date,km\nHome car,2025-10-03,120500\nHome car,2025-11-03,121500\n"


@dataclass
class Flow:
    """A thing somebody does. `act` raises where it was not confirmed; what it did may then be repeated."""

    act: Callable[[], None]
    whole: frozenset[str] = frozenset()
    """Tables in which a flow of several transactions may stand between nothing and all; empty: none."""
    minutes_to_repeat: int = 0
    """How long a worker's hold on what it had begun lasts."""
    calls: Counter[str] = field(default_factory=Counter)


class Client:
    """An owner's program that repeats itself with its key until it is answered."""

    def __init__(self, cast: Cast) -> None:
        self._client = APIClient(raise_request_exception=False)
        self._client.credentials(HTTP_AUTHORIZATION=f"Bearer {cast.key()}")
        self._at = f"/api/v1/fleets/{cast.fleet.pk}/"

    def post(self, place: str, body: Any = None, form: dict[str, Any] | None = None) -> Any:
        data = encode_multipart(FORM, form) if form else json.dumps(body or {})
        kind = f"multipart/form-data; boundary={FORM}" if form else "application/json"
        answer = self._client.post(self._at + place, data, content_type=kind, HTTP_IDEMPOTENCY_KEY=place)
        if answer.status_code >= 500:
            assert answer.status_code in {500, 503, 507}
            assert answer["Content-Type"] == "application/problem+json"
            raise ConnectionError(answer.json()["title"])
        assert answer.status_code < 300, answer.content
        return answer.json()


def vehicle(cast: Cast) -> Flow:
    client = Client(cast)
    return Flow(lambda: client.post("vehicles/", {"name": "Old van", "first_used_on": "2009-03-04"}))


def inspection(cast: Cast) -> Flow:
    client = Client(cast)
    body = {
        "inspected_on": "2024-05-01", "odometer_km": 187450, "sheet": "full",
        "results": [result(PADS, "front-left", measurement={"value": 3.5, "unit": "mm"}), result(grade="major")],
    }  # fmt: skip
    return Flow(lambda: client.post(f"vehicles/{cast.vehicle.pk}/inspections/", body))


def closing(cast: Cast) -> Flow:
    inspect(cast.access, cast.vehicle, result(PADS, "front-left", grade="major"))
    client, work = Client(cast), job(cast.access, cast.vehicle)
    body = {
        "done_on": str(day(cast.access)), "odometer_km": 120_500, "hours": 1.5, "removal": "worn-out",
        "parts": [{"description": "pads", "price": {"amount": "45.50", "currency": "EUR"}}],
    }  # fmt: skip
    return Flow(lambda: client.post(f"vehicles/{cast.vehicle.pk}/jobs/{work.pk}/close/", body))


def reminder(cast: Cast) -> Flow:
    daily(cast)
    due_item(cast.vehicle, day(cast.access))
    make_notices()
    make_letters()

    def act() -> None:
        send_letters()
        if not mail.outbox:
            raise ConnectionError("nothing went out")

    return Flow(act, minutes_to_repeat=180)


def bringing_in(cast: Cast) -> Flow:
    client = Client(cast)

    def run(found: dict[str, Any]) -> None:
        exchange.run_exchange(cast.fleet.pk, found["id"])
        row = ExchangeJob.objects.within(cast.fleet).get(pk=found["id"])
        if row.state not in {"done", "failed"}:
            raise ConnectionError(row.state)
        assert row.state == "done", row.problem

    def act() -> None:
        asked = client.post("imports/", form={"what": "odometer", "file": upload(TABLE, "t.csv")})
        run(asked)
        client.post(f"imports/{asked['id']}/store/", {})
        run(asked)

    return Flow(act, frozenset({"ExchangeJob", "KeptAnswer", "AuditEntry"}), minutes_to_repeat=11)


def photo(cast: Cast) -> Flow:
    client = Client(cast)
    where = f"vehicles/{cast.vehicle.pk}/photos/"
    return Flow(lambda: client.post(where, form={"of": "vehicle", "photo": upload()}))


def estimate(cast: Cast) -> Flow:
    _, token = sent(cast.access, cast.vehicle, line("A", safety=True), line("B"))
    rows = list(estimate_behind(token)[1].lines.all())
    choices = {rows[0].pk: rows[0].options.all()[0].pk, rows[1].pk: None}
    return Flow(lambda: answer_estimate(token, name="M. Meise", choices=choices))


def plan(cast: Cast) -> Flow:
    inspect(cast.access, cast.vehicle, result(PADS, "front-left", grade="major"))
    job(cast.access, cast.vehicle, PADS_JOB)
    client = Client(cast)
    visit = {"date": str(day(cast.access, -7)), "hours": 6, "budget": {"amount": "300.00", "currency": "EUR"}}
    return Flow(lambda: client.post("plans/", {"visits": [visit]}))


FLOWS: dict[str, Callable[[Cast], Flow]] = {
    "a vehicle is added": vehicle,
    "an inspection is sent": inspection,
    "a job is closed": closing,
    "a reminder goes out": reminder,
    "a table is brought in": bringing_in,
    "a photo is sent": photo,
    "an estimate is answered": estimate,
    "a plan is made": plan,
}


@contextmanager
def _undone() -> Iterator[None]:
    """A try whose traces go at its end."""
    point = transaction.savepoint()
    try:
        yield
    finally:
        connection.needs_rollback = False
        transaction.savepoint_rollback(point)


def _acted(flow: Flow, at: int, bells: Any) -> tuple[Faults, Exception | None]:
    """The flow with its call number `at` failing, and what came of it."""
    error: Exception | None = None
    with failing(at) as faults, bells(execute=True):
        try:
            flow.act()
        except Exception as raised:  # noqa: BLE001 - whatever a caller would be told
            error = raised
            # A statement outside any transaction of ours stands alone; only the test's own surrounds it.
            connection.needs_rollback = False
    return faults, error


def _files_are_there(cast: Cast) -> bool:
    photos = [name for row in Photo.objects.within(cast.fleet) for name in (row.picture, row.thumbnail)]
    sent_in = [row.upload for row in ExchangeJob.objects.within(cast.fleet) if row.upload]
    return all(stored_files.path_of(name).exists() for name in photos + sent_in)


def _one_try(cast: Cast, flow: Flow, at: int, before: Any, whole: Any, bells: Any) -> bool:
    """Fails the call, looks at what is stored, repeats; False where there was no such call any more."""
    faults, error = _acted(flow, at, bells)
    if not faults.struck:
        assert error is None
        return False
    for name in (before | whole).keys() - flow.whole:
        stored = rows_of(cast.fleet).get(name, 0)
        assert stored in {before.get(name, 0), whole.get(name, 0)}, f"call {at}: {stored} of {name}"
    if not flow.whole:
        assert rows_of(cast.fleet) in (before, whole), f"call {at}: neither nothing nor all"
    if error is None:
        assert rows_of(cast.fleet) == whole, f"call {at}: confirmed, and not all there"
    assert _files_are_there(cast)
    with time_machine.travel(timezone.now() + timedelta(minutes=flow.minutes_to_repeat)):
        if error is not None:
            _, again = _acted(flow, 0, bells)
            assert again is None, f"call {at}: repeated, {again!r}"
    assert rows_of(cast.fleet) == whole, f"call {at}: repeated, and not the same"
    assert _files_are_there(cast)
    return True


@pytest.mark.parametrize("name", FLOWS)
def test_a_flow_that_breaks_off_anywhere_leaves_all_or_nothing_and_can_be_repeated(
    cast: Cast, name: str, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    settings.BELL = "broker"
    bells = django_capture_on_commit_callbacks
    flow = FLOWS[name](cast)
    before = rows_of(cast.fleet)
    with _undone():
        faults, error = _acted(flow, 0, bells)
        assert error is None
        whole = rows_of(cast.fleet)
    tries = faults.calls.total()
    assert tries >= 5
    for at in range(1, tries + 2):
        mail.outbox.clear()
        with _undone():
            went_on = _one_try(cast, flow, at, before, whole, bells)
        assert len({message.extra_headers["Message-ID"] for message in mail.outbox}) <= 1
        if not went_on:
            break
    else:
        pytest.fail("the flow never ran clean")
    print(f"{name}: {dict(faults.calls)}, each failed once")
