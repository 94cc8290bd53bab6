"""Estimates: drafted, sent by a private link, answered, and what the answers do to the jobs."""

import threading
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import connection, connections

from fleetcare.fleet.models import Event, Fleet
from fleetcare.fleet.services.fleets import save_contact
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput, NotFound
from fleetcare.support.secret_links import digest_of
from scheduling.models import Estimate, EstimateLine, Job
from scheduling.services.estimates import (
    LineDraft,
    OptionDraft,
    answer_estimate,
    estimate_behind,
    send_estimate,
    withdraw_estimate,
)
from scheduling.services.jobs import PartLine, declined_safety_work, defer_job
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import PADS, inspect, result
from tests.scheduling.work_given import BOOT_JOB, PADS_JOB, SIDES, closed, day, estimate, job, line, sent


def url(cast: Cast, *rest: Any) -> str:
    tail = "".join(f"{part}/" for part in rest)
    return f"/api/v1/fleets/{cast.fleet.pk}/estimates/{tail}"


def drafts(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/estimates/"


def money(amount: str, currency: str = "EUR") -> dict[str, str]:
    return {"amount": amount, "currency": currency}


def priced(title: str, parts: str, labour: str, **more: Any) -> dict[str, Any]:
    return {"title": title, "parts": money(parts), "labour": money(labour), **more}


def lines_of(token: str) -> list[Any]:
    return list(estimate_behind(token)[1].lines.all())


def options_of(row: Any) -> list[Any]:
    return list(row.options.all())


def all_jobs(cast: Cast) -> list[tuple[str, str, str]]:
    rows = Job.objects.within(cast.fleet).order_by("created_at")
    return list(rows.values_list("title", "state", "decided_by"))


def test_an_estimate_is_drafted_safety_first_and_adds_up_to_the_cent(api: Any, cast: Cast) -> None:
    pads = job(cast.access, cast.vehicle)
    body = {
        "customer": "M. Meise",
        "tax_percent": 19,
        "lines": [
            {"options": [priced("Polish the lamps", "0.50", "0.00")]},
            {"options": [priced("Grease the lock", "0.50", "0.00")]},
            {
                "title": "Front brakes",
                "explanation": "3 mm left",
                "options": [
                    {"job_id": str(pads.pk), "parts": money("49.95"), "labour": money("60.00")},
                    priced("Pads and discs", "180.00", "90.00", hours=1.5),
                ],
            },
        ],
    }
    answer = api.post(drafts(cast), body)
    assert answer.status_code == 201
    made = answer.json()
    assert answer["Location"] == url(cast, made["id"])
    assert [(each["title"], each["safety"]) for each in made["lines"]] == [
        ("Front brakes", True), ("Polish the lamps", False), ("Grease the lock", False),
    ]  # fmt: skip
    first = made["lines"][0]["options"][0]
    assert (first["title"], first["job_id"], first["positions"]) == (pads.title, str(pads.pk), SIDES)
    # 109.95 at 19 % is 20.8905; each of the small ones 0.095, rounded half up to 0.10.
    assert first["price"] == {"net": money("109.95"), "tax": money("20.89"), "gross": money("130.84")}
    assert made["offered"] == {"net": money("110.95"), "tax": money("21.09"), "gross": money("132.04")}
    assert made["accepted"] == {"net": money("0.00"), "tax": money("0.00"), "gross": money("0.00")}
    assert (made["state"], made["number"]) == ("draft", 1)


def test_a_job_of_the_catalogue_without_a_price_is_priced_at_the_fleets_own(api: Any, cast: Cast) -> None:
    Fleet.objects.filter(pk=cast.fleet.pk).update(labour_per_hour_minor=6_000, price_factor=Decimal("1.1"))
    option = {"job": PADS_JOB, "positions": ["front-left"]}
    made = api.post(drafts(cast), {"lines": [{"options": [option]}]}).json()
    (shown,) = made["lines"][0]["options"]
    # The catalogue says 0.7 h and 50 euros; two wheels and two calipers come off (0.25 and 0.2 h each), and the pads
    # are bedded in and the nuts tightened again (0.3 and 0.1 h).
    assert (shown["hours"], shown["labour"], shown["parts"]) == (2.0, money("120.00"), money("55.00"))
    assert shown["positions"] == SIDES
    assert made["lines"][0]["safety"]


def test_what_two_jobs_share_is_charged_at_the_first_line_only(api: Any, cast: Cast) -> None:
    Fleet.objects.filter(pk=cast.fleet.pk).update(labour_per_hour_minor=6_000, price_factor=Decimal(1))
    pads = {"options": [{"job": PADS_JOB, "positions": ["front-left"]}]}
    discs = {"options": [{"job": "front-brake-disc.replace", "positions": ["front-left"]}]}
    made = api.post(drafts(cast), {"lines": [pads, discs]}).json()
    alone = api.post(drafts(cast), {"lines": [discs]}).json()
    # 1.2 h for the discs themselves; wheels, calipers, bedding in and nuts are 1.3 h.
    assert made["lines"][1]["options"][0]["hours"] == 1.2
    assert alone["lines"][0]["options"][0]["hours"] == 2.5


def test_a_currency_without_cents_is_rounded_to_whole_units(cast: Cast) -> None:
    Fleet.objects.filter(pk=cast.fleet.pk).update(currency="JPY")
    cast.fleet.refresh_from_db()
    made = estimate(cast.access, cast.vehicle, line(parts=1_005, labour=0), tax_percent=Decimal(10))
    from scheduling.api.estimates import estimate_json
    from scheduling.selectors import estimates

    body = estimate_json(cast.access, estimates(cast.access).one(pk=made.pk))
    assert body["offered"] == {"net": money("1005", "JPY"), "tax": money("101", "JPY"), "gross": money("1106", "JPY")}


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"lines": [{"options": []}]}, "/lines/0/options"),
        ({"lines": [{"options": [{}]}]}, "/lines/0/options/0/title"),
        ({"lines": [{"options": [{"job": "halo.polish"}]}]}, "/lines/0/options/0/job"),
        ({"lines": [{"options": [{"job": PADS_JOB}]}]}, "/lines/0/options/0/positions"),
        ({"lines": [{"options": [{"job_id": "00000000-0000-4000-8000-000000000000"}]}]}, "/lines/0/options/0/job_id"),
        ({"lines": [{"options": [{"title": "x", "parts": money("-1.00")}]}]}, "/lines/0/options/0/parts/amount"),
        ({"lines": [{"options": [{"title": "x", "parts": money("1.005")}]}]}, "/lines/0/options/0/parts/amount"),
        ({"lines": [{"options": [{"title": "x", "parts": money("1", "USD")}]}]}, "/lines/0/options/0/parts/currency"),
        ({"tax_percent": 101, "lines": []}, "/tax_percent"),
        ({"tax_percent": 7.123, "lines": []}, "/tax_percent"),
        ({"contact": "00000000-0000-4000-8000-000000000000", "lines": []}, "/contact"),
        ({"lines": [], "colour": 1}, "/colour"),
    ],
)
def test_bad_input_names_its_place_and_stores_nothing(api: Any, cast: Cast, change: Any, place: str) -> None:
    response = api.post(drafts(cast), change)
    assert response.status_code == 400
    assert [fault["pointer"] for fault in response.json()["errors"]] == [place]
    assert not Estimate.objects.within(cast.fleet).exists()


