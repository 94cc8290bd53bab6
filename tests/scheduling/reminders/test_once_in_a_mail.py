"""What waits for a mail twice, because its second reminder came before the mail with its first, is told once."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from scheduling.models import Delivery
from scheduling.services.notices import make_notices
from tests.conftest import Cast
from tests.scheduling.reminders.given import AWAKE, choice_of, due_item, tell

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


def test_an_item_that_waited_with_two_stages_is_told_once_as_it_stands(cast: Cast) -> None:
    with time_machine.travel(NOON, tick=False):
        choice_of(cast, rhythm="monthly", month_day=30, last_slot_on=NOON.date(), time_zone="UTC", **AWAKE)
        due_item(cast.vehicle, NOON.date() + timedelta(days=20), what="Alignment")
        make_notices()
    with time_machine.travel(NOON + timedelta(days=14), tick=False):
        make_notices()
        assert Delivery.objects.within(cast.fleet).filter(letter=None).count() == 2
    with time_machine.travel(NOON + timedelta(days=15), tick=False):
        (mail,) = tell()
    assert mail.body.count("Alignment") == 1
    assert "and 1 more" not in mail.subject
