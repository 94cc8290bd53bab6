"""The mails: when they come, what they say, in whose words, and what the mail server's answers mean."""

import smtplib
from datetime import UTC, date, datetime, timedelta
from email.utils import parseaddr
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.test import Client

from fleetcare.fleet.models import Event, Standing
from fleetcare.fleet.services.events import record_event
from fleetcare.fleet.words import EventKind, Role
from scheduling.models import Letter, ReminderChoice
from scheduling.services.letters.making import make_letters
from scheduling.services.letters.sending import send_letters
from scheduling.services.notices import make_notices
from scheduling.services.relay import relay_events
from scheduling.words import QueueState
from tests.conftest import Cast
from tests.inspections.given import PADS, inspect, result
from tests.scheduling.reminders.given import choice_of, contact, daily, due_item, tell

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)  # a Monday
TODAY = NOON.date()


@pytest.fixture(autouse=True)
def clock() -> Any:
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


def letters(cast: Cast) -> list[Letter]:
    return list(Letter.objects.within(cast.fleet).order_by("made_at", "pk"))


class TestWords:
    def test_the_subject_says_what_matters_most(self, cast: Cast) -> None:
        daily(cast)
        due_item(cast.vehicle, TODAY + timedelta(days=20), what="Engine oil")
        due_item(cast.vehicle, TODAY - timedelta(days=2), what="Brake fluid")
        due_item(cast.vehicle, TODAY, what="Insurance")
        (message,) = tell()
        assert message.subject == "Overdue: Brake fluid, Home car, and 2 more"
        assert message.body.index("Brake fluid") < message.body.index("Insurance") < message.body.index("Engine oil")

    def test_it_says_when_in_both_parts_and_leads_to_the_vehicle(self, cast: Cast) -> None:
        daily(cast)
        due_item(cast.vehicle, TODAY + timedelta(days=20), what="Engine oil", due_shown_km=91_000, limit_on=None)
        (message,) = tell()
        html = message.alternatives[0][0]
        for part in (message.body, html):
            assert "at 91,000 km, expected about Jul 5, 2026 (in 20 days)" in part
            assert f"http://localhost:8000/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/" in part
            assert "An aid, no certificate" in part
            assert "You get this because you belong to “Home”." in part
        assert "src=" not in html
        assert "<script" not in html

    def test_a_german_reader_gets_german_words_days_and_numbers(self, cast: Cast) -> None:
        daily(cast, language="de")
        due_item(cast.vehicle, TODAY + timedelta(days=1), what="Motoröl", due_shown_km=91_000)
        (message,) = tell()
        assert message.subject == "Fällig am 16.06.2026: Motoröl, Home car"
        assert "bei 91.000 km, am 16.06.2026 (in 1 Tag)" in message.body
        assert "Eine Hilfe, kein Zeugnis" in message.body
        assert "An aid" not in message.body + message.alternatives[0][0]

    def test_a_language_without_words_gets_english_ones(self, cast: Cast) -> None:
        daily(cast, language="fr")
        due_item(cast.vehicle, TODAY)
        assert tell()[0].subject == "Due now: Insurance, Home car"

    def test_miles_stay_miles(self, cast: Cast) -> None:
        type(cast.fleet).objects.filter(pk=cast.fleet.pk).update(distance_unit="mi")
        daily(cast)
        due_item(cast.vehicle, TODAY, due_shown_km=160_934)
        assert "at 100,000 mi" in tell()[0].body

    def test_a_contact_is_given_no_address_they_cannot_open(self, cast: Cast) -> None:
        choice_of(cast, rhythm="never", safety_at_once=False)
        person = contact(cast, cast.vehicle)
        due_item(cast.vehicle, TODAY)
        make_notices()
        ReminderChoice.objects.within(cast.fleet).filter(contact=person).update(last_slot_on=None)
        (message,) = tell()
        assert parseaddr(message.to[0]) == ("Driver", "driver@else.example")
        assert "/vehicles/" not in message.body
        assert "looks after the vehicle and noted your address" in message.body

    def test_nothing_typed_by_anybody_becomes_a_header_or_markup(self, cast: Cast) -> None:
        evil = "Oil\r\nBcc: all@victim.example\r\n\r\n<b>boo</b>"
        type(cast.vehicle).objects.within(cast.fleet).update(name="Car\nX-Evil: yes")
        type(cast.members[Role.OWNER]).objects.filter(pk=cast.members[Role.OWNER].pk).update(name="Eve\r\nCc: x@y.z")
        daily(cast)
        due_item(cast.vehicle, TODAY, what=evil)
        (message,) = tell()
        raw = message.message()
        assert {"Bcc", "X-Evil", "Cc"}.isdisjoint(raw.keys())
        assert len(raw.get_all("To")) == 1
        assert "<b>" not in message.alternatives[0][0]


