"""Estimates at the desk, without script: chosen from the list, changed, looked at, sent, followed and taken back."""

import smtplib
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core import mail
from django.test import Client

from fleetcare.fleet.clock import today
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.words import Role
from scheduling.models import Estimate, EstimateLine
from scheduling.services.assess import assess_vehicles
from scheduling.services.estimates import mailing
from tests.conftest import Cast
from tests.fleetcare.portal.markup import Markup, parsed, words
from tests.fleetcare.portal.test_desk_pages import worn
from tests.scheduling.work_given import estimate, job, line, sent

PADS = "front-brake-pads.replace front-left front-right"


@pytest.fixture
def base(cast: Cast) -> str:
    worn(cast)
    return f"/fleets/{cast.fleet.pk}/"


def main_text(answer: Any) -> str:
    return words(parsed(answer.content).all("main")[0].text)


def fields(markup: Markup) -> dict[str, str]:
    """What a browser would send of the first form of the page that is not about signing out."""
    typed = {f.attributes["name"]: f.attributes.get("value", "") for f in markup.all("input") if "name" in f.attributes}
    boxes = [f for f in markup.all("input") if f.attributes.get("type") == "checkbox"]
    for box in boxes:
        typed.pop(box.attributes["name"])
        if "checked" in box.attributes:
            typed[box.attributes["name"]] = "on"
    texts = {f.attributes["name"]: f.text for f in markup.all("textarea")}
    return {**typed, **texts}


def drafted(client: Client, base: str, cast: Cast, *values: str, **said: str) -> str:
    form = {"line": list(values) or [PADS], "customer": "M. Meise", "tax_percent": "19", **said}
    answer = client.post(f"{base}vehicles/{cast.vehicle.pk}/estimates/new/", form)
    assert answer.status_code == 302
    address: str = answer["Location"]
    return address


def test_what_the_list_proposes_is_ticked_and_becomes_a_priced_draft(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    by_hand = job(cast.access, cast.vehicle, "", title="Wash it")
    page = parsed(client.get(f"{base}vehicles/{cast.vehicle.pk}/estimates/new/").content)
    offered = [f.attributes["value"] for f in page.all("input") if f.attributes.get("name") == "line"]
    assert PADS in offered
    assert f"job {by_hand.pk}" in offered
    drafted(client, base, cast, PADS, f"job {by_hand.pk}", note="Ring first")
    made = Estimate.objects.within(cast.fleet).get()
    assert (made.customer, made.note, made.tax_percent) == ("M. Meise", "Ring first", Decimal(19))
    pads, wash = EstimateLine.objects.within(cast.fleet).order_by("line")
    assert pads.before_driving
    assert pads.explanation.startswith("Found dangerous.")
    (option,) = pads.options.all()
    # 0.7 h, two wheels and calipers off (0.9 h), bedding in and nuts (0.4 h).
    assert (option.job_key, option.hours) == ("front-brake-pads.replace", Decimal("2.00"))
    assert wash.options.get().job_id == by_hand.pk


def test_a_draft_is_changed_line_by_line_and_way_by_way(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast, PADS, "outer-driveshaft-boot.replace front-left")
    pads, boot = EstimateLine.objects.within(cast.fleet).order_by("line")
    way = pads.options.get().pk
    form = {
        **fields(parsed(client.get(address).content)),
        f"title-{pads.pk}": "Front brakes", f"parts-{way}": "49,95", f"labour-{way}": "60", f"hours-{way}": "",
        f"way-new-{pads.pk}": "With discs", f"parts-new-{pads.pk}": "180", f"labour-new-{pads.pk}": "90,5",
        f"remove-{boot.pk}": "on", "way-new": "Wash it", "labour-new": "10", "explanation-new": "It is muddy",
        "add": "outer-driveshaft-boot.replace front-right", "note": "Ring first",
    }  # fmt: skip
    assert client.post(address, form).status_code == 302
    first, wash, other = EstimateLine.objects.within(cast.fleet).order_by("line")
    ways = list(first.options.order_by("option"))
    assert first.title == "Front brakes"
    assert [(each.title, each.parts_minor, each.labour_minor) for each in ways] == [
        ("Renew the front pads, both sides", 4_995, 6_000),
        ("With discs", 18_000, 9_050),
    ]
    assert ways[0].job_key == "front-brake-pads.replace"
    assert (wash.title, wash.explanation, wash.options.get().labour_minor) == ("Wash it", "It is muddy", 1_000)
    assert other.options.get().positions == ["front-right"]
    assert Estimate.objects.within(cast.fleet).get().note == "Ring first"


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("parts", "dear", "This value does not match the required pattern."),
        ("hours", "-1", "Ensure this value is greater than or equal to 0."),
        ("title", "x" * 161, "Ensure this field has no more than 160 characters."),
        ("tax_percent", "120", "Ensure this value is less than or equal to 100."),
        ("contact", str(uuid.UUID(int=7)), "There is no such contact in this fleet."),
    ],
)
def test_a_fault_stands_at_its_field_and_nothing_is_stored(
    cast: Cast, base: str, browser_of: Any, field: str, value: str, said: str
) -> None:
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast)
    row = EstimateLine.objects.within(cast.fleet).get()
    way = row.options.get().pk
    names = {"parts": f"parts-{way}", "hours": f"hours-{way}", "title": f"title-{row.pk}"}
    name = names.get(field, field)
    form = {**fields(parsed(client.get(address).content)), "note": "kept as typed", name: value}
    answer = client.post(address, form)
    assert answer.status_code == 422
    markup = parsed(answer.content)
    faulty = [words(each.text) for each in markup.of_class("errorlist")]
    assert faulty == [said]
    assert "kept as typed" in [each.text for each in markup.all("textarea")]
    assert EstimateLine.objects.within(cast.fleet).get().pk == row.pk