def test_foreign_jobs_and_contacts_are_refused_like_missing_ones(api: Any, cast: Cast, strangers: Cast) -> None:
    their_job = job(strangers.access, strangers.vehicle)
    their_contact = save_contact(strangers.access, None, vehicles=[], name="Driver", email="d@x.example")
    missing = "00000000-0000-4000-8000-000000000000"
    for make in (
        lambda key: {"lines": [{"options": [{"job_id": key}]}]},
        lambda key: {"contact": key, "lines": []},
    ):
        foreign = their_job.pk if "lines" in make("x") and make("x")["lines"] else their_contact.pk
        answers = [api.post(drafts(cast), make(str(key)), HTTP_X_REQUEST_ID="same-same") for key in (foreign, missing)]
        assert answers[0].status_code == 400
        assert answers[0].content == answers[1].content


def test_a_draft_is_said_anew_as_a_whole_and_stands_once_it_was_sent(api: Any, cast: Cast) -> None:
    made = estimate(cast.access, cast.vehicle, line("A"), line("B"))
    body = {"lines": [{"options": [priced("C", "1.00", "2.00")]}], "note": "Ready on Friday"}
    assert api.put(url(cast, made.pk), body).status_code == 428
    changed = api.put(url(cast, made.pk), body, HTTP_IF_MATCH='"1"')
    assert [each["title"] for each in changed.json()["lines"]] == ["C"]
    assert EstimateLine.objects.within(cast.fleet).count() == 1
    assert api.put(url(cast, made.pk), body, HTTP_IF_MATCH='"1"').status_code == 412
    assert api.post(url(cast, made.pk, "send"), {}).status_code == 200
    refused = api.put(url(cast, made.pk), body, HTTP_IF_MATCH="*")
    assert (refused.status_code, refused.json()["type"]) == (409, "urn:fleetcare:problem:estimate-sent")
    assert api.delete(url(cast, made.pk)).status_code == 409


