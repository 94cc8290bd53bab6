"""The private page of an estimate: what its holder sees and answers, and what everybody else does not."""

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from fleetcare.fleet.models import Fleet
from scheduling.models import Estimate, EstimateLine, Job
from scheduling.services.estimates import LineDraft, OptionDraft, send_estimate, withdraw_estimate
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.inspections.given import PADS, inspect, result
from tests.scheduling.work_given import PADS_JOB, SIDES, day, estimate, line, sent


@pytest.fixture
def stranger() -> Client:
    """A browser without any login, in which forms are checked as strictly as in production."""
    return Client(enforce_csrf_checks=True)


def address(token: str) -> str:
    return f"/e/{token}/"


def rows(cast: Cast) -> list[EstimateLine]:
    return list(EstimateLine.objects.within(cast.fleet).order_by("-before_driving", "-safety", "line"))


def option(row: EstimateLine, index: int = 0) -> str:
    return str(row.options.order_by("option")[index].pk)


def paper(cast: Cast, **values: Any) -> str:
    """A wash, and pads that the vehicle must not be driven without; two ways to do these."""
    inspect(cast.access, cast.vehicle, result(PADS, "front-left", grade="dangerous"), inspected_on=day(cast.access, 3))
    pads = OptionDraft(job_key=PADS_JOB, positions=("front-left",), parts_minor=4_995, labour_minor=6_000)
    discs = OptionDraft(
        job_key="front-brake-disc.replace", positions=tuple(SIDES), parts_minor=18_000, labour_minor=9_000
    )
    brakes = LineDraft(title="Front brakes", explanation="3 mm <left>", options=(pads, discs))
    return sent(cast.access, cast.vehicle, line("Wash it", 0, 1_000), brakes, customer="M. Meise", **values)[1]


def test_whoever_holds_the_link_reads_it_without_a_login_safety_first_and_to_the_cent(
    cast: Cast, stranger: Client
) -> None:
    response = stranger.get(address(paper(cast, tax_percent=Decimal(19))))
    assert response.status_code == 200
    page = parsed(response.content)
    titles = [words(each.text) for each in page.all("span") if each.attributes.get("class") == "estimate-title"]
    assert titles == ["Front brakes", "Wash it"]
    text = words(page.all("main")[0].text)
    assert "Do not drive before this is done" in text
    assert "3 mm <left>" in text
    # 109.95 at 19 % is 130.84; 10.00 is 11.90.
    assert "€130.84" in text
    assert "€142.74" in text
    assert "19 % tax" in text
    for said in ("Home car", "M. Meise", "Estimate 1"):
        assert said in text
    assert not page.all("script")


def test_no_engine_cache_or_other_site_learns_of_it(cast: Cast, stranger: Client) -> None:
    response = stranger.get(address(paper(cast)))
    assert response["X-Robots-Tag"] == "noindex, nofollow"
    assert response["Referrer-Policy"] == "no-referrer"
    assert response["Cache-Control"] == "private, no-store"
    assert not response.cookies
    page = parsed(response.content)
    assert [each.attributes["content"] for each in page.all("meta") if each.attributes.get("name") == "robots"]
    assert "default-src 'none'" in response["Content-Security-Policy"]


def test_reading_changes_nothing(cast: Cast, stranger: Client) -> None:
    token = paper(cast)
    before = list(Estimate.objects.within(cast.fleet).values())
    for method in (stranger.get, stranger.head):
        assert method(address(token)).status_code == 200
    assert list(Estimate.objects.within(cast.fleet).values()) == before
    assert {row.answer for row in rows(cast)} == {""}


def test_an_answer_is_stored_with_the_name_and_shown(cast: Cast, stranger: Client) -> None:
    token = paper(cast)
    brakes, wash = rows(cast)
    form = {f"line-{brakes.pk}": option(brakes, 1), f"line-{wash.pk}": "decline", "name": "M. Meise", "reason": "rain"}
    answer = stranger.post(address(token), form)
    assert (answer.status_code, answer["Location"]) == (303, f"{address(token)}#answers")
    brakes, wash = rows(cast)
    assert (brakes.answer, str(brakes.chosen_id), brakes.answered_by) == ("accepted", option(brakes, 1), "M. Meise")
    assert (wash.answer, wash.reason) == ("declined", "rain")
    assert Job.objects.within(cast.fleet).get(state="open").job_key == "front-brake-disc.replace"
    text = words(parsed(stranger.get(address(token)).content).all("main")[0].text)
    assert "Accepted by M. Meise" in text
    assert "Declined by M. Meise" in text
    assert "€270.00" in text
    assert "Send my answer" not in text


def test_the_form_sent_twice_is_as_good_as_once(cast: Cast, stranger: Client) -> None:
    token = paper(cast)
    brakes, _ = rows(cast)
    form = {f"line-{brakes.pk}": option(brakes), "name": "M. Meise"}
    assert [stranger.post(address(token), form).status_code for _ in range(2)] == [303, 303]
    assert Job.objects.within(cast.fleet).count() == 1


def test_declined_safety_work_is_told_to_be_on_record(cast: Cast, stranger: Client) -> None:
    token = paper(cast)
    brakes, _ = rows(cast)
    stranger.post(address(token), {f"line-{brakes.pk}": "decline", "name": "M. Meise"})
    text = words(parsed(stranger.get(address(token)).content).all("main")[0].text)
    assert "It is noted as declined and will be repeated in the next report" in text
    assert Job.objects.within(cast.fleet).get().state == "declined"


