"""The walk: joined by two phones, merged per check, repeated without effect, finished or thrown away."""

import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from decimal import Decimal
from threading import Barrier
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import OdometerReading
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, Forbidden, InvalidInput
from fleetcare.support.bell import bell_held
from inspections.models import Finding, Inspection, Result, ResultEntry
from inspections.selectors import journal, open_walks
from inspections.services.entries import overruled
from inspections.services.walking import (
    IDLE_DAYS,
    OVERTAKEN,
    REFUSED,
    STORED,
    discard_walk,
    finish_walk,
    repeat_last,
    save_entries,
    start_walk,
)
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result

DAY, LATER = date(2024, 5, 1), date(2024, 6, 1)
KM = Decimal(120_000)
HOSE = "brake-hose.condition"
NEAR, FAR = str(uuid.UUID(int=1)), str(uuid.UUID(int=2))
"""Two phones."""


def at_once(test: Any) -> Any:
    """Several threads write: the in-memory database of the quick run is one connection, so PostgreSQL it is."""
    elsewhere = "postgres" not in str(settings.DATABASES["default"]["ENGINE"])
    marked = pytest.mark.skipif(elsewhere, reason="needs PostgreSQL (DATABASE_URL)")(test)
    return pytest.mark.slow(pytest.mark.django_db(transaction=True)(marked))


def begin(cast: Cast, **values: Any) -> Inspection:
    given = {"sheet": "wheels-off", "inspected_on": LATER, "shown_km": Decimal(121_000), **values}
    return start_walk(cast.access, cast.vehicle, **given)[0]


def entry(check: str = BOOT, position: str = "front-right", age: float = 0.0, **said: Any) -> dict[str, Any]:
    return {"id": uuid.uuid4(), "age_seconds": age, **result(check, position, **said)}


def states(cast: Cast, walk: Inspection, *entries: dict[str, Any], device: str = NEAR) -> list[str]:
    return [outcome.state for outcome in save_entries(cast.access, walk, entries, device)]


def standing(walk: Inspection) -> dict[str, Any]:
    rows = Result.objects.within(walk.fleet_id).filter(inspection=walk)
    return {f"{row.check_key}@{row.position}": row.grade for row in rows}


def said_so_far(walk: Inspection) -> int:
    return ResultEntry.objects.within(walk.fleet_id).filter(inspection=walk).count()


# --- Starting ---------------------------------------------------------------------------------------------------------


def test_two_who_start_the_same_sheet_share_one_walk(cast: Cast) -> None:
    first, new = start_walk(cast.access, cast.vehicle, sheet="full", inspected_on=LATER, shown_km=KM)
    second, again = start_walk(cast.access, cast.vehicle, sheet="full", inspected_on=LATER, shown_km=KM + 1)
    assert (new, again) == (True, False)
    assert first.pk == second.pk
    assert OdometerReading.objects.within(cast.fleet).count() == 1


@at_once
def test_phones_that_start_at_the_same_moment_share_one_walk(cast: Cast) -> None:
    phones, ready = 6, Barrier(6)

    def start(_: int) -> uuid.UUID:
        ready.wait(timeout=10)
        try:
            with bell_held():
                return begin(cast).pk
        finally:
            connection.close()

    with ThreadPoolExecutor(phones) as pool:
        begun = set(pool.map(start, range(phones)))
    assert len(begun) == 1
    assert open_walks(cast.vehicle).count() == 1


@at_once
def test_phones_that_send_at_the_same_moment_lose_nothing(cast: Cast) -> None:
    walk, phones = begin(cast), 6
    ready = Barrier(phones)
    ages = [float(60 * number) for number in range(phones)]

    def send(number: int) -> list[str]:
        ready.wait(timeout=10)
        mine = entry(HOSE, "front-left" if number % 2 else "front-right", grade="minor")
        disputed = entry(grade="dangerous" if number == 0 else "sound", age=ages[number])
        try:
            return states(cast, walk, mine, disputed, device=str(uuid.UUID(int=number + 1)))
        finally:
            connection.close()

    with ThreadPoolExecutor(phones) as pool:
        told = list(pool.map(send, range(phones)))
    assert REFUSED not in {state for states_of_one in told for state in states_of_one}
    assert said_so_far(walk) == 2 * phones
    # The phone that spoke last said dangerous, whichever came through first.
    assert standing(walk)[f"{BOOT}@front-right"] == 3


