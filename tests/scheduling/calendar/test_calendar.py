"""The calendar of what is due: as RFC 5545 and RFC 7986 say, by a secret address that can be revoked."""

import json
import logging
from datetime import UTC, date, datetime, timedelta
from typing import Any

import icalendar
import pytest
import time_machine
from django.test import Client

from fleetcare.fleet.words import Role
from fleetcare.support.logs import JsonFormatter
from scheduling.models import CalendarLink, DueItem
from scheduling.services.calendar_links import make_calendar_link
from tests.conftest import Cast
from tests.scheduling.reminders.given import contact, due_item

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
TODAY = NOON.date()


@pytest.fixture(autouse=True)
def clock() -> Any:
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


def subscribed(cast: Cast, **whom: Any) -> str:
    """The path of a new link; without `whom` it is the owner's."""
    owner = cast.members[Role.OWNER].memberships.get()
    return make_calendar_link(cast.access, **(whom or {"member": owner.pk}))[1].removeprefix("http://localhost:8000")


def read(path: str, **headers: str) -> Any:
    return Client(headers=headers).get(path)


def events(path: str) -> list[icalendar.Event]:
    calendar = icalendar.Calendar.from_ical(read(path).content)
    return list(calendar.walk("VEVENT"))


class TestForm:
    def test_the_calendar_has_what_the_standards_demand(self, cast: Cast) -> None:
        """RFC 5545: PRODID and VERSION (3.6), UID and DTSTAMP (3.6.1); RFC 7986: NAME, REFRESH-INTERVAL (5.1, 5.7)."""
        due_item(cast.vehicle, TODAY)
        answer = read(subscribed(cast))
        calendar = icalendar.Calendar.from_ical(answer.content)
        assert answer["Content-Type"] == "text/calendar; charset=utf-8"
        assert (calendar["VERSION"], calendar["NAME"], calendar["X-WR-CALNAME"]) == ("2.0", "Due: Home", "Due: Home")
        assert b"REFRESH-INTERVAL;VALUE=DURATION:PT6H" in answer.content
        assert calendar["PRODID"]
        (event,) = calendar.walk("VEVENT")
        assert event["UID"]
        assert event["DTSTAMP"].dt.tzinfo is not None

    def test_lines_end_and_fold_as_they_must(self, cast: Cast) -> None:
        """RFC 5545 section 3.1: CRLF, at most 75 octets a line, never inside a character; 3.3.11: TEXT is escaped."""
        what = "Öl; Filter, \\ und\nviel mehr " + "ü" * 60
        due_item(cast.vehicle, TODAY, what=what)
        body = read(subscribed(cast)).content
        lines = body.split(b"\r\n")
        assert b"\n" not in b"".join(lines)
        assert max(map(len, lines)) <= 75
        for line in lines:
            line.decode()
        assert str(events(subscribed(cast))[0]["SUMMARY"]) == f"Home car: {' '.join(what.split())}"

    def test_a_due_day_is_a_whole_day_that_ends_with_the_next(self, cast: Cast) -> None:
        """RFC 5545 section 3.6.1: the end of VALUE=DATE is exclusive; section 3.8.2.7."""
        due_item(cast.vehicle, date(2026, 12, 31))
        path = subscribed(cast)
        assert b"DTSTART;VALUE=DATE:20261231" in read(path).content
        assert b"DTEND;VALUE=DATE:20270101" in read(path).content
        (event,) = events(path)
        assert (event["TRANSP"], event["STATUS"]) == ("TRANSPARENT", "CONFIRMED")
        assert "An aid, no certificate" in event["DESCRIPTION"]

    def test_it_speaks_the_readers_language(self, cast: Cast) -> None:
        type(cast.members[Role.OWNER]).objects.update(language="de")
        due_item(cast.vehicle, TODAY, due_shown_km=91_000)
        (event,) = events(subscribed(cast))
        assert event["DESCRIPTION"].startswith("bei 91.000 km, am 15.06.2026")
        assert "Eine Hilfe, kein Zeugnis" in event["DESCRIPTION"]


class TestChange:
    def test_a_moved_item_keeps_its_uid_and_raises_its_sequence(self, cast: Cast) -> None:
        """RFC 5545 sections 3.8.4.7 and 3.8.7.4."""
        item = due_item(cast.vehicle, TODAY)
        path = subscribed(cast)
        (before,) = events(path)
        DueItem.objects.within(cast.fleet).filter(pk=item.pk).update(due_on=TODAY + timedelta(days=9), sequence=1)
        (after,) = events(path)
        assert before["UID"] == after["UID"]
        assert (before["SEQUENCE"], after["SEQUENCE"]) == (0, 1)
        assert after["DTSTART"].dt == TODAY + timedelta(days=9)

    def test_what_is_done_is_cancelled_for_30_days_and_then_gone(self, cast: Cast, clock: Any) -> None:
        item = due_item(cast.vehicle, TODAY)
        path = subscribed(cast)
        DueItem.objects.within(cast.fleet).filter(pk=item.pk).update(closed_on=TODAY)
        assert [event["STATUS"] for event in events(path)] == ["CANCELLED"]
        clock.move_to(NOON + timedelta(days=30))
        assert [event["STATUS"] for event in events(path)] == ["CANCELLED"]
        clock.move_to(NOON + timedelta(days=31))
        assert events(path) == []

    def test_an_unchanged_calendar_is_not_sent_again(self, cast: Cast, clock: Any) -> None:
        item = due_item(cast.vehicle, TODAY)
        path = subscribed(cast)
        etag = read(path)["ETag"]
        clock.move_to(NOON + timedelta(hours=5))
        for tags in (etag, f'W/{etag}, "x"', "*"):
            answer = read(path, if_none_match=tags)
            assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", etag)
        DueItem.objects.within(cast.fleet).filter(pk=item.pk).update(what="Tax", sequence=1)
        assert read(path, if_none_match=etag).status_code == 200