def test_a_form_without_a_name_comes_back_as_it_was_filled_in(cast: Cast, stranger: Client) -> None:
    token = paper(cast)
    brakes, wash = rows(cast)
    form = {f"line-{brakes.pk}": option(brakes, 1), f"line-{wash.pk}": "decline", "name": " ", "reason": "rain"}
    response = stranger.post(address(token), form)
    assert response.status_code == 422
    page = parsed(response.content)
    checked = [each.attributes["value"] for each in page.all("input") if "checked" in each.attributes]
    assert checked == [option(brakes, 1), "decline"]
    (name,) = [each for each in page.all("input") if each.attributes.get("name") == "name"]
    assert "aria-invalid" in name.attributes
    assert words(page.all("textarea")[0].text) == "rain"
    assert {row.answer for row in rows(cast)} == {""}


@pytest.mark.parametrize(
    ("value", "status"),
    [("nonsense", 422), ("00000000-0000-4000-8000-000000000000", 422), ("\0", 422), ("", 422)],
)
def test_an_answer_that_the_form_does_not_offer_is_refused(
    cast: Cast, stranger: Client, value: str, status: int
) -> None:
    token = paper(cast)
    brakes, _ = rows(cast)
    response = stranger.post(address(token), {f"line-{brakes.pk}": value, "name": "M. Meise"})
    assert response.status_code == status
    assert {row.answer for row in rows(cast)} == {""}


def test_another_answer_to_an_answered_line_is_refused_with_a_word(cast: Cast, stranger: Client) -> None:
    token = paper(cast)
    brakes, _ = rows(cast)
    stranger.post(address(token), {f"line-{brakes.pk}": "decline", "name": "M. Meise"})
    response = stranger.post(address(token), {f"line-{brakes.pk}": option(brakes), "name": "X"})
    assert response.status_code == 409
    assert "was answered before by M. Meise" in words(parsed(response.content).all("main")[0].text)


def test_unknown_expired_replaced_and_withdrawn_links_get_the_same_bytes(cast: Cast, stranger: Client) -> None:
    expired, withdrawn, replaced = (sent(cast.access, cast.vehicle) for _ in range(3))
    Estimate.objects.within(cast.fleet).filter(pk=expired[0].pk).update(
        expires_at=timezone.now() - timedelta(seconds=1)
    )
    withdraw_estimate(cast.access, withdrawn[0])
    send_estimate(cast.access, replaced[0])
    draft = estimate(cast.access, cast.vehicle)
    tokens = [expired[1], withdrawn[1], replaced[1], str(draft.pk), "a" * 31, "b" * 32, "c" * 5_000]
    for method in (stranger.get, stranger.post):
        answers = [method(address(token), headers={"X-Request-ID": "the-same-for-all"}) for token in tokens]
        assert {answer.status_code for answer in answers} == {404}
        # The page prints the address that was asked for, and differs in nothing else.
        bodies = (answer.content.replace(token.encode(), b"") for answer, token in zip(answers, tokens, strict=True))
        assert len(set(bodies)) == 1


def test_a_hostile_text_is_only_text(cast: Cast, stranger: Client) -> None:
    bad = "<script>alert(1)</script>{{ 79|add:918 }}\u202e"
    made = line(bad[:150], explanation=bad)
    _, token = sent(cast.access, cast.vehicle, made, customer=bad[:100], note=bad)
    (row,) = rows(cast)
    stranger.post(address(token), {f"line-{row.pk}": "decline", "name": bad, "reason": bad})
    page = stranger.get(address(token))
    assert not parsed(page.content).all("script")
    assert "997" not in words(parsed(page.content).all("main")[0].text)


def test_the_page_shows_nothing_else_of_the_fleet(cast: Cast, stranger: Client) -> None:
    token = paper(cast)
    marker = "Zwrgl-7731"
    type(cast.vehicle).objects.within(cast.fleet).update(vin=marker, note=marker)
    Job.objects.create(fleet=cast.fleet, vehicle=cast.vehicle, title=marker, entered_by="x")
    body = stranger.get(address(token)).content.decode()
    assert marker not in body
    assert str(cast.fleet.pk) not in body
    assert str(cast.vehicle.pk) not in body
    assert token not in re.sub(r'action="[^"]*"', "", body)


def test_the_day_it_ends_is_told_in_the_fleets_own_zone(cast: Cast, stranger: Client) -> None:
    Fleet.objects.filter(pk=cast.fleet.pk).update(time_zone="Pacific/Auckland")
    cast.fleet.refresh_from_db()
    last = day(cast.access) + timedelta(days=5)
    _, token = send_estimate(cast.access, estimate(cast.access, cast.vehicle), valid_until=last)
    page = parsed(stranger.get(address(token)).content)
    assert last.isoformat() in [each.attributes.get("datetime") for each in page.all("time")]


@pytest.mark.parametrize("count", [1, 9])
def test_the_page_takes_the_same_number_of_queries_for_one_line_and_for_nine(
    cast: Cast, stranger: Client, count: int, django_assert_num_queries: Any
) -> None:
    _, token = sent(cast.access, cast.vehicle, *(line(f"line {number}") for number in range(count)))
    # The link with its fleet; the estimate with vehicle and contact, its lines, their options.
    with django_assert_num_queries(4):
        assert stranger.get(address(token)).status_code == 200