def test_it_is_looked_at_sent_answered_and_told_line_by_line(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast, PADS, "outer-driveshaft-boot.replace front-left")
    preview = client.get(f"{address}preview/")
    text = main_text(preview)
    assert "Do not drive before this is done" in text
    assert "Answered on paper" in text
    assert not [b for b in parsed(preview.content).all("button") if words(b.text) == "Send my answer"]
    page = client.post(f"{address}send/", {"valid_until": ""})
    link = next(f.attributes["value"] for f in parsed(page.content).all("input") if f.attributes.get("id") == "link")
    path = link.removeprefix("http://testserver")
    customer = Client()
    assert customer.get(path).status_code == 200
    pads, boot = EstimateLine.objects.within(cast.fleet).order_by("line")
    chosen = {f"line-{pads.pk}": str(pads.options.get().pk), f"line-{boot.pk}": "decline"}
    said = {**chosen, "name": "M. Meise", "reason": "later"}
    assert customer.post(path, said).status_code == 303
    told = main_text(client.get(address))
    assert "Accepted by M. Meise" in told
    assert "Declined by M. Meise" in told
    assert "later" in told
    listed = main_text(client.get(f"{base}estimates/"))
    assert "answered" in listed
    assert "2 of 2 answered" in listed
    assert link not in client.get(address).content.decode()


def test_a_new_link_ends_the_one_before_and_a_link_taken_back_opens_nothing(
    cast: Cast, base: str, browser_of: Any
) -> None:
    client = browser_of(cast, Role.PLANNER)
    found, token = sent(cast.access, cast.vehicle)
    address = f"{base}estimates/{found.pk}/"
    assert client.post(f"{address}send/", {}).status_code == 200
    assert Client().get(f"/e/{token}/").status_code == 404
    fresh, again = sent(cast.access, cast.vehicle)
    assert Client().get(f"/e/{again}/").status_code == 200
    assert client.post(f"{base}estimates/{fresh.pk}/end/").status_code == 302
    assert Client().get(f"/e/{again}/").status_code == 404
    assert "withdrawn" in main_text(client.get(f"{base}estimates/{fresh.pk}/"))
    draft = estimate(cast.access, cast.vehicle)
    assert client.post(f"{base}estimates/{draft.pk}/end/").status_code == 302
    assert not Estimate.objects.within(cast.fleet).filter(pk=draft.pk).exists()


def test_a_day_that_has_passed_is_refused_at_its_field(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast)
    for day in ("2020-01-01", "soon"):
        answer = client.post(f"{address}send/", {"valid_until": day})
        assert answer.status_code == 422
        assert len(parsed(answer.content).of_class("errorlist")) == 1
    assert Estimate.objects.within(cast.fleet).get().state == "draft"


def test_the_link_is_mailed_to_the_contact_in_their_language(cast: Cast, base: str, browser_of: Any) -> None:
    contact = save_contact(cast.access, None, vehicles=[], name="M. Meise", email="m@meise.example", language="de")
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast, contact=str(contact.pk))
    page = client.post(f"{address}send/", {"mail": "on"})
    assert "Mailed to m@meise.example." in main_text(page)
    (letter,) = mail.outbox
    assert letter.to == ['"M. Meise" <m@meise.example>']
    assert letter.subject == "Kostenvoranschlag 1 von Home"
    assert "/e/" in letter.body
    assert letter.extra_headers["Auto-Submitted"] == "auto-generated"
    row = Estimate.objects.within(cast.fleet).get()
    assert (row.mailed_to, row.mails) == ("m@meise.example", 1)
    assert "Last mailed on" in main_text(client.get(address))


