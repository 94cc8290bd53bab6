"""Letters over a real SMTP connection to a server on this machine."""

from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine

from scheduling.models import Letter, ReminderChoice
from scheduling.services.letters.making import make_letters
from scheduling.services.letters.sending import send_letters
from scheduling.services.notices import make_notices
from tests.conftest import Cast
from tests.scheduling.reminders.given import AWAKE, choice_of, contact, due_item
from tests.system.chaos.sink import Sink, sinking

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture
def smtp(settings: Any) -> Any:
    with sinking() as sink:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", sink.port
        yield sink


def make(cast: Cast, people: int) -> None:
    choice_of(cast, rhythm="never", safety_at_once=False)
    due_item(cast.vehicle, NOON.date(), what="Öl & Filter")
    for number in range(people):
        contact(cast, cast.vehicle, name=f"Jörg {number}", email=f"person{number}@chaos.example")
    with time_machine.travel(NOON, tick=False):
        make_notices()
        rows = ReminderChoice.objects.within(cast.fleet).filter(contact__isnull=False)
        rows.update(rhythm="daily", last_slot_on=None, **AWAKE)
        make_letters()
        send_letters()


def states(cast: Cast) -> list[str]:
    return sorted(Letter.objects.within(cast.fleet).values_list("state", flat=True))


def test_many_letters_take_one_connection(cast: Cast, smtp: Sink) -> None:
    make(cast, 7)
    assert smtp.total == 7
    assert smtp.connections == 1


def test_one_that_is_refused_does_not_spoil_the_connection_for_the_next(cast: Cast, smtp: Sink) -> None:
    smtp.at_recipient = lambda address: "550 no such mailbox" if address.startswith("person1") else "250 ok"
    smtp.after_data = lambda address: "452 full" if address.startswith("person2") else "250 taken"
    make(cast, 5)
    assert smtp.total == 3
    assert smtp.connections == 1
    assert states(cast) == ["bounced", "sent", "sent", "sent", "waiting"]


def test_a_line_cut_after_a_mail_was_taken_is_opened_again(cast: Cast, smtp: Sink) -> None:
    smtp.hangs_up_after = 2
    make(cast, 4)
    # The one that was cut off may have arrived: it is tried again later, with the same Message-ID.
    assert states(cast) == ["sent", "sent", "sent", "waiting"]
    assert smtp.connections == 2


def test_a_server_that_is_not_there_leaves_every_letter_waiting(cast: Cast, settings: Any, caplog: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    make(cast, 3)
    assert states(cast) == ["waiting"] * 3
    assert caplog.text.count("mail server:") == 1
    assert sum(letter.answer != "" for letter in Letter.objects.within(cast.fleet)) == 1