def test_a_draft_can_be_thrown_away_and_its_number_is_given_again(api: Any, cast: Cast) -> None:
    first, second = estimate(cast.access, cast.vehicle), estimate(cast.access, cast.vehicle)
    assert (first.number, second.number) == (1, 2)
    assert api.delete(url(cast, second.pk)).status_code == 204
    assert estimate(cast.access, cast.vehicle).number == 2


def test_the_link_is_shown_once_and_only_its_digest_is_stored(api: Any, cast: Cast) -> None:
    made = estimate(cast.access, cast.vehicle)
    answer = api.post(url(cast, made.pk, "send"), {}).json()
    token = answer["link"].rstrip("/").rpartition("/")[2]
    assert len(token) == 32
    stored = Estimate.objects.within(cast.fleet).get()
    assert stored.token_digest == digest_of(token)
    assert token not in str(vars(stored))
    assert "link" not in api.get(url(cast, made.pk)).json()
    again = api.post(url(cast, made.pk, "send"), {}).json()["link"].rstrip("/").rpartition("/")[2]
    assert estimate_behind(again)[1].pk == made.pk
    with pytest.raises(NotFound):
        estimate_behind(token)


def test_the_last_day_is_a_whole_day_in_the_fleets_own_zone(cast: Cast) -> None:
    Fleet.objects.filter(pk=cast.fleet.pk).update(time_zone="Pacific/Auckland")
    cast.fleet.refresh_from_db()
    with time_machine.travel("2026-01-10T00:00:00+00:00", tick=False) as clock:
        made, token = send_estimate(cast.access, estimate(cast.access, cast.vehicle), valid_until=day(cast.access))
        clock.move_to("2026-01-10T10:59:59+00:00")
        assert estimate_behind(token)[1].pk == made.pk
        clock.move_to("2026-01-10T11:00:00+00:00")
        with pytest.raises(NotFound):
            estimate_behind(token)


@pytest.mark.parametrize("days", [-1, 181])
def test_a_link_lasts_from_today_to_half_a_year(api: Any, cast: Cast, days: int) -> None:
    made = estimate(cast.access, cast.vehicle)
    body = {"valid_until": (day(cast.access) + timedelta(days=days)).isoformat()}
    response = api.post(url(cast, made.pk, "send"), body)
    assert [fault["pointer"] for fault in response.json()["errors"]] == ["/valid_until"]


def test_an_empty_estimate_is_not_sent(api: Any, cast: Cast) -> None:
    made = api.post(drafts(cast), {"lines": []}).json()
    assert api.post(url(cast, made["id"], "send"), {}).json()["type"] == "urn:fleetcare:problem:no-lines"


def test_withdrawing_kills_the_link_and_keeps_what_was_answered(api: Any, cast: Cast) -> None:
    made, token = sent(cast.access, cast.vehicle, line("A"), line("B"))
    first = lines_of(token)[0]
    answer_estimate(token, name="M. Meise", choices={first.pk: options_of(first)[0].pk})
    body = api.post(url(cast, made.pk, "withdraw")).json()
    assert body["state"] == "withdrawn"
    assert [each["answer"] for each in body["lines"]] == ["accepted", None]
    for act in (lambda: estimate_behind(token), lambda: answer_estimate(token, name="M", choices={})):
        with pytest.raises(NotFound):
            act()
    assert api.post(url(cast, made.pk, "withdraw")).status_code == 409
    assert api.post(url(cast, made.pk, "send"), {}).status_code == 409