class TestHeaders:
    def test_they_are_what_mail_programs_and_machines_expect(self, cast: Cast, settings: Any) -> None:
        """RFC 8058: both headers, an https address. RFC 3834: Auto-Submitted. RFC 5322: Message-ID."""
        settings.SITE_URL = "https://fleet.example"
        settings.DEFAULT_FROM_EMAIL = "Reminders <noreply@fleet.example>"
        daily(cast)
        due_item(cast.vehicle, TODAY)
        raw = tell()[0].message()
        address = raw["List-Unsubscribe"].replace("\n", "").replace(" ", "")
        assert address.startswith("<https://fleet.example/reminders/stop/")
        assert address.endswith("/>")
        assert raw["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
        assert raw["Auto-Submitted"] == "auto-generated"
        assert raw["Message-ID"] == f"<{letters(cast)[0].pk.hex}.reminder@fleet.example>"
        assert "Precedence" not in raw
        assert raw.get_content_type() == "multipart/alternative"

    def test_one_click_is_not_promised_where_there_is_no_https(self, cast: Cast) -> None:
        daily(cast)
        due_item(cast.vehicle, TODAY)
        raw = tell()[0].message()
        assert "List-Unsubscribe" in raw
        assert "List-Unsubscribe-Post" not in raw


class TestTiming:
    def test_a_weekly_mail_comes_on_its_day_at_its_hour_and_gathers_what_came_up_meanwhile(
        self, cast: Cast, clock: Any
    ) -> None:
        choice_of(cast, rhythm="weekly", weekday=3, hour=7, last_slot_on=date(2026, 6, 11))
        due_item(cast.vehicle, TODAY + timedelta(days=25), what="Insurance")
        assert tell() == []
        due_item(cast.vehicle, TODAY + timedelta(days=26), what="Tax")
        clock.move_to(datetime(2026, 6, 18, 6, 59, tzinfo=UTC))
        assert tell() == []
        clock.move_to(datetime(2026, 6, 18, 7, 0, tzinfo=UTC))
        (message,) = tell()
        assert "Insurance" in message.body
        assert "Tax" in message.body
        due_item(cast.vehicle, TODAY + timedelta(days=24), what="Warranty")
        assert tell() == []

    def test_the_hour_is_the_readers_through_summer_time(self, cast: Cast, clock: Any) -> None:
        """Berlin put its clocks forward on 29 March 2026 (IANA time zone database): 7:00 is 6:00, then 5:00 UTC."""
        daily(cast, time_zone="Europe/Berlin", hour=7, last_slot_on=date(2026, 3, 27), second_lead_days=None)
        for day, hour in ((28, 6), (29, 5)):
            due_item(cast.vehicle, date(2026, 3, day), lead_days=0, what=f"Thing {day}")
            clock.move_to(datetime(2026, 3, day, hour - 1, 59, tzinfo=UTC))
            assert tell() == []
            clock.move_to(datetime(2026, 3, day, hour, 0, tzinfo=UTC))
            assert len(tell()) == 1

    @pytest.mark.parametrize(("month", "last"), [(2, 28), (4, 30), (5, 31)])
    def test_a_monthly_mail_of_the_31st_comes_on_the_last_of_each_month(
        self, cast: Cast, clock: Any, month: int, last: int
    ) -> None:
        choice_of(cast, rhythm="monthly", month_day=31, hour=0, last_slot_on=date(2026, 1, 31))
        due_item(cast.vehicle, date(2026, month, 20))
        clock.move_to(datetime(2026, month, last - 1, 12, tzinfo=UTC))
        ReminderChoice.objects.within(cast.fleet).update(last_slot_on=date(2026, month - 1, 28))
        tell()
        mail.outbox.clear()
        due_item(cast.vehicle, date(2026, month, 21), what="Tax")
        assert tell() == []
        clock.move_to(datetime(2026, month, last, 12, tzinfo=UTC))
        assert len(tell()) == 1

    def test_safety_does_not_wait_for_the_day_of_the_gathered_mail(self, cast: Cast) -> None:
        choice_of(cast, rhythm="monthly", last_slot_on=TODAY)
        due_item(cast.vehicle, TODAY, what="Insurance")
        due_item(cast.vehicle, TODAY, what="Brake fluid", safety=True)
        (message,) = tell()
        assert "Brake fluid" in message.body
        assert "Insurance" not in message.body

    def test_quiet_hours_are_quiet_and_what_waited_comes_after_them(self, cast: Cast, clock: Any) -> None:
        daily(cast, quiet_from_hour=21, quiet_to_hour=6)
        due_item(cast.vehicle, TODAY, safety=True)
        clock.move_to(datetime(2026, 6, 15, 23, tzinfo=UTC))
        assert tell() == []
        clock.move_to(datetime(2026, 6, 16, 5, 59, tzinfo=UTC))
        assert tell() == []
        clock.move_to(datetime(2026, 6, 16, 6, 0, tzinfo=UTC))
        assert len(tell()) == 1

    def test_no_letter_is_made_in_quiet_hours(self, cast: Cast, clock: Any) -> None:
        """It would be put into words of the evening before, and stand in the log as one that waits."""
        daily(cast, quiet_from_hour=21, quiet_to_hour=6)
        due_item(cast.vehicle, TODAY, safety=True)
        clock.move_to(datetime(2026, 6, 15, 23, tzinfo=UTC))
        make_notices()
        assert make_letters() == 0
        assert letters(cast) == []
        clock.move_to(datetime(2026, 6, 16, 6, tzinfo=UTC))
        assert make_letters() == 1

    def test_a_letter_made_before_the_quiet_hours_is_not_sent_in_them(self, cast: Cast, clock: Any) -> None:
        daily(cast, quiet_from_hour=21, quiet_to_hour=6)
        due_item(cast.vehicle, TODAY)
        make_notices()
        make_letters()
        clock.move_to(datetime(2026, 6, 15, 21, 30, tzinfo=UTC))
        send_letters()
        (letter,) = letters(cast)
        assert mail.outbox == []
        assert letter.not_before == datetime(2026, 6, 16, 6, tzinfo=UTC)
        assert letter.refusals == 0

    def test_what_was_done_before_the_mail_went_out_is_left_out(self, cast: Cast) -> None:
        daily(cast)
        item = due_item(cast.vehicle, TODAY)
        make_notices()
        make_letters()
        type(item).objects.within(cast.fleet).update(closed_on=TODAY)
        send_letters()
        assert mail.outbox == []
        assert letters(cast)[0].state == QueueState.WITHDRAWN


class TestBans:
    def _raised(self, cast: Cast) -> None:
        record_event(
            cast.fleet, kind=EventKind.DO_NOT_DRIVE_RAISED, vehicle=cast.vehicle,
            facts={"dangers": [{"part": "front-brake-pads", "position": "front-left", "why": "The pads are gone."}]},
        )  # fmt: skip
        Standing.objects.within(cast.fleet).update(do_not_drive=True)

    def test_members_and_the_vehicles_contacts_are_told_at_once(self, cast: Cast) -> None:
        contact(cast, cast.vehicle, language="de")
        contact(cast, email="another@else.example")
        self._raised(cast)
        relay_events(cast.fleet.pk)
        relay_events(cast.fleet.pk)
        sent = tell()
        assert len(sent) == 5
        assert {message.subject for message in sent} == {"Do not drive: Home car", "Nicht fahren: Home car"}
        assert all("The pads are gone." in message.body for message in sent)

    def test_nobody_is_told_of_a_ban_that_was_lifted_meanwhile(self, cast: Cast) -> None:
        self._raised(cast)
        relay_events(cast.fleet.pk)
        Standing.objects.within(cast.fleet).update(do_not_drive=False)
        assert tell() == []

    def test_worn_out_brakes_raise_it_once_and_new_ones_lift_it_once(
        self, cast: Cast, clock: Any, django_capture_on_commit_callbacks: Any
    ) -> None:
        for day, thickness in ((1, 0.2), (2, 0.2), (3, 10.0), (4, 10.0)):
            pads = result(PADS, "front-left", measurement={"value": thickness, "unit": "mm"})
            clock.shift(60)
            with django_capture_on_commit_callbacks(execute=True):
                inspect(cast.access, cast.vehicle, pads, inspected_on=date(2026, 6, day), shown_km=120_000 + day)
        kinds = list(Event.objects.within(cast.fleet).order_by("happened_at").values_list("kind", flat=True))
        assert [kind for kind in kinds if kind.startswith("do-not-drive")] == [
            EventKind.DO_NOT_DRIVE_RAISED,
            EventKind.DO_NOT_DRIVE_LIFTED,
        ]
        assert kinds.count(EventKind.FINDING_OPENED) == 1
        assert kinds.count(EventKind.INSPECTION_COMPLETED) == 4


class TestAnswers:
    """What a mail server's words mean (RFC 5321: 4xx for the time being, 5xx for good)."""

    @pytest.fixture
    def refuse(self, monkeypatch: pytest.MonkeyPatch) -> Any:
        def with_error(error: Exception | None) -> None:
            def send_messages(backend: Any, messages: Any) -> int:
                if error is not None:
                    raise error
                mail.outbox.extend(messages)
                return len(messages)

            monkeypatch.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", send_messages)

        return with_error

    def _one(self, cast: Cast) -> None:
        daily(cast)
        due_item(cast.vehicle, TODAY)
        make_notices()
        make_letters()

    def test_not_now_is_tried_again_after_growing_pauses_with_the_same_message_id(
        self, cast: Cast, refuse: Any, clock: Any
    ) -> None:
        self._one(cast)
        refuse(smtplib.SMTPRecipientsRefused({"a": (451, b"greylisted")}))
        send_letters()
        (letter,) = letters(cast)
        assert (letter.state, letter.refusals, letter.answer) == (QueueState.WAITING, 1, "451 greylisted")
        assert letter.not_before == NOON + timedelta(minutes=5)
        send_letters()
        assert letters(cast)[0].refusals == 1
        clock.move_to(letter.not_before)
        send_letters()
        assert letters(cast)[0].not_before == letter.not_before + timedelta(minutes=30)
        assert letters(cast)[0].attempts == 0
        refuse(None)
        clock.move_to(NOON + timedelta(hours=2))
        send_letters()
        assert letters(cast)[0].state == QueueState.SENT
        assert mail.outbox[0].extra_headers["Message-ID"].startswith(f"<{letter.pk.hex}")

    def test_never_is_a_bounce_and_after_three_the_address_is_left_alone(
        self, cast: Cast, refuse: Any, clock: Any
    ) -> None:
        refuse(smtplib.SMTPRecipientsRefused({"a": (550, b"no such mailbox")}))
        daily(cast)
        for number in range(4):
            clock.move_to(NOON + timedelta(days=number))
            due_item(cast.vehicle, (NOON + timedelta(days=number)).date(), what=f"Thing {number}")
            tell()
        rows = letters(cast)
        assert [row.state for row in rows] == [QueueState.BOUNCED] * 3
        assert rows[0].answer == "550 no such mailbox"

    def test_after_days_of_not_now_it_is_given_up(self, cast: Cast, refuse: Any, clock: Any) -> None:
        self._one(cast)
        refuse(smtplib.SMTPDataError(452, b"full"))
        for _ in range(11):
            clock.move_to(letters(cast)[0].not_before)
            send_letters()
        (letter,) = letters(cast)
        assert letter.state == QueueState.GIVEN_UP
        assert letter.ended_at - letter.made_at > timedelta(days=4)

    def test_a_server_that_wants_nobody_leaves_the_other_letters_untouched(
        self, cast: Cast, strangers: Cast, refuse: Any
    ) -> None:
        self._one(cast)
        self._one(strangers)
        refuse(smtplib.SMTPSenderRefused(550, b"not from here", "x"))
        send_letters()
        both = letters(cast) + letters(strangers)
        assert [row.state for row in both] == [QueueState.WAITING] * 2
        assert sorted(row.answer != "" for row in both) == [False, True]
        assert [row.refusals for row in both] == [0, 0]

    def test_a_fault_of_ours_parks_the_letter_and_not_its_neighbours(
        self, cast: Cast, strangers: Cast, monkeypatch: pytest.MonkeyPatch, clock: Any, caplog: Any
    ) -> None:
        from scheduling.services.letters import sending
        from scheduling.services.letters.sending import park_letters

        self._one(cast)
        self._one(strangers)
        poison, real = letters(cast)[0].pk, sending.worded

        def worded(letter: Letter, *rest: Any) -> Any:
            if letter.pk == poison:
                raise ZeroDivisionError
            return real(letter, *rest)

        monkeypatch.setattr(sending, "worded", worded)
        for number in range(5):
            clock.move_to(NOON + timedelta(minutes=3 * number))
            send_letters()
            park_letters()
        assert letters(cast)[0].state == QueueState.PARKED
        assert letters(strangers)[0].state == QueueState.SENT
        assert any("parked" in record.message for record in caplog.records if record.levelname == "ERROR")


class TestStopping:
    def _address(self, cast: Cast) -> str:
        daily(cast)
        due_item(cast.vehicle, TODAY)
        return str(tell()[0].message()["List-Unsubscribe"]).strip("<>").removeprefix("http://localhost:8000")

    def test_one_click_stops_it_without_login_cookie_or_form_token(self, cast: Cast) -> None:
        """RFC 8058 section 3.1: the body is List-Unsubscribe=One-Click; no cookies; no redirect."""
        address = self._address(cast)
        client = Client(enforce_csrf_checks=True)
        answer = client.post(address, b"List-Unsubscribe=One-Click", content_type="application/x-www-form-urlencoded")
        assert answer.status_code == 200
        assert not answer.cookies
        due_item(cast.vehicle, TODAY, what="Tax")
        assert tell() == []
        assert ReminderChoice.objects.within(cast.fleet).filter(rhythm="never", safety_at_once=True).count() == 1

    def test_looking_changes_nothing(self, cast: Cast) -> None:
        address = self._address(cast)
        before = list(ReminderChoice.objects.within(cast.fleet).order_by("pk").values())
        assert Client().get(address).status_code == 200
        assert Client().head(address).status_code == 200
        assert list(ReminderChoice.objects.within(cast.fleet).order_by("pk").values()) == before

    def test_the_page_stops_everything_on_request(self, cast: Cast) -> None:
        address = self._address(cast)
        answer = Client(enforce_csrf_checks=True).post(address, {"everything": "yes"})
        assert "Stopped." in answer.content.decode()
        due_item(cast.vehicle, TODAY, what="Brakes", safety=True)
        assert tell() == []

    @pytest.mark.parametrize("token", ["x", "a:b:c", "WyJhIl0:1w:zz"])
    def test_a_link_that_is_none_of_ours_is_not_found(self, db: Any, token: str) -> None:
        assert Client().post(f"/reminders/stop/{token}/").status_code == 404


@pytest.mark.parametrize("count", [1, 9])
def test_a_letter_takes_the_same_queries_however_much_it_tells(
    cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    daily(cast)
    for number in range(count):
        due_item(cast.vehicle, TODAY, what=f"Thing {number}")
    make_notices()
    make_letters()
    with django_assert_num_queries(5):  # ready, claim, what it tells, settle, ready again
        send_letters()
    assert len(mail.outbox) == 1