def test_a_mail_that_is_not_taken_leaves_the_link_to_be_given_by_hand(
    cast: Cast, base: str, browser_of: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    contact = save_contact(cast.access, None, vehicles=[], name="M. Meise", email="m@meise.example", language="en")
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast, contact=str(contact.pk))

    def refused(*_args: Any) -> None:
        raise smtplib.SMTPException("no")

    monkeypatch.setattr(mailing.EmailMultiAlternatives, "send", refused)
    page = client.post(f"{address}send/", {"mail": "on"})
    assert "The mail could not be sent. The link works: give it by hand." in main_text(page)
    link = next(f.attributes["value"] for f in parsed(page.content).all("input") if f.attributes.get("id") == "link")
    assert Client().get(link.removeprefix("http://testserver")).status_code == 200
    assert Estimate.objects.within(cast.fleet).get().mails == 0


def test_one_estimate_is_mailed_five_times_at_most(cast: Cast, base: str, browser_of: Any) -> None:
    contact = save_contact(cast.access, None, vehicles=[], name="M. Meise", email="m@meise.example", language="en")
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast, contact=str(contact.pk))
    for _ in range(5):
        client.post(f"{address}send/", {"mail": "on"})
    assert "was mailed 5 times" in main_text(client.post(f"{address}send/", {"mail": "on"}))
    assert len(mail.outbox) == 5


@pytest.mark.parametrize("role", [Role.VIEWER, Role.INSPECTOR])
def test_who_does_not_plan_reads_and_changes_nothing(cast: Cast, base: str, browser_of: Any, role: Role) -> None:
    draft = estimate(cast.access, cast.vehicle, line("Wash it"))
    client = browser_of(cast, role)
    address = f"{base}estimates/{draft.pk}/"
    for page in (f"{base}estimates/", address, f"{address}preview/"):
        markup = parsed(client.get(page).content)
        assert not [f for f in markup.all("form") if f.attributes.get("action") != "/sign-out/"]
    assert client.get(f"{base}vehicles/{cast.vehicle.pk}/estimates/new/").status_code == 403
    for act in ("", "send/", "end/"):
        assert client.post(f"{address}{act}", {}).status_code == 403


def test_another_fleets_estimate_is_not_there(cast: Cast, strangers: Cast, base: str, browser_of: Any) -> None:
    draft = estimate(cast.access, cast.vehicle)
    client = browser_of(strangers, Role.OWNER)
    for place in (base, f"/fleets/{strangers.fleet.pk}/"):
        address = f"{place}estimates/{draft.pk}/"
        assert client.get(address).status_code == 404
        assert client.get(f"{address}preview/").status_code == 404
        assert client.post(address, {}).status_code == 404
        assert client.post(f"{address}send/", {}).status_code == 404
        assert client.post(f"{address}end/", {}).status_code == 404
    assert client.get(f"{base}estimates/").status_code == 404
    foreign = f"/fleets/{strangers.fleet.pk}/vehicles/{cast.vehicle.pk}/estimates/new/"
    assert client.post(foreign, {"line": [PADS]}).status_code == 404


def test_only_what_is_offered_can_be_ticked(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    for value in ("no-such.job front-left", "job nonsense", "job", ""):
        answer = client.post(f"{base}vehicles/{cast.vehicle.pk}/estimates/new/", {"line": [value]})
        assert answer.status_code == 422
        assert not Estimate.objects.within(cast.fleet).exists()


@pytest.mark.parametrize("count", [1, 6])
def test_pages_of_estimates_take_as_many_queries_for_few_as_for_many(
    cast: Cast, base: str, browser_of: Any, count: int, django_assert_num_queries: Any
) -> None:
    rows = [estimate(cast.access, cast.vehicle, *[line(f"Line {n}") for n in range(count)]) for _ in range(count)]
    client = browser_of(cast, Role.PLANNER)
    # Session, user, membership; how many; estimates with vehicle and contact; lines; options.
    with django_assert_num_queries(7):
        client.get(f"{base}estimates/")
    # Session, user, membership, estimate, lines, options.
    with django_assert_num_queries(6):
        client.get(f"{base}estimates/{rows[0].pk}/preview/")
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    # Those of the preview; the backlog, its open jobs, jobs by hand with their parts; contacts with their vehicles.
    with django_assert_num_queries(11):
        client.get(f"{base}estimates/{rows[0].pk}/")


def test_a_sent_estimate_ends_fourteen_days_on_unless_it_is_said(cast: Cast, base: str, browser_of: Any) -> None:
    client = browser_of(cast, Role.PLANNER)
    address = drafted(client, base, cast)
    client.post(f"{address}send/", {})
    row = Estimate.objects.within(cast.fleet).get()
    assert row.expires_at is not None
    assert (row.expires_at.date() - today(cast.fleet)).days in {14, 15}
