"""Lives learned from a fleet's own records: what counts as what, once a day, and believed in that fleet only."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from fleetcare.fleet.models import Fleet
from fleetcare.fleet.services.vehicles import touch
from fleetcare.fleet.words import Role
from fleetcare.support.bell import bell_held
from inspections.catalogue.books import life_book
from inspections.catalogue.loader import default_catalogue
from inspections.core.part_ages import Ending, Histories
from inspections.models import Finding, LearnedLife
from inspections.services.beliefs import fleet_beliefs
from inspections.services.lives import ask_for_learning, learn_lives
from inspections.services.part_histories import load_records
from inspections.services.parts import fit_part
from inspections.words import Removal
from scheduling.tasks import tick
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import inspect, result
from tests.inspections.kept_fleets import FIRST_USED, Road, kept_vehicles, renew, run_to_failure

PART, POSITION = "battery", ""
CHECK = next(key for key in default_catalogue().checks if key.startswith(f"{PART}."))
BOOK_KM = float(default_catalogue().parts[PART].life.km)


def histories(fleet: Fleet) -> Histories:
    catalogue = default_catalogue()
    return load_records(fleet, catalogue, life_book(catalogue)).histories


def of_part(fleet: Fleet, part_key: str = PART) -> list[dict[str, Any]]:
    """The records of one kind, as plain figures, in the order of their end."""
    found = histories(fleet)
    kind = list(default_catalogue().parts).index(part_key)
    rows = [
        {
            "fitted": found.fitted_clock_km[n],
            "first": round(found.first_seen_clock_km[n], -2),
            "good": round(found.last_good_clock_km[n], -2),
            "ended": round(found.ended_clock_km[n], -2),
            "ending": Ending(int(found.ending[n])),
        }
        for n in np.flatnonzero(found.kind == kind)
    ]
    return sorted(rows, key=lambda row: row["ended"])


def seen(cast: Cast, vehicle: Any, km: float, grade: str, check: str = CHECK) -> None:
    with bell_held():
        on = Road(PART).day(km)
        inspect(
            cast.access, vehicle, result(check, POSITION, grade=grade), inspected_on=on, shown_km=Decimal(round(km))
        )


class TestWhatARecordTells:
    def test_a_failure_counts_at_its_age_and_its_successor_from_its_fitting(self, cast: Cast) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000], since_km=20_000)
        renew(vehicle, Road(PART), POSITION, [50_000, 80_000])
        bought, second, third = of_part(cast.fleet)
        assert np.isnan(bought["fitted"])
        assert (bought["first"], bought["ended"], bought["ending"]) == (20_000, 50_000, Ending.FAILED)
        assert second["fitted"] == pytest.approx(50_000, abs=100)
        assert (second["ended"], second["ending"]) == (80_000, Ending.FAILED)
        # Never looked at since, but it would have made itself known.
        assert (third["first"], third["good"], third["ending"]) == (80_000, 90_000, Ending.IN_SERVICE)

    @pytest.mark.parametrize(
        ("removal", "ending"),
        [
            (Removal.FAILED, Ending.FAILED),
            (Removal.WORN_OUT, Ending.WORN_OUT),
            (Removal.RENEWED_EARLY, Ending.RENEWED_EARLY),
            (Removal.UNKNOWN, Ending.UNKNOWN),
        ],
    )
    def test_why_it_came_off_is_told_apart(self, cast: Cast, removal: Removal, ending: Ending) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000])
        renew(vehicle, Road(PART), POSITION, [50_000], removal)
        assert [row["ending"] for row in of_part(cast.fleet)] == [ending, Ending.IN_SERVICE]

    def test_what_wore_out_ended_between_the_last_good_look_and_the_removal(self, cast: Cast) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000])
        renew(vehicle, Road(PART), POSITION, [60_000], Removal.WORN_OUT)
        for km, grade in ((20_000, "sound"), (40_000, "minor"), (55_000, "major"), (70_000, "sound")):
            seen(cast, vehicle, km, grade)
        worn, now = of_part(cast.fleet)
        assert (worn["good"], worn["ended"], worn["ending"]) == (40_000, 60_000, Ending.WORN_OUT)
        assert (now["first"], now["good"]) == (60_000, 70_000)

    @pytest.mark.parametrize("repaired", [True, False])
    def test_seen_bad_and_later_sound_it_was_another_part_unless_work_put_it_right(
        self, cast: Cast, *, repaired: bool
    ) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000], since_km=10_000)
        for km, grade in ((20_000, "sound"), (40_000, "major"), (60_000, "sound"), (80_000, "sound")):
            seen(cast, vehicle, km, grade)
        if repaired:
            mine = Finding.objects.within(cast.fleet).filter(vehicle=vehicle, position=POSITION)
            assert mine.update(closed_on=Road(PART).day(50_000), remedied_total_km=50_000) == 1
        found = [(row["first"], row["ending"]) for row in of_part(cast.fleet)]
        another = [(60_000, Ending.IN_SERVICE)]
        assert found == ([(10_000, Ending.IN_SERVICE)] if repaired else [(10_000, Ending.UNKNOWN), *another])

    def test_a_part_as_bought_counts_up_to_the_last_good_look(self, cast: Cast) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000], since_km=10_000)
        for km, grade in ((30_000, "sound"), (50_000, "minor"), (80_000, "major")):
            seen(cast, vehicle, km, grade)
        (only,) = of_part(cast.fleet)
        assert np.isnan(only["fitted"])
        assert (only["first"], only["good"], only["ending"]) == (10_000, 50_000, Ending.IN_SERVICE)

    def test_only_ever_seen_bad_tells_nothing(self, cast: Cast) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000], since_km=10_000)
        seen(cast, vehicle, 30_000, "major")
        assert of_part(cast.fleet) == []

    def test_seen_bad_and_later_sound_was_renewed_though_nobody_wrote_it_down(self, cast: Cast) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000], since_km=10_000)
        for km, grade in ((20_000, "sound"), (30_000, "major"), (40_000, "dangerous"), (50_000, "sound")):
            seen(cast, vehicle, km, grade)
        seen(cast, vehicle, 85_000, "sound")
        before, after = of_part(cast.fleet)
        assert (before["good"], before["ended"], before["ending"]) == (20_000, 30_000, Ending.UNKNOWN)
        assert np.isnan(after["fitted"])
        assert (after["first"], after["good"], after["ending"]) == (50_000, 85_000, Ending.IN_SERVICE)

    def test_the_worst_that_one_inspection_said_of_a_part_counts(self, cast: Cast) -> None:
        (vehicle,) = kept_vehicles(cast.fleet, Road(PART), [90_000], since_km=10_000)
        other = [key for key in default_catalogue().checks if key.startswith(f"{PART}.")][1]
        seen(cast, vehicle, 30_000, "sound")
        with bell_held():
            both = (result(CHECK, POSITION, grade="sound"), result(other, POSITION, grade="major"))
            on = Road(PART).day(60_000)
            inspect(cast.access, vehicle, *both, inspected_on=on, shown_km=Decimal(60_000))
        (only,) = of_part(cast.fleet)
        assert only["good"] == 30_000

    def test_a_life_runs_to_failure_also_where_a_look_ended_it_before(self, cast: Cast) -> None:
        boot, side = "outer-driveshaft-boot", "front-left"
        road, book = Road(boot), life_book(default_catalogue())
        slot = default_catalogue().slot_index[boot, side]
        (vehicle,) = kept_vehicles(cast.fleet, road, [90_000])
        renew(vehicle, road, side, [60_000], Removal.WORN_OUT)
        with bell_held():
            for km in (30_000, 80_000):
                inspect(
                    cast.access,
                    vehicle,
                    result(f"{boot}.condition", side),
                    inspected_on=road.day(km),
                    shown_km=Decimal(km),
                )
        rows = of_part(cast.fleet, boot)
        (worn,) = (row for row in rows if row["ending"] == Ending.WORN_OUT)
        (now,) = (row for row in rows if not np.isnan(row["fitted"]))
        # Major and dangerous take 35 and 15 % of the way from the first sign to failure.
        left = 0.5 * book.pf_km[slot]
        assert (worn["good"], worn["ended"]) == pytest.approx((30_000 + left, 60_000 + left), abs=100)
        assert now["good"] == pytest.approx(80_000 + left, abs=100)

    def test_silence_is_evidence_only_where_the_fleet_would_have_written(self, cast: Cast) -> None:
        silent, spoken = kept_vehicles(cast.fleet, Road(PART), [90_000, 90_000], since_km=10_000)
        assert of_part(cast.fleet) == []
        renew(spoken, Road(PART), POSITION, [50_000])
        assert [row["ending"] for row in of_part(cast.fleet)].count(Ending.IN_SERVICE) == 2
        assert silent.pk != spoken.pk

    def test_a_vehicle_without_any_reading_tells_nothing(self, cast: Cast) -> None:
        assert len(histories(cast.fleet).kind) == 0

    @pytest.mark.parametrize("count", [1, 8])
    def test_loading_takes_five_queries_whatever_the_fleets_size(
        self, cast: Cast, count: int, django_assert_num_queries: Any
    ) -> None:
        for vehicle in kept_vehicles(cast.fleet, Road(PART), [90_000] * count):
            renew(vehicle, Road(PART), POSITION, [50_000])
            seen(cast, vehicle, 60_000, "sound")
        # Vehicles; the ends of their roads; fitted parts; looks; what was put right.
        with django_assert_num_queries(5):
            histories(cast.fleet)


class TestLearning:
    def test_a_fleet_whose_parts_last_less_long_learns_it_and_no_other_fleet_does(
        self, cast: Cast, strangers: Cast, client_of: Any
    ) -> None:
        ended = run_to_failure(cast.fleet, PART, vehicles=24, factor=0.6)
        assert learn_lives(cast.fleet.pk) > 0
        row = LearnedLife.objects.within(cast.fleet).get(part_key=PART)
        assert row.factor == pytest.approx(0.6, rel=0.2)
        assert row.low_km < row.life_km < row.high_km
        assert (row.failed, row.worn_out, row.renewed_early) == (len(ended), 0, 0)
        # The classical error, leaving out what is still healthy, would have said less.
        assert row.life_km > 1.05 * np.mean(ended)
        life = answer_of(client_of(Role.VIEWER), cast)
        assert life["used"]
        assert life["life_km"] == life["learned"]["life_km"] == round(row.life_km)
        assert life["learned"]["rests_on"]["failed"] == len(ended)
        elsewhere = answer_of(client_of(Role.VIEWER, strangers), strangers)
        assert (elsewhere["learned"], elsewhere["used"], elsewhere["life_km"]) == (None, False, BOOK_KM)
        assert np.array_equal(fleet_beliefs(strangers.fleet).book.life_km, life_book(default_catalogue()).life_km)

    def test_early_renewals_are_no_failures(self, cast: Cast, strangers: Cast) -> None:
        for fleet, removal in ((cast.fleet, Removal.FAILED), (strangers.fleet, Removal.RENEWED_EARLY)):
            for vehicle in kept_vehicles(fleet, Road(PART), [1.2 * BOOK_KM] * 12):
                renew(vehicle, Road(PART), POSITION, [0.5 * BOOK_KM, BOOK_KM], removal)
            # One failure, so that there is something to learn from.
            (last,) = kept_vehicles(fleet, Road(PART), [1.2 * BOOK_KM])
            renew(last, Road(PART), POSITION, [0.9 * BOOK_KM])
            learn_lives(fleet.pk)
        failed, early = (LearnedLife.objects.within(f).get(part_key=PART) for f in (cast.fleet, strangers.fleet))
        assert failed.life_km < 0.75 * BOOK_KM < early.life_km
        assert (failed.lesson, early.lesson) == ("learned", "too-few-failures")
        assert (early.failed, early.renewed_early) == (1, 24)

    def test_nothing_is_learned_where_no_part_ever_came_to_its_end(self, cast: Cast) -> None:
        kept_vehicles(cast.fleet, Road(PART), [90_000] * 3)
        assert learn_lives(cast.fleet.pk) == 0
        assert not LearnedLife.objects.within(cast.fleet).exists()

    def test_it_is_learned_anew_only_when_something_was_written(self, cast: Cast) -> None:
        run_to_failure(cast.fleet, PART, vehicles=6, factor=0.7)
        first = learn_lives(cast.fleet.pk)
        assert first > 0
        assert learn_lives(cast.fleet.pk) == 0
        with bell_held():
            touch(cast.vehicle)
        assert learn_lives(cast.fleet.pk) == first
        assert LearnedLife.objects.within(cast.fleet).count() == first

    def test_a_fleet_that_is_gone_is_no_fault(self, db: Any) -> None:
        assert learn_lives(factories.FleetFactory.build().pk) == 0


def answer_of(client: Any, cast: Cast, part_key: str = PART) -> dict[str, Any]:
    answer = client.get(f"/api/v1/fleets/{cast.fleet.pk}/lives/")
    assert answer.status_code == 200
    (life,) = (item for item in answer.json()["items"] if item["part"] == part_key)
    return life


def learned(fleet: Fleet, part_key: str = PART, **figures: Any) -> LearnedLife:
    given = {
        "fitted_at": timezone.now(), "life_km": 0.5 * BOOK_KM, "low_km": 0.4 * BOOK_KM, "high_km": 0.6 * BOOK_KM,
        "life_cv": 0.3, "factor": 0.5, "lesson": "learned", "failed": 5, "worn_out": 0, "renewed_early": 0,
        "in_service": 9, "reason_unknown": 0, "date_unknown": 2,
    }  # fmt: skip
    return LearnedLife.objects.create(fleet=fleet, part_key=part_key, **{**given, **figures})


class TestTheBookOfAFleet:
    def test_learned_lives_take_the_catalogues_place_and_the_clocks_stay(self, cast: Cast) -> None:
        learned(cast.fleet)
        book, own = life_book(default_catalogue()), fleet_beliefs(cast.fleet).book
        mine = np.array([slot.part_key == PART for slot in default_catalogue().slots])
        assert own.life_km[mine] == pytest.approx(0.5 * book.life_km[mine])
        assert own.life_cv[mine] == pytest.approx(0.3)
        assert own.pf_km[mine] == pytest.approx(0.5 * book.pf_km[mine])
        for field in ("life_km", "life_cv", "pf_km"):
            assert np.array_equal(getattr(own, field)[~mine], getattr(book, field)[~mine])
        assert np.array_equal(own.km_weight, book.km_weight)
        assert np.array_equal(own.km_per_year, book.km_per_year)

    def test_a_longer_life_gives_no_longer_warning(self, cast: Cast) -> None:
        learned(cast.fleet, life_km=2.0 * BOOK_KM, factor=2.0)
        assert np.array_equal(fleet_beliefs(cast.fleet).book.pf_km, life_book(default_catalogue()).pf_km)

    @pytest.mark.parametrize("lesson", ["too-few-failures", "implausible"])
    def test_what_the_record_does_not_bear_out_is_shown_but_not_used(self, api: Any, cast: Cast, lesson: str) -> None:
        learned(cast.fleet, lesson=lesson)
        life = answer_of(api, cast)
        assert (life["learned"]["lesson"], life["used"], life["life_km"]) == (lesson, False, BOOK_KM)
        assert np.array_equal(fleet_beliefs(cast.fleet).book.life_km, life_book(default_catalogue()).life_km)

    def test_lives_out_of_all_proportion_are_taken_as_gaps_in_the_record(self, cast: Cast) -> None:
        run_to_failure(cast.fleet, PART, vehicles=12, factor=4.0)
        learn_lives(cast.fleet.pk)
        assert LearnedLife.objects.within(cast.fleet).get(part_key=PART).lesson == "implausible"


@pytest.mark.parametrize("count", [1, 40])
def test_the_list_takes_three_queries_however_much_was_learned(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.VIEWER)
    for part_key in list(default_catalogue().parts)[:count]:
        learned(cast.fleet, part_key)
    answer_of(client, cast)
    # The key with its fleet; the learned lives; the models.
    with django_assert_num_queries(3):
        answer_of(client, cast)


class TestAskingOnceADay:
    def test_the_tick_asks_each_fleet_once_a_day(
        self, cast: Cast, strangers: Cast, time_machine: Any, django_capture_on_commit_callbacks: Any
    ) -> None:
        run_to_failure(cast.fleet, PART, vehicles=6, factor=0.7)
        start = timezone.now()
        asked = []
        for later in (timedelta(0), timedelta(hours=1), timedelta(hours=23), timedelta(hours=25)):
            time_machine.move_to(start + later, tick=False)
            asked.append(ask_for_learning())
        assert asked == [2, 0, 0, 2]

    def test_what_the_tick_asks_for_is_learned(self, cast: Cast, django_capture_on_commit_callbacks: Any) -> None:
        run_to_failure(cast.fleet, PART, vehicles=6, factor=0.7)
        with django_capture_on_commit_callbacks(execute=True):
            tick()
        assert LearnedLife.objects.within(cast.fleet).filter(part_key=PART).exists()


class TestAnyHistory(TestCase):
    @settings(max_examples=25, deadline=None)
    @given(
        st.lists(
            st.tuples(
                st.integers(0, 6_000),
                st.sampled_from(["fit", "sound", "minor", "major", "dangerous"]),
                st.sampled_from(list(Removal)),
            ),
            max_size=10,
            unique_by=lambda event: event[0],
        )
    )
    def test_whatever_is_written_down_the_readings_of_a_part_run_forward(
        self, events: list[tuple[int, str, Removal]]
    ) -> None:
        fleet = factories.FleetFactory()
        with bell_held():
            vehicle = factories.vehicle(fleet, first_used_on=FIRST_USED)
            cast = Cast(fleet, {}, vehicle)
            for day, what, removal in sorted(events, key=lambda event: event[0]):
                on, km = FIRST_USED + timedelta(day), Decimal(40 * day)
                if what == "fit":
                    fit_part(
                        cast.access, vehicle, part_key=PART, position="", fitted_on=on, shown_km=km, removal=removal
                    )
                else:
                    inspect(cast.access, vehicle, result(CHECK, "", grade=what), inspected_on=on, shown_km=km)
        found = histories(fleet)
        start = np.where(found.is_undated(), 0.0, found.fitted_clock_km)
        assert (start <= found.first_seen_clock_km).all()
        assert (found.first_seen_clock_km <= found.last_good_clock_km).all()
        assert (found.last_good_clock_km <= found.ended_clock_km).all()
        kind = list(default_catalogue().parts).index(PART)
        # What came off on the very first day was watched over no distance.
        joined = min((day for day, _, _ in events), default=0)
        removed = sum(what == "fit" and day > joined for day, what, _ in events)
        assert (found.kind[found.ending != Ending.IN_SERVICE] == kind).sum() >= removed


def test_a_part_worn_out_on_the_day_its_vehicle_joined_tells_nothing_and_breaks_nothing(cast: Cast) -> None:
    fit_part(
        cast.access, cast.vehicle, part_key="front-brake-pads", position="front-left", fitted_on=date(2024, 5, 1),
        shown_km=Decimal(216_000), removal=Removal.WORN_OUT,
    )  # fmt: skip
    learn_lives(cast.fleet.pk)
    assert not LearnedLife.objects.within(cast.fleet).filter(worn_out__gt=0).exists()