def test_another_sheet_and_a_wish_for_another_walk_are_separate(cast: Cast) -> None:
    first = begin(cast)
    assert begin(cast, sheet="full").pk != first.pk
    assert begin(cast, anew=True).pk not in {first.pk}
    assert open_walks(cast.vehicle).count() == 3


def test_a_start_sent_again_is_the_same_walk_even_once_completed(cast: Cast) -> None:
    key = uuid.uuid4()
    walk = begin(cast, key=key, anew=True)
    states(cast, walk, entry(grade="sound"))
    finish_walk(cast.access, walk, inspected_on=LATER, shown_km=Decimal(121_000))
    assert begin(cast, key=key, anew=True).pk == walk.pk == key


def test_a_walk_left_alone_for_weeks_is_not_joined_unasked_and_not_lost(cast: Cast) -> None:
    old = begin(cast)
    long_ago = timezone.now() - timedelta(days=IDLE_DAYS + 1)
    Inspection.objects.within(cast.fleet).filter(pk=old.pk).update(created_at=long_ago)
    new = begin(cast)
    assert new.pk != old.pk
    assert open_walks(cast.vehicle).count() == 2
    # Somebody goes on with it after all: then it is alive again.
    old.refresh_from_db()
    assert states(cast, old, entry(grade="minor")) == [STORED]
    assert begin(cast).pk == old.pk or open_walks(cast.vehicle).order_by("-touched_at")[0].pk == old.pk


def test_a_viewer_neither_starts_nor_records_nor_finishes_nor_discards(cast: Cast) -> None:
    walk = begin(cast)
    viewer = Access(cast.fleet, Role.VIEWER, "user:viewer")
    for act in (
        lambda: start_walk(viewer, cast.vehicle, sheet="full", inspected_on=LATER, shown_km=KM),
        lambda: save_entries(viewer, walk, [entry(grade="sound")]),
        lambda: repeat_last(viewer, walk, [(BOOT, "front-right")]),
        lambda: finish_walk(viewer, walk, inspected_on=LATER, shown_km=KM),
        lambda: discard_walk(viewer, walk),
    ):
        with pytest.raises(Forbidden):
            act()


# --- Recording --------------------------------------------------------------------------------------------------------


def test_the_same_queue_sent_twice_stores_each_word_once(cast: Cast) -> None:
    walk = begin(cast)
    queue = [entry(grade="major"), entry(PADS, "front-left", measurement={"value": 3.5, "unit": "mm"})]
    assert states(cast, walk, *queue) == [STORED, STORED]
    assert states(cast, walk, *queue) == [STORED, STORED]
    assert said_so_far(walk) == 2
    assert standing(walk) == {f"{BOOT}@front-right": 2, f"{PADS}@front-left": 1}


def test_what_was_said_later_stands_whichever_phone_sends_first(cast: Cast) -> None:
    for order in (0, 1):
        walk = begin(cast, anew=True)
        early, late = entry(grade="dangerous", age=600.0), entry(grade="minor", age=60.0)
        pair = [(early, NEAR), (late, FAR)]
        told = [states(cast, walk, each, device=device)[0] for each, device in (pair if order == 0 else pair[::-1])]
        assert standing(walk) == {f"{BOOT}@front-right": 1}
        assert told == ([STORED, STORED] if order == 0 else [STORED, OVERTAKEN])