def test_an_answered_estimate_stays_answered_when_its_link_is_taken_back(api: Any, cast: Cast) -> None:
    made, token = sent(cast.access, cast.vehicle)
    answer_estimate(token, name="M. Meise", choices={lines_of(token)[0].pk: None})
    assert api.post(url(cast, made.pk, "withdraw")).json()["state"] == "answered"
    with pytest.raises(NotFound):
        estimate_behind(token)


def test_an_expired_estimate_says_so(api: Any, cast: Cast) -> None:
    made, _ = sent(cast.access, cast.vehicle)
    Estimate.objects.within(cast.fleet).update(expires_at=made.sent_at)
    assert api.get(url(cast, made.pk)).json()["state"] == "expired"


def test_accepting_confirms_the_job_there_is_or_makes_it(cast: Cast) -> None:
    pads = job(cast.access, cast.vehicle)
    known = LineDraft(options=(OptionDraft(job_id=pads.pk),))
    new = LineDraft(options=(OptionDraft(job_key=BOOT_JOB, positions=("front-left",)),))
    made, token = sent(cast.access, cast.vehicle, known, new, line("Wash it"))
    rows = lines_of(token)
    answer_estimate(token, name=" M. Meise ", choices={row.pk: options_of(row)[0].pk for row in rows})
    assert all_jobs(cast) == [
        (pads.title, "open", "M. Meise"),
        ("Renew the outer boot, wash and grease the joint", "open", "M. Meise"),
        ("Wash it", "open", "M. Meise"),
    ]
    boot = Job.objects.within(cast.fleet).get(job_key=BOOT_JOB)
    assert (boot.origin, boot.positions, boot.part_key) == ("estimate", ["front-left"], "outer-driveshaft-boot")
    stored = Estimate.objects.within(cast.fleet).get(pk=made.pk)
    assert stored.state == "answered"
    assert stored.answered_at is not None
    (event,) = Event.objects.within(cast.fleet).filter(kind="estimate.answered")
    assert event.facts == {"number": 1, "answered_by": "M. Meise", "lines": {"accepted": 3, "declined": 0}}


def test_the_job_opened_meanwhile_is_taken_instead_of_a_second_one(cast: Cast) -> None:
    new = LineDraft(options=(OptionDraft(job_key=BOOT_JOB, positions=("front-left",)),))
    _, token = sent(cast.access, cast.vehicle, new)
    waiting = job(cast.access, cast.vehicle, BOOT_JOB)
    defer_job(cast.access, waiting, until=day(cast.access) + timedelta(days=9), reason="asked first")
    (row,) = lines_of(token)
    answer_estimate(token, name="M. Meise", choices={row.pk: options_of(row)[0].pk})
    (stored,) = Job.objects.within(cast.fleet)
    assert (stored.pk, stored.state, stored.reason) == (waiting.pk, "open", "")


def test_choosing_one_way_puts_the_other_down_and_is_no_declined_safety_work(cast: Cast) -> None:
    pads = job(cast.access, cast.vehicle)
    both = LineDraft(
        title="Front brakes",
        options=(OptionDraft(job_id=pads.pk), OptionDraft(job_key="front-brake-disc.replace", positions=tuple(SIDES))),
    )
    _, token = sent(cast.access, cast.vehicle, both)
    (row,) = lines_of(token)
    first, second = options_of(row)
    answer_estimate(token, name="M. Meise", choices={row.pk: second.pk})
    states = dict(Job.objects.within(cast.fleet).values_list("job_key", "state"))
    assert states == {PADS_JOB: "declined", "front-brake-disc.replace": "open"}
    assert Job.objects.within(cast.fleet).get(pk=first.job_id).reason.startswith("instead: ")


def test_declined_safety_work_is_recorded_with_time_name_and_reason_and_repeated(cast: Cast) -> None:
    inspect(cast.access, cast.vehicle, result(PADS, "front-left", grade="dangerous"), inspected_on=day(cast.access, 3))
    pads = LineDraft(options=(OptionDraft(job_key=PADS_JOB, positions=("front-left",)),))
    made, token = sent(cast.access, cast.vehicle, line("Wash it"), pads)
    first, second = lines_of(token)
    assert (first.before_driving, first.safety, second.safety) == (True, True, False)
    answer_estimate(token, name="M. Meise", choices={first.pk: None, second.pk: None}, reason="sell it")
    # Nobody needs a record of the wash.
    assert all_jobs(cast) == [("Renew the front pads, both sides", "declined", "M. Meise")]
    (work,) = declined_safety_work(cast.access, cast.vehicle)
    assert (work.declined_on, work.declined_by, work.job.reason) == (day(cast.access), "M. Meise", "sell it")
    row = EstimateLine.objects.within(cast.fleet).get(pk=first.pk)
    assert (row.answer, row.answered_by, row.reason) == ("declined", "M. Meise", "sell it")
    assert row.answered_at is not None
    assert Estimate.objects.within(cast.fleet).get(pk=made.pk).state == "answered"