class TestWhose:
    def test_a_contact_sees_their_vehicles_only_and_no_address_they_cannot_open(self, cast: Cast) -> None:
        due_item(cast.vehicle, TODAY)
        theirs = contact(cast, cast.vehicle)
        nobodys = contact(cast, email="another@else.example")
        (event,) = events(subscribed(cast, contact=theirs.pk))
        assert "URL" not in event
        assert events(subscribed(cast, contact=nobodys.pk)) == []

    def test_no_other_fleet_is_in_it(self, cast: Cast, strangers: Cast) -> None:
        due_item(strangers.vehicle, TODAY, what="Zwrgl")
        assert b"Zwrgl" not in read(subscribed(cast)).content

    def test_a_revoked_link_is_not_found_at_once(self, api: Any, cast: Cast) -> None:
        path = subscribed(cast)
        assert read(path).status_code == 200
        link = CalendarLink.objects.within(cast.fleet).get()
        assert api.delete(f"/api/v1/fleets/{cast.fleet.pk}/calendar-links/{link.pk}/").status_code == 204
        assert read(path).status_code == 404

    def test_the_link_of_a_former_member_is_not_found(self, cast: Cast) -> None:
        path = subscribed(cast)
        cast.members[Role.OWNER].memberships.get().delete()
        assert read(path).status_code == 404

    def test_a_wrong_token_is_not_found(self, db: Any) -> None:
        assert read("/calendar/AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA.ics").status_code == 404

    def test_the_token_is_stored_nowhere(self, cast: Cast) -> None:
        token = subscribed(cast).removeprefix("/calendar/").removesuffix(".ics")
        assert len(token) == 32
        assert token not in str(CalendarLink.objects.within(cast.fleet).values().get())

    def test_the_token_is_in_no_log_line(self, db: Any, caplog: pytest.LogCaptureFixture) -> None:
        token = "AAAAAAAAAAAAAAAA-AAAAAAAAAAAA_AA"
        seen: list[str] = []
        handler = logging.Handler()
        handler.emit = lambda record: seen.append(handler.format(record))  # type: ignore[method-assign]
        handler.setFormatter(JsonFormatter())
        logger = logging.getLogger("django.request")
        logger.addHandler(handler)
        try:
            with caplog.at_level(logging.WARNING, "django.request"):
                read(f"/calendar/{token}.ics")
        finally:
            logger.removeHandler(handler)
        assert [json.loads(line)["message"] for line in seen] == ["Not Found: /calendar/***.ics"]


def test_ids_are_no_secrets_and_stay_readable_in_logs() -> None:
    from fleetcare.support.logs import masked

    line = "/fleets/01939ed1-7e3c-7000-8000-0123456789ab/vehicles/"
    assert masked(line) == line
    assert masked("/reminders/stop/WyJhIiwiYiJd:1wABCd:x_y-zAAAAAAAAAAAAAAA/") == "/reminders/stop/***/"


class TestApi:
    def at(self, cast: Cast) -> str:
        return f"/api/v1/fleets/{cast.fleet.pk}/calendar-links/"

    def test_everybody_makes_their_own_and_sees_only_theirs(self, cast: Cast) -> None:
        from tests.contract import ContractClient

        viewer, owner = ContractClient(), ContractClient()
        viewer.force_login(cast.members[Role.VIEWER])
        owner.force_login(cast.members[Role.OWNER])
        made = viewer.post(self.at(cast), {"name": "phone"})
        assert made.status_code == 201
        assert made.json()["url"].startswith("http://localhost:8000/calendar/")
        owner.post(self.at(cast), {})
        assert len(viewer.get(self.at(cast)).json()["items"]) == 1
        assert len(owner.get(self.at(cast)).json()["items"]) == 2
        assert all("url" not in link for link in owner.get(self.at(cast)).json()["items"])

    def test_a_viewer_makes_none_for_others(self, client_of: Any, cast: Cast) -> None:
        person = contact(cast)
        assert client_of(Role.VIEWER).post(self.at(cast), {"contact": str(person.pk)}).status_code == 403
        assert client_of(Role.PLANNER).post(self.at(cast), {"contact": str(person.pk)}).status_code == 201

    def test_a_foreign_person_is_refused_like_a_missing_one(self, api: Any, cast: Cast, strangers: Cast) -> None:
        import uuid

        foreign = contact(strangers).pk
        answers = [
            api.post(self.at(cast), {"contact": str(pk)}, HTTP_X_REQUEST_ID="same-same")
            for pk in (foreign, uuid.uuid4())
        ]
        assert [answer.status_code for answer in answers] == [400, 400]
        assert answers[0].content == answers[1].content


@pytest.mark.parametrize("count", [1, 8])
def test_a_calendar_takes_the_same_queries_however_much_is_due(
    cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    for number in range(count):
        due_item(cast.vehicle, TODAY, what=f"Thing {number}")
    path = subscribed(cast)
    assert len(events(path)) == count
    with django_assert_num_queries(2):  # the link with its reader, what is due; that it was read is noted once an hour
        read(path)