def test_what_was_overtaken_is_kept_and_shown_beside_what_stands(cast: Cast) -> None:
    walk = begin(cast)
    states(cast, walk, entry(grade="dangerous", age=600.0), device=NEAR)
    states(cast, walk, entry(grade="sound", age=60.0), device=FAR)
    results = Result.objects.within(cast.fleet).filter(inspection=walk)
    (dissent,) = overruled(journal(walk), results)[BOOT, "front-right"]
    assert dissent.said["grade"] == 3
    # The first phone looks again and agrees: nothing is disputed any more.
    states(cast, walk, entry(grade="sound"), device=NEAR)
    assert overruled(journal(walk), results.all()) == {}


def test_a_change_of_mind_on_one_phone_is_no_dispute(cast: Cast) -> None:
    walk = begin(cast)
    states(cast, walk, entry(grade="major", age=20.0), entry(grade="minor", age=10.0))
    results = Result.objects.within(cast.fleet).filter(inspection=walk)
    assert standing(walk) == {f"{BOOT}@front-right": 1}
    assert said_so_far(walk) == 2
    assert overruled(journal(walk), results) == {}


def test_one_phones_words_keep_their_order_though_the_second_travels_faster(cast: Cast) -> None:
    walk = begin(cast)
    # The second was said later, but its age came out larger than the time since the first one was taken.
    assert states(cast, walk, entry(grade="sound")) == [STORED]
    assert states(cast, walk, entry(grade="major", age=0.5)) == [STORED]
    assert standing(walk) == {f"{BOOT}@front-right": 2}
    results = Result.objects.within(cast.fleet).filter(inspection=walk)
    assert overruled(journal(walk), results) == {}


def test_a_phone_with_a_clock_in_the_future_gains_nothing(cast: Cast) -> None:
    walk = begin(cast)
    before = timezone.now()
    states(cast, walk, entry(grade="sound", age=0.0))
    row = Result.objects.within(cast.fleet).get(inspection=walk)
    assert before <= row.recorded_at <= timezone.now()


def test_a_refused_word_does_not_hold_up_the_others_and_says_why(cast: Cast) -> None:
    walk = begin(cast)
    queue = [
        entry(PADS, "front-left", measurement={"value": 900.0, "unit": "mm"}),
        entry("no-such.check", ""),
        entry(grade="minor"),
        entry(HOSE, "front-left", grade="sound", not_examined="no access"),
    ]
    outcomes = save_entries(cast.access, walk, queue)
    assert [outcome.state for outcome in outcomes] == [REFUSED, REFUSED, STORED, REFUSED]
    assert "cannot be true" in outcomes[0].detail
    assert said_so_far(walk) == 1


def test_a_queue_that_comes_after_completion_is_refused_but_not_what_had_come_before(cast: Cast) -> None:
    walk, known = begin(cast), entry(grade="minor")
    states(cast, walk, known)
    finish_walk(cast.access, walk, inspected_on=LATER, shown_km=Decimal(121_000))
    # The answer to the first sending was lost on the way; asking again is harmless.
    assert states(cast, walk, known) == [STORED]
    with pytest.raises(Conflict) as clash:
        states(cast, walk, known, entry(HOSE, "front-left", grade="sound"))
    assert clash.value.code == "completed"
    assert standing(walk) == {f"{BOOT}@front-right": 1}


def test_an_id_of_another_walk_is_a_clash_and_changes_nothing(cast: Cast, strangers: Cast) -> None:
    theirs, mine, taken = begin(strangers), begin(cast), entry(grade="minor")
    save_entries(strangers.access, theirs, [taken])
    with pytest.raises(Conflict):
        states(cast, mine, taken)
    assert standing(mine) == {}


# --- Same as last time ------------------------------------------------------------------------------------------------


@pytest.fixture
def last_time(cast: Cast) -> Inspection:
    return inspect(
        cast.access,
        cast.vehicle,
        result(BOOT, "front-right", grade="major", observations=["torn"], note="grease"),
        result(BOOT, "front-left"),
        result(PADS, "front-left", measurement={"value": 5.0, "unit": "mm"}),
        result(HOSE, "front-left", not_examined="no access"),
        inspected_on=DAY,
        shown_km=KM,
    )