def test_free_safety_work_that_was_declined_is_repeated_too(cast: Cast) -> None:
    _, token = sent(cast.access, cast.vehicle, line("Weld the jacking point", safety=True))
    answer_estimate(token, name="M. Meise", choices={lines_of(token)[0].pk: None})
    assert [work.job.title for work in declined_safety_work(cast.access, cast.vehicle)] == ["Weld the jacking point"]


def test_the_same_answer_sent_twice_changes_nothing_and_another_one_is_refused(cast: Cast) -> None:
    _, token = sent(cast.access, cast.vehicle, line("A", safety=True), line("B"))
    first, second = lines_of(token)
    choices = {first.pk: None, second.pk: options_of(second)[0].pk}
    answer_estimate(token, name="M. Meise", choices=choices, reason="no")
    before = (all_jobs(cast), list(EstimateLine.objects.within(cast.fleet).order_by("line").values()))
    answer_estimate(token, name="Somebody Else", choices=choices, reason="another")
    with pytest.raises(Conflict) as caught:
        answer_estimate(token, name="Somebody Else", choices={second.pk: None})
    assert caught.value.code == "answered-before"
    assert (all_jobs(cast), list(EstimateLine.objects.within(cast.fleet).order_by("line").values())) == before
    assert Event.objects.within(cast.fleet).filter(kind="estimate.answered").count() == 1


def test_lines_can_be_answered_one_after_the_other(cast: Cast) -> None:
    made, token = sent(cast.access, cast.vehicle, line("A"), line("B"))
    first, second = lines_of(token)
    answer_estimate(token, name="M", choices={first.pk: None})
    assert Estimate.objects.within(cast.fleet).get(pk=made.pk).state == "sent"
    answer_estimate(token, name="N", choices={second.pk: options_of(second)[0].pk})
    names = EstimateLine.objects.within(cast.fleet).order_by("line").values_list("answered_by", flat=True)
    assert list(names) == ["M", "N"]
    assert Estimate.objects.within(cast.fleet).get(pk=made.pk).state == "answered"


def test_an_answer_without_name_or_to_nothing_on_the_paper_is_refused(cast: Cast) -> None:
    _, token = sent(cast.access, cast.vehicle)
    _, other = sent(cast.access, cast.vehicle)
    (row,), (foreign,) = lines_of(token), lines_of(other)
    for name, choices, pointer in (
        ("  ", {row.pk: None}, "/name"),
        ("M", {}, "/lines"),
        ("M", {foreign.pk: None}, f"/lines/{foreign.pk}"),
        ("M", {row.pk: options_of(foreign)[0].pk}, f"/lines/{row.pk}"),
    ):
        with pytest.raises(InvalidInput) as caught:
            answer_estimate(token, name=name, choices=choices)
        assert [fault.pointer for fault in caught.value.faults] == [pointer]
    assert not EstimateLine.objects.within(cast.fleet).exclude(answer="").exists()


def test_a_job_that_was_done_meanwhile_is_not_touched_by_a_late_answer(cast: Cast) -> None:
    pads = job(cast.access, cast.vehicle)
    _, token = sent(cast.access, cast.vehicle, LineDraft(options=(OptionDraft(job_id=pads.pk),)))
    closed(cast.access, pads)
    answer_estimate(token, name="M. Meise", choices={lines_of(token)[0].pk: None})
    assert Job.objects.within(cast.fleet).get(pk=pads.pk).state == "done"
    assert declined_safety_work(cast.access, cast.vehicle) == []


