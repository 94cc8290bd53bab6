"""The log of reminders and everybody's choice, over the API."""

from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine

from fleetcare.fleet.words import Role
from scheduling.models import ReminderChoice
from tests.conftest import Cast
from tests.contract import ContractClient
from tests.scheduling.reminders.given import contact, daily, due_item, tell

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _noon() -> Any:
    with time_machine.travel(NOON, tick=False):
        yield


def at(cast: Cast, *rest: object) -> str:
    return "/".join(["", "api", "v1", "fleets", str(cast.fleet.pk), *map(str, rest), ""])


def member(cast: Cast, role: Role) -> Any:
    return cast.members[role].memberships.get().pk


def test_the_log_says_what_was_sent_to_whom_and_why(api: Any, cast: Cast) -> None:
    daily(cast)
    item = due_item(cast.vehicle, NOON.date())
    tell()
    (row,) = api.get(at(cast, "reminders")).json()["items"]
    assert (row["state"], row["subject"]) == ("sent", "Due now: Insurance, Home car")
    assert row["reader"]["email"] == "owner@home.example"
    assert row["told"] == [
        {
            "vehicle": str(cast.vehicle.pk), "due_item": str(item.pk), "what": "Insurance",
            "due_on": "2026-06-15", "stage": "due",
        }
    ]  # fmt: skip


def test_viewers_see_no_addresses(client_of: Any, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    import smtplib

    def refuse(*_: Any) -> int:
        raise smtplib.SMTPRecipientsRefused({"a": (550, b"<owner@home.example> is unknown")})

    monkeypatch.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", refuse)
    daily(cast)
    due_item(cast.vehicle, NOON.date())
    tell()
    seen = client_of(Role.VIEWER).get(at(cast, "reminders"))
    assert b"owner@home.example" not in seen.content
    assert seen.json()["items"][0]["state"] == "bounced"
    assert b"owner@home.example" in client_of(Role.PLANNER).get(at(cast, "reminders")).content


@pytest.mark.parametrize("count", [1, 6])
def test_the_log_takes_the_same_queries_however_long_it_is(
    api: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    daily(cast)
    for number in range(count):
        due_item(cast.vehicle, NOON.date(), what=f"Thing {number}", safety=bool(number % 2))
        tell()
        ReminderChoice.objects.within(cast.fleet).update(last_slot_on=None)
    api.get(at(cast, "reminders"))  # the key's first use is noted
    with django_assert_num_queries(3):  # key, letters with readers, what they told
        assert len(api.get(at(cast, "reminders")).json()["items"]) == count


def test_a_member_chooses_for_themselves_and_nobody_else(cast: Cast) -> None:
    viewer = ContractClient()
    viewer.force_login(cast.members[Role.VIEWER])
    mine, theirs = (
        at(cast, "members", member(cast, Role.VIEWER), "reminders"),
        at(cast, "members", member(cast, Role.OWNER), "reminders"),
    )
    assert viewer.get(mine).json()["rhythm"] == "weekly"
    changed = viewer.patch(mine, {"rhythm": "daily", "unwanted_kinds": ["tax", "tax"], "time_zone": "Asia/Tokyo"})
    assert (changed.status_code, changed.json()["unwanted_kinds"]) == (200, ["tax"])
    assert viewer.patch(theirs, {"rhythm": "never"}).status_code == 403


def test_reading_a_choice_never_made_stores_nothing(api: Any, cast: Cast) -> None:
    api.get(at(cast, "members", member(cast, Role.OWNER), "reminders"))
    assert not ReminderChoice.objects.within(cast.fleet).exists()


def test_a_planner_chooses_for_a_contact_and_a_stale_choice_is_refused(client_of: Any, cast: Cast) -> None:
    planner, where = client_of(Role.PLANNER), at(cast, "contacts", contact(cast).pk, "reminders")
    first = planner.patch(where, {"rhythm": "monthly", "month_day": 31})
    assert first.json()["month_day"] == 31
    assert planner.patch(where, {"hour": 8}, HTTP_IF_MATCH=first["ETag"]).status_code == 200
    assert planner.patch(where, {"hour": 9}, HTTP_IF_MATCH=first["ETag"]).status_code == 412


@pytest.mark.parametrize(
    ("given", "pointer"),
    [
        ({"time_zone": "Mars/Base"}, "/time_zone"),
        ({"hour": 24}, "/hour"),
        ({"weekday": 7}, "/weekday"),
        ({"month_day": 0}, "/month_day"),
        ({"first_lead_days": 5, "second_lead_days": 5}, "/second_lead_days"),
        ({"unwanted_kinds": ["nonsense"]}, "/unwanted_kinds/0"),
        ({"rhythm": "hourly"}, "/rhythm"),
        ({"language": "x'; drop"}, "/language"),
        ({"rythm": "daily"}, "/rythm"),
    ],
)
def test_a_wrong_choice_is_named_and_changes_nothing(api: Any, cast: Cast, given: Any, pointer: str) -> None:
    where = at(cast, "members", member(cast, Role.OWNER), "reminders")
    answer = api.patch(where, given)
    assert answer.status_code == 400
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert not ReminderChoice.objects.within(cast.fleet).exists()


def test_choosing_again_lets_a_refused_address_be_tried(api: Any, cast: Cast) -> None:
    choice = daily(cast, bounces=3)
    where = at(cast, "members", choice.membership_id, "reminders")
    assert api.get(where).json()["address_refused"]
    assert not api.patch(where, {"hour": 9}).json()["address_refused"]


def test_a_member_says_which_vehicles_they_do_not_want_to_hear_of(client_of: Any, cast: Cast, strangers: Cast) -> None:
    mine = at(cast, "members", member(cast, Role.VIEWER), "reminders")
    owner = client_of(Role.OWNER)
    changed = owner.patch(mine, {"unwanted_vehicles": [str(cast.vehicle.pk)]}, format="json")
    assert changed.json()["unwanted_vehicles"] == [str(cast.vehicle.pk)]
    assert owner.patch(mine, {"rhythm": "daily"}, format="json").json()["unwanted_vehicles"] == [str(cast.vehicle.pk)]
    refused = owner.patch(mine, {"unwanted_vehicles": [str(strangers.vehicle.pk)]}, format="json")
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/unwanted_vehicles/0"]
    assert owner.patch(mine, {"unwanted_vehicles": []}, format="json").json()["unwanted_vehicles"] == []


def test_what_a_contact_hears_of_stands_at_the_contact(api: Any, cast: Cast) -> None:
    theirs = at(cast, "contacts", contact(cast, cast.vehicle).pk, "reminders")
    refused = api.patch(theirs, {"unwanted_vehicles": [str(cast.vehicle.pk)]}, format="json")
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/unwanted_vehicles"]