ASKED = [(BOOT, "front-right"), (BOOT, "front-left"), (PADS, "front-left"), (HOSE, "front-left"), (HOSE, "front-right")]


def test_same_as_last_repeats_what_was_examined_by_eye_and_marks_it(cast: Cast, last_time: Inspection) -> None:
    walk = begin(cast)
    states(cast, walk, entry(BOOT, "front-left", grade="minor"))
    assert repeat_last(cast.access, walk, ASKED) == 1
    rows = {row.position: row for row in Result.objects.within(cast.fleet).filter(inspection=walk)}
    torn = rows["front-right"]
    assert (torn.grade, torn.observations, torn.note, torn.same_as_last) == (2, ["torn"], "grease", True)
    # What this walk has said already is left as it is.
    assert (rows["front-left"].grade, rows["front-left"].same_as_last) == (1, False)
    assert len(rows) == 2
    assert repeat_last(cast.access, walk, ASKED) == 0


def test_same_as_last_takes_the_newest_look_that_is_not_later_than_the_walk(cast: Cast, last_time: Inspection) -> None:
    inspect(cast.access, cast.vehicle, result(grade="minor"), inspected_on=date(2024, 5, 20), shown_km=KM + 500)
    inspect(cast.access, cast.vehicle, result(grade="dangerous"), inspected_on=date(2024, 7, 1), shown_km=KM + 5000)
    walk = begin(cast)
    repeat_last(cast.access, walk, [(BOOT, "front-right")])
    assert standing(walk) == {f"{BOOT}@front-right": 1}


@pytest.mark.parametrize(
    ("place", "why"),
    [
        ((PADS, "front-left"), "measure it again"),
        ((HOSE, "front-left"), "not examined"),
        ((HOSE, "front-right"), "not examined"),
    ],
)
def test_a_queued_same_as_last_is_refused_where_there_is_nothing_to_repeat(
    cast: Cast, last_time: Inspection, place: tuple[str, str], why: str
) -> None:
    walk = begin(cast)
    given = {"id": uuid.uuid4(), "check": place[0], "position": place[1], "same_as_last": True}
    (outcome,) = save_entries(cast.access, walk, [given])
    assert outcome.state == REFUSED
    assert why in outcome.detail


# --- Finishing --------------------------------------------------------------------------------------------------------


def test_finishing_opens_findings_and_corrects_a_mistyped_odometer(cast: Cast) -> None:
    walk = begin(cast, shown_km=Decimal(1_210_000))
    states(cast, walk, entry(grade="major"))
    done = finish_walk(
        cast.access, walk, inspected_on=date(2024, 5, 30), shown_km=Decimal(121_000), trouble_codes=["p0335"]
    )
    done.refresh_from_db()
    assert (done.state, done.inspected_on, done.trouble_codes) == ("completed", date(2024, 5, 30), ["P0335"])
    assert [reading.shown_km for reading in OdometerReading.objects.within(cast.fleet)] == [121_000]
    assert Finding.objects.within(cast.fleet).get().opened_on == date(2024, 5, 30)
    cast.vehicle.standing.refresh_from_db()
    assert cast.vehicle.standing.odometer_km == 121_000
    assert finish_walk(cast.access, done, inspected_on=LATER, shown_km=KM).inspected_on == date(2024, 5, 30)


def test_a_correction_that_contradicts_a_reading_somebody_else_rests_on_is_refused_whole(cast: Cast) -> None:
    walk = begin(cast, shown_km=Decimal(130_000))
    states(cast, walk, entry(grade="sound"))
    # Another inspection rests on the same reading, so it stays, and 129,000 a day later would run backwards.
    inspect(cast.access, cast.vehicle, inspected_on=LATER, shown_km=Decimal(130_000))
    with pytest.raises(InvalidInput) as refused:
        finish_walk(cast.access, walk, inspected_on=LATER + timedelta(days=1), shown_km=Decimal(129_000))
    assert refused.value.faults[0].code == "runs-backwards"
    walk.refresh_from_db()
    assert (walk.state, walk.inspected_on) == ("draft", LATER)