def test_only_planners_draft_and_send(client_of: Any, cast: Cast) -> None:
    body = {"lines": [{"options": [priced("A", "1.00", "1.00")]}]}
    assert client_of(Role.INSPECTOR).post(drafts(cast), body).status_code == 403
    assert client_of(Role.PLANNER).post(drafts(cast), body).status_code == 201


def test_estimates_are_listed_by_vehicle_and_state(api: Any, cast: Cast) -> None:
    other = factories.vehicle(cast.fleet, name="Other")
    estimate(cast.access, cast.vehicle)
    sent(cast.access, other)
    assert [each["vehicle_name"] for each in api.get(url(cast)).json()["items"]] == ["Other", "Home car"]
    assert [each["vehicle_name"] for each in api.get(url(cast), {"state": "sent"}).json()["items"]] == ["Other"]
    assert [each["state"] for each in api.get(drafts(cast)).json()["items"]] == ["draft"]
    assert api.get(url(cast), {"state": "eaten"}).status_code == 400


@pytest.mark.parametrize("count", [1, 7])
def test_the_list_and_drafting_take_the_same_number_of_queries_for_one_line_and_for_seven(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.PLANNER)
    for _ in range(count):
        estimate(cast.access, cast.vehicle, *(line(f"line {number}") for number in range(count)))
    client.get(url(cast))
    # The key, the page with vehicle and contact, lines, options.
    with django_assert_num_queries(4):
        assert len(client.get(url(cast)).json()["items"]) == count
    option = {"job": "brake-hose.replace", "positions": ["front-left"]}
    body = {"lines": [{"options": [option, priced("B", "1.00", "1.00")]}] * count}
    # Key, vehicle, dangers, number, estimate, prices (3), lines and options within a savepoint, and the answer's three.
    with django_assert_num_queries(15):
        assert client.post(drafts(cast), body).status_code == 201


@pytest.mark.django_db(transaction=True)
def test_two_answers_at_the_same_moment_make_one_job(request: Any) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL: one SQLite file in memory takes no two writers")
    cast = request.getfixturevalue("cast")
    boot = LineDraft(options=(OptionDraft(job_key=BOOT_JOB, positions=("front-left",)),))
    _, token = sent(cast.access, cast.vehicle, boot)
    (row,) = lines_of(token)
    choices, ready, outcomes = {row.pk: options_of(row)[0].pk}, threading.Barrier(4), []

    def act(name: str) -> None:
        try:
            ready.wait(10)
            answer_estimate(token, name=name, choices=choices)
            outcomes.append("stored")
        except (Conflict, NotFound) as error:
            outcomes.append(error.code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=act, args=(f"person {number}",)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    # The same answer again is no fault, whoever sends it.
    assert outcomes == ["stored"] * 4
    assert Job.objects.within(cast.fleet).count() == 1
    assert Event.objects.within(cast.fleet).filter(kind="estimate.answered").count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_who_draft_at_the_same_moment_get_two_numbers(request: Any) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL: one SQLite file in memory takes no two writers")
    cast = request.getfixturevalue("cast")
    ready = threading.Barrier(3)

    def act() -> None:
        try:
            ready.wait(10)
            estimate(cast.access, cast.vehicle)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=act) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(Estimate.objects.within(cast.fleet).values_list("number", flat=True)) == [1, 2, 3]


def test_a_withdrawal_that_comes_first_wins_over_the_answer(cast: Cast) -> None:
    made, token = sent(cast.access, cast.vehicle)
    (row,) = lines_of(token)
    withdraw_estimate(cast.access, Estimate.objects.within(cast.fleet).get(pk=made.pk))
    with pytest.raises(NotFound):
        answer_estimate(token, name="M", choices={row.pk: None})
    assert EstimateLine.objects.within(cast.fleet).get().answer == ""


def test_a_vehicle_goes_with_its_jobs_parts_and_estimates(cast: Cast) -> None:
    pads = job(cast.access, cast.vehicle)
    _, token = sent(cast.access, cast.vehicle, LineDraft(options=(OptionDraft(job_id=pads.pk),)))
    (row,) = lines_of(token)
    answer_estimate(token, name="M. Meise", choices={row.pk: options_of(row)[0].pk})
    closed(cast.access, Job.objects.within(cast.fleet).get(), parts=(PartLine("pads"),))
    cast.vehicle.delete()
    for model in (Job, Estimate, EstimateLine):
        assert not model.objects.within(cast.fleet).exists()
