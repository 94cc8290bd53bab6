"""Reminders on their pages: choices, the next mail, the log, calendars, webhooks; every form without script."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from fleetcare.fleet.words import Role
from scheduling.models import CalendarLink, ReminderChoice, UnwantedVehicle, WebhookDelivery, WebhookEndpoint
from scheduling.services.choices import member_of
from scheduling.services.letters.preview import next_digest
from scheduling.services.webhooks import add_endpoint, try_endpoint
from scheduling.words import DueKind
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.scheduling.reminders.given import choice_of, contact, daily, due_item, tell

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
"""A Monday."""
CHOICES = {
    "act": "choose", "rhythm": "monthly", "weekday": "3", "month_day": "31", "hour": "6", "quiet_from_hour": "22",
    "quiet_to_hour": "5", "first_lead_days": "40", "second_lead_days": "", "language": "de",
    "time_zone": "Europe/Berlin", "kinds": ["insurance", "tax"],
}  # fmt: skip


@pytest.fixture(autouse=True)
def _noon() -> Any:
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def at(cast: Cast) -> str:
    return f"/fleets/{cast.fleet.pk}/reminders/"


def member(cast: Cast, role: Role) -> Any:
    return cast.members[role].memberships.get()


def text_of(client: Client, address: str) -> str:
    return words(client.get(address).content.decode())


def test_a_viewer_chooses_for_themselves(cast: Cast, at: str, browser_of: Any) -> None:
    other = factories.vehicle(cast.fleet, name="Not mine")
    viewer = browser_of(cast)
    assert viewer.post(at, {**CHOICES, "vehicles": [str(cast.vehicle.pk)]})["Location"] == at
    choice = ReminderChoice.objects.within(cast.fleet).get()
    assert choice.membership == member(cast, Role.VIEWER)
    assert (choice.rhythm, choice.month_day, choice.hour, choice.safety_at_once) == ("monthly", 31, 6, False)
    assert (choice.first_lead_days, choice.second_lead_days, choice.time_zone) == (40, None, "Europe/Berlin")
    assert set(choice.unwanted_kinds.strip(",").split(",")) == set(DueKind.values) - {"insurance", "tax"}
    assert [row.vehicle for row in UnwantedVehicle.objects.within(cast.fleet)] == [other]
    again = {
        field.attributes["value"]
        for field in parsed(viewer.get(at).content).all("input")
        if "checked" in field.attributes
    }
    assert again == {"insurance", "tax", str(cast.vehicle.pk)}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"first_lead_days": "5", "second_lead_days": "9"}, "second_lead_days"),
        ({"first_lead_days": "soon"}, "first_lead_days"),
        ({"time_zone": "Moon/Sea"}, "time_zone"),
        ({"rhythm": "hourly"}, "rhythm"),
        ({"version": '"7"'}, "__all__"),
    ],
)
def test_a_fault_stands_at_its_field(cast: Cast, at: str, browser_of: Any, change: dict[str, str], field: str) -> None:
    answer = browser_of(cast).post(at, {**CHOICES, **change})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert not ReminderChoice.objects.within(cast.fleet).exists()


def test_a_planner_chooses_for_a_contact_and_a_viewer_for_nobody_else(cast: Cast, at: str, browser_of: Any) -> None:
    driver = contact(cast, cast.vehicle)
    theirs = f"{at}contacts/{driver.pk}/"
    assert browser_of(cast).get(theirs).status_code == 403
    assert browser_of(cast).get(f"{at}members/{member(cast, Role.OWNER).pk}/").status_code == 403
    planner = browser_of(cast, Role.PLANNER)
    assert cast.vehicle.name in text_of(planner, theirs)
    assert planner.post(theirs, CHOICES).status_code == 302
    assert ReminderChoice.objects.within(cast.fleet).get().contact == driver
    assert theirs in planner.get(at).content.decode(), "the way to it"


def test_people_of_another_fleet_are_not_there(cast: Cast, strangers: Cast, at: str, browser_of: Any) -> None:
    owner = browser_of(cast, Role.OWNER)
    assert owner.get(f"{at}members/{member(strangers, Role.OWNER).pk}/").status_code == 404
    assert owner.get(f"{at}contacts/{contact(strangers).pk}/").status_code == 404
    assert owner.get(at.replace(str(cast.fleet.pk), str(strangers.fleet.pk))).status_code == 404


@pytest.mark.parametrize("days", [-400, -7, -6, 0, 1, 7, 8, 29, 30, 31, 35, 39, 40, 41, 300])
@pytest.mark.parametrize("leads", [(None, 7), (40, 3), (3, None)])
def test_the_preview_tells_of_what_the_mail_then_tells(
    cast: Cast, days: int, leads: tuple[int | None, int | None]
) -> None:
    """Held against the sweep, which decides in the database, on the day of the mail."""
    first, second = leads
    mine = choice_of(
        cast, rhythm="weekly", weekday=5, hour=0, quiet_from_hour=0, quiet_to_hour=0, last_slot_on=NOON.date(),
        first_lead_days=first, second_lead_days=second, time_zone="UTC",
    )  # fmt: skip
    due_item(cast.vehicle, NOON.date() + timedelta(days=days))
    preview = next_digest(cast.access, _loaded(cast, mine))
    assert preview.on == NOON.date() + timedelta(days=5), "the Saturday"
    with time_machine.travel(NOON + timedelta(days=5), tick=False):
        mails = tell()
    assert [mail.subject for mail in mails] == ([preview.subject] if preview.sections else [])
    for section in preview.sections:
        for line in section.lines:
            assert f"- {line.mark}: {line.what}" in mails[0].body
            assert line.when in mails[0].body


def _loaded(cast: Cast, choice: ReminderChoice) -> ReminderChoice:
    choice.membership = member_of(cast.access, choice.membership_id)
    return choice


def test_what_was_told_is_not_previewed_again_until_it_comes_nearer(cast: Cast) -> None:
    mine = daily(cast)
    due_item(cast.vehicle, NOON.date() + timedelta(days=20))
    assert len(tell()) == 1
    mine.refresh_from_db()
    assert next_digest(cast.access, _loaded(cast, mine)).sections == []
    with time_machine.travel(NOON + timedelta(days=13), tick=False):
        assert next_digest(cast.access, _loaded(cast, mine)).sections, "within the seven days"


@pytest.mark.parametrize(
    "values",
    [{"rhythm": "never"}, {"unwanted_kinds": ",insurance,"}, {"safety_at_once": True}],
)
def test_what_a_gathered_mail_would_not_tell_is_not_previewed(cast: Cast, values: dict[str, Any]) -> None:
    mine = daily(cast, **values)
    due_item(cast.vehicle, NOON.date(), safety="safety_at_once" in values)
    assert not next_digest(cast.access, _loaded(cast, mine)).sections


def test_a_vehicle_that_is_not_wanted_is_neither_previewed_nor_told(cast: Cast) -> None:
    mine = daily(cast)
    other = factories.vehicle(cast.fleet, name="Not mine")
    UnwantedVehicle.objects.create(fleet=cast.fleet, reader=mine, vehicle=other)
    due_item(other, NOON.date())
    assert not next_digest(cast.access, _loaded(cast, mine)).sections
    assert tell() == []
    due_item(cast.vehicle, NOON.date())
    assert len(tell()) == 1


def test_the_page_shows_the_next_mail_in_the_readers_words(cast: Cast, at: str, browser_of: Any) -> None:
    browser_of(cast, Role.OWNER).post(at, {**CHOICES, "first_lead_days": "", "vehicles": [str(cast.vehicle.pk)]})
    due_item(cast.vehicle, NOON.date() + timedelta(days=20), what="Haftpflicht")
    told = text_of(browser_of(cast, Role.OWNER), at)
    assert "On Jun 30, 2026, if nothing changes until then:" in told
    assert "Haftpflicht" in told
    assert "in 5 Tagen" in told, "the mail is German, the page is not"


def test_the_log_says_what_was_sent_and_only_planners_see_addresses(cast: Cast, at: str, browser_of: Any) -> None:
    daily(cast)
    due_item(cast.vehicle, NOON.date())
    tell()
    planner, viewer = (text_of(browser_of(cast, role), f"{at}log/") for role in (Role.PLANNER, Role.VIEWER))
    assert "Due now: Insurance, Home car" in planner
    assert "Home car: Insurance is due" in planner
    assert "owner@home.example" in planner
    assert "owner@home.example" not in viewer
    assert "Home car: Insurance is due" in viewer


def test_the_log_goes_on_where_its_page_ended_and_asks_no_more(
    cast: Cast, at: str, browser_of: Any, monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: Any
) -> None:
    monkeypatch.setattr("fleetcare.portal.web.reminder_log.LETTERS_A_PAGE", 2)
    daily(cast)
    for number in range(5):
        due_item(cast.vehicle, NOON.date(), what=f"Thing {number}")
        tell()
        ReminderChoice.objects.within(cast.fleet).update(last_slot_on=None, swept_on=None)
    viewer, address, seen = browser_of(cast), f"{at}log/", []
    while address:
        with django_assert_num_queries(6):  # session, user, membership; letters, what they tell, names of vehicles
            page = viewer.get(address).content.decode()
        seen += re.findall(r"Thing \d is due", page)
        following = re.search(r'href="(\?after=[^"]+)"', page)
        address = f"{at}log/{following[1]}" if following else ""
    assert sorted(seen) == [f"Thing {number} is due" for number in range(5)]
    assert viewer.get(f"{at}log/?after=nonsense").status_code == 404


def test_a_calendar_address_is_shown_once_opens_and_is_revoked(cast: Cast, at: str, browser_of: Any) -> None:
    viewer = browser_of(cast)
    page = viewer.post(at, {"act": "calendar", "name": "Phone"})
    (secret,) = (words(each.text) for each in parsed(page.content).of_class("secret"))
    path = secret.partition("//")[2].partition("/")[2]
    assert Client().get(f"/{path}").status_code == 200
    assert path not in viewer.get(at).content.decode()
    link = CalendarLink.objects.within(cast.fleet).get()
    assert browser_of(cast, Role.INSPECTOR).post(at, {"act": "revoke", "link": str(link.pk)}).status_code == 403
    assert viewer.post(at, {"act": "revoke", "link": str(link.pk)}).status_code == 302
    assert Client().get(f"/{path}").status_code == 404


@pytest.fixture
def hooks_at(cast: Cast) -> str:
    return f"/fleets/{cast.fleet.pk}/webhooks/"


def test_an_endpoint_is_added_and_its_secret_shown_once(cast: Cast, hooks_at: str, browser_of: Any) -> None:
    owner = browser_of(cast, Role.OWNER)
    form = {"url": "https://receiver.example/hooks", "description": "Ledger", "kinds": ["job.closed"]}
    page = owner.post(hooks_at, form)
    assert words(parsed(page.content).of_class("secret")[0].text).startswith("whsec_")
    assert "whsec_" not in owner.get(hooks_at).content.decode()
    assert WebhookEndpoint.objects.within(cast.fleet).get().kinds == ["job.closed"]


@pytest.mark.parametrize(
    ("said", "field"),
    [({"url": "https://127.0.0.1/x"}, "url"), ({"url": "https://a.example", "kinds": ["no"]}, "kinds")],
)
def test_an_endpoint_that_must_not_be_called_is_refused_at_its_field(
    cast: Cast, hooks_at: str, browser_of: Any, said: dict[str, Any], field: str
) -> None:
    answer = browser_of(cast, Role.OWNER).post(hooks_at, said)
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}


def test_an_endpoint_is_tried_off_on_sent_again_and_deleted(cast: Cast, hooks_at: str, browser_of: Any) -> None:
    endpoint, _ = add_endpoint(cast.access, url="https://receiver.example/hooks")
    owner, page = browser_of(cast, Role.OWNER), f"{hooks_at}{endpoint.pk}/"
    owner.post(page, {"act": "test"})
    row = WebhookDelivery.objects.within(cast.fleet).get()
    WebhookDelivery.objects.within(cast.fleet).update(state="bounced", answer="HTTP 404", ended_at=NOON)
    assert "refused for good</strong> · HTTP 404" in text_of(owner, page)
    assert owner.post(page, {"act": "replay", "delivery": str(row.pk)}).status_code == 302
    row.refresh_from_db()
    assert row.state == "waiting"
    owner.post(page, {"act": "off"})
    assert "Switched off by an owner." in text_of(owner, page)
    assert owner.post(page, {"act": "test"}).status_code == 409
    owner.post(page, {"act": "on"})
    endpoint.refresh_from_db()
    assert endpoint.disabled_at is None
    rotated = owner.post(page, {"act": "rotate"})
    assert b"whsec_" in rotated.content
    owner.post(page, {"act": "drop"})
    assert not WebhookEndpoint.objects.within(cast.fleet).exists()


def test_webhooks_are_the_owners_business_and_of_this_fleet(
    cast: Cast, strangers: Cast, hooks_at: str, browser_of: Any
) -> None:
    mine, _ = add_endpoint(cast.access, url="https://receiver.example/hooks")
    theirs, _ = add_endpoint(strangers.access, url="https://receiver.example/hooks")
    row = try_endpoint(strangers.access, theirs)
    planner, owner = browser_of(cast, Role.PLANNER), browser_of(cast, Role.OWNER)
    assert planner.get(hooks_at).status_code == 403
    assert planner.post(f"{hooks_at}{mine.pk}/", {"act": "drop"}).status_code == 403
    assert owner.get(f"{hooks_at}{theirs.pk}/").status_code == 404
    assert owner.post(f"{hooks_at}{mine.pk}/", {"act": "replay", "delivery": str(row.pk)}).status_code == 404