def test_what_is_left_open_can_be_told_as_not_examined(cast: Cast) -> None:
    walk = begin(cast)
    states(cast, walk, entry(grade="sound"))
    finish_walk(cast.access, walk, inspected_on=LATER, shown_km=Decimal(121_000), because_open="no time")
    rows = Result.objects.within(cast.fleet).filter(inspection=walk)
    assert rows.filter(not_examined="no time").count() == rows.count() - 1 > 100
    assert rows.get(check_key=BOOT, position="front-right").grade == 0


def test_a_walk_without_a_result_is_not_finished(cast: Cast) -> None:
    with pytest.raises(InvalidInput) as refused:
        finish_walk(cast.access, begin(cast), inspected_on=LATER, shown_km=Decimal(121_000))
    assert refused.value.code == "no-results"


def test_a_discarded_walk_takes_its_results_and_its_reading_with_it(cast: Cast) -> None:
    inspect(cast.access, cast.vehicle, inspected_on=DAY, shown_km=KM)
    walk = begin(cast)
    states(cast, walk, entry(grade="dangerous"))
    discard_walk(cast.access, walk)
    assert not Inspection.objects.within(cast.fleet).filter(sheet="wheels-off").exists()
    assert ResultEntry.objects.within(cast.fleet).count() == 0
    cast.vehicle.standing.refresh_from_db()
    assert cast.vehicle.standing.odometer_km == KM


def test_a_completed_inspection_is_not_discarded(cast: Cast) -> None:
    done = inspect(cast.access, cast.vehicle)
    with pytest.raises(Conflict):
        discard_walk(cast.access, done)
    assert Inspection.objects.within(cast.fleet).filter(pk=done.pk).exists()


# --- Over the API -----------------------------------------------------------------------------------------------------


def url(cast: Cast, walk: Inspection, rest: str) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/inspections/{walk.pk}/{rest}/"


def test_a_phones_queue_is_answered_word_by_word(api: Any, cast: Cast) -> None:
    walk = begin(cast)
    good, bad = str(uuid.uuid4()), str(uuid.uuid4())
    queue = [{"id": good, "age_seconds": 30, **result(grade="minor")}, {"id": bad, **result("no-such.check", "front")}]
    for _ in range(2):
        answer = api.post(url(cast, walk, "entries"), {"device": NEAR, "entries": queue})
        assert [(each["id"], each["state"]) for each in answer.json()["entries"]] == [
            (good, "stored"),
            (bad, "refused"),
        ]
    assert said_so_far(walk) == 1


def test_a_queue_names_each_word_once_and_each_has_an_id(api: Any, cast: Cast) -> None:
    walk, same = begin(cast), str(uuid.uuid4())
    twice = api.post(url(cast, walk, "entries"), {"entries": [{"id": same, **result()}, {"id": same, **result()}]})
    unnamed = api.post(url(cast, walk, "entries"), {"entries": [result()]})
    assert {fault["pointer"] for fault in twice.json()["errors"]} == {"/entries"}
    assert {fault["pointer"] for fault in unnamed.json()["errors"]} == {"/entries/0/id"}


def test_results_sent_with_an_id_again_are_passed_over_and_same_as_last_is_told(
    api: Any, cast: Cast, last_time: Inspection
) -> None:
    walk = begin(cast)
    body = {"results": [{"id": str(uuid.uuid4()), "check": BOOT, "position": "front-right", "same_as_last": True}]}
    for _ in range(2):
        (stored,) = api.post(url(cast, walk, "results"), body).json()["results"]
        assert (stored["grade"], stored["same_as_last"]) == ("major", True)
    assert said_so_far(walk) == 1
    body["results"][0] |= {"id": str(uuid.uuid4()), "check": PADS, "position": "front-left"}
    answer = api.post(url(cast, walk, "results"), body)
    assert [(f["pointer"], f["code"]) for f in answer.json()["errors"]] == [
        ("/results/0/same_as_last", "measure-again")
    ]
