"""Condition over the API: what it must obey whatever is found, and what it rests on."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from fleetcare.fleet.models import Standing, Vehicle
from fleetcare.fleet.words import Role
from fleetcare.kernel.grades import GRADE_WORDS
from inspections.services.assessment import current_condition, judge
from inspections.services.history import load_batch
from scheduling.services.assess import assess_vehicles, sweep_stale
from tests import factories
from tests.conftest import Cast, make_cast
from tests.inspections.given import BOOT, PADS, inspect, result

PLACES = [(BOOT, "front-left"), (BOOT, "front-right"), (PADS, "front-left"), ("spare-wheel.pressure", "")]


def url(cast: Cast, *rest: object) -> str:
    return "/".join([f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}", *map(str, rest), ""])


def condition(cast: Cast) -> dict[str, Any]:
    vehicle = Vehicle.objects.select_related("standing").get(pk=cast.vehicle.pk)
    return current_condition(cast.access, vehicle)


def test_points_and_score_add_up_to_a_hundred(api: Any, cast: Cast) -> None:
    inspect(cast.access, cast.vehicle, result(grade="major"), result(PADS, "front-left", grade="minor"))
    body = api.get(url(cast, "condition")).json()
    assert body["score"] + sum(c["points"] for c in body["contributions"]) == pytest.approx(100, abs=1e-9)
    assert body["worst_grade"] == "major"


def test_a_vehicle_never_looked_at_has_a_wide_interval_and_no_coverage(api: Any, cast: Cast) -> None:
    before = api.get(url(cast, "condition")).json()
    walk = [check for station in api.get(url(cast, "walk")).json()["stations"] for check in station["checks"]]
    inspect(cast.access, cast.vehicle, *(result(c["check"], c["position"] or "") for c in walk))
    after = api.get(url(cast, "condition")).json()
    assert before["coverage_fraction"] == 0
    assert after["coverage_fraction"] > before["coverage_fraction"]
    widths = [body["interval"]["high"] - body["interval"]["low"] for body in (before, after)]
    assert widths[1] < widths[0]
    assert after["score"] > before["score"]


def test_a_dangerous_safety_part_caps_the_score_and_is_said_with_what_it_is(api: Any, cast: Cast) -> None:
    inspect(cast.access, cast.vehicle, result(PADS, "front-left", grade="dangerous"))
    body = api.get(url(cast, "condition")).json()
    assert body["do_not_drive"]
    assert body["score"] <= 25
    assert body["dangers"][0]["part"] == "front-brake-pads"
    backlog = api.get(url(cast, "backlog")).json()
    assert backlog["items"][0]["before_driving"]


def test_a_repair_restores_what_the_defect_took(cast: Cast) -> None:
    inspect(cast.access, cast.vehicle, *(result(check, position) for check, position in PLACES))
    sound = condition(cast)["score"]
    later = {"inspected_on": date(2024, 5, 2), "shown_km": Decimal(120_010)}
    inspect(cast.access, cast.vehicle, result(grade="major"), **later)
    broken = condition(cast)["score"]
    later = {"inspected_on": date(2024, 5, 3), "shown_km": Decimal(120_020)}
    inspect(cast.access, cast.vehicle, result(grade="sound"), **later)
    assert broken < sound
    assert condition(cast)["score"] >= sound - 1e-9


def test_a_dismissed_finding_counts_as_never_seen(api: Any, cast: Cast) -> None:
    inspect(cast.access, cast.vehicle, result(grade="sound"))
    before = condition(cast)
    inspect(cast.access, cast.vehicle, result(grade="major"), inspected_on=date(2024, 6, 1), shown_km=Decimal(121_000))
    at = url(cast, "findings", api.get(url(cast, "findings")).json()["items"][0]["id"])
    api.patch(at, {"dismissed": True, "because": "only grease"})
    after = condition(cast)
    assert [c["grade"] for c in after["contributions"] if c["part"] == "outer-driveshaft-boot"].count("major") == 0
    # The odometer reading of that day stays, so that the figures differ by a few kilometres of wear only.
    assert after["score"] == pytest.approx(before["score"], abs=1.0)


class TestWhateverIsFound(TestCase):
    @settings(max_examples=15, deadline=None)
    @given(st.lists(st.sampled_from(GRADE_WORDS), min_size=4, max_size=4), st.integers(0, 3))
    def test_a_worse_grade_never_raises_the_score(self, words: list[str], which: int) -> None:
        scores = []
        for grade in GRADE_WORDS:
            cast = make_cast(f"Fleet {Standing.objects.count()}")
            found = [*words[:which], grade, *words[which + 1 :]]
            results = [result(*place, grade=word) for place, word in zip(PLACES, found, strict=True)]
            inspect(cast.access, cast.vehicle, *results)
            scores.append(condition(cast)["score"])
        assert scores == sorted(scores, reverse=True)

    @settings(max_examples=10, deadline=None)
    @given(st.permutations(range(4)), st.integers(1, 3), st.lists(st.sampled_from(GRADE_WORDS), min_size=4, max_size=4))
    def test_neither_the_order_of_results_nor_splitting_an_inspection_matters(
        self, order: list[int], cut: int, words: list[str]
    ) -> None:
        results = [result(*place, grade=word) for place, word in zip(PLACES, words, strict=True)]
        whole, split = make_cast("Whole"), make_cast("Split")
        inspect(whole.access, whole.vehicle, *results)
        shuffled = [results[index] for index in order]
        for some in (shuffled[:cut], shuffled[cut:]):
            inspect(split.access, split.vehicle, *some)
        one, other = (condition(cast) for cast in (whole, split))
        assert {**one, "contributions": sorted(map(str, one["contributions"]))} == {
            **other,
            "contributions": sorted(map(str, other["contributions"])),
        }


def test_every_figure_about_a_part_is_explained_by_its_inputs(api: Any, cast: Cast) -> None:
    for day, km, value in (("2022-05-01", 100_000, 9.0), ("2023-05-01", 112_000, 7.0), ("2024-05-01", 124_000, 5.2)):
        inspect(
            cast.access,
            cast.vehicle,
            {"check": PADS, "position": "front-left", "measurement": {"value": value, "unit": "mm"}},
            inspected_on=date.fromisoformat(day),
            shown_km=Decimal(km),
        )
    body = api.get(url(cast, "condition/explain") + "?part=front-brake-pads&position=front-left").json()
    assert [look["grade"] for look in body["looks"]] == ["sound", "sound", "sound"]
    assert body["measured"]["readings"] == 3
    assert body["measured"]["value_now"]["low"] < body["measured"]["value_now"]["high"] < 5.2
    limit = body["measured"]["limit_on"]
    assert limit["low"] <= limit["expected"] <= limit["high"]
    contributions = api.get(url(cast, "condition")).json()["contributions"]
    shown = [c for c in contributions if (c["part"], c["position"]) == ("front-brake-pads", "front-left")]
    assert body["points"] == pytest.approx(shown[0]["points"], abs=2e-3)
    assert api.get(url(cast, "condition/explain") + "?part=none").status_code == 404
    assert api.get(url(cast, "condition/explain")).status_code == 400


def test_a_figure_that_got_better_asks_when_the_part_was_renewed(api: Any, cast: Cast) -> None:
    for day, km, value in (("2022-05-01", 100_000, 5.0), ("2023-05-01", 112_000, 3.4), ("2024-05-01", 124_000, 11.5)):
        inspect(
            cast.access,
            cast.vehicle,
            {"check": PADS, "position": "front-left", "measurement": {"value": value, "unit": "mm"}},
            inspected_on=date.fromisoformat(day),
            shown_km=Decimal(km),
        )
    items = api.get(url(cast, "forecast")).json()["items"]
    pads = next(i for i in items if (i["part"], i["position"]) == ("front-brake-pads", "front-left"))
    asked = pads["measured"]["renewal_suspected"]
    assert asked["chance_fraction"] > 0.9
    assert "2023-04-01" <= asked["earliest"] <= asked["latest"] <= "2024-06-01"


def test_the_limit_follows_the_rules_the_fleet_chose(cast: Cast) -> None:
    # 1.59 mm passes 49 CFR 570.9 (2/32 in, from memory) and fails 1.6 mm (Directive 89/459/EEC, from memory).
    worn = {"check": "tyre.tread", "position": "front-left", "measurement": {"value": 1.59, "unit": "mm"}}
    grades = {}
    for scheme in ("eu", "us"):
        cast.fleet.limit_scheme = scheme
        cast.fleet.save()
        vehicle = factories.vehicle(cast.fleet, name=scheme)
        inspect(cast.access, vehicle, worn)
        grades[scheme] = vehicle.findings.get().get_grade_display()
    assert grades == {"eu": "major", "us": "minor"}


def test_reading_a_stale_condition_is_right_at_once_and_stores_nothing(api: Any, cast: Cast) -> None:
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    inspect(cast.access, cast.vehicle, result(grade="dangerous"))
    standing = Standing.objects.within(cast.fleet).get()
    assert api.get(url(cast)).json()["being_assessed"]
    assert api.get(url(cast, "condition")).json()["worst_grade"] == "dangerous"
    assert Standing.objects.within(cast.fleet).get().assessed_revision == standing.assessed_revision
    assert sweep_stale() == 1
    assert api.get(url(cast)).json()["worst_grade"] == "dangerous"
    assert sweep_stale() == 0


def test_a_write_during_an_assessment_leaves_its_figures_stale(cast: Cast) -> None:
    from fleetcare.fleet.services.standings import store_standings
    from inspections.services.assessment import JUDGED, store_verdicts

    verdicts = judge(load_batch(cast.fleet, [cast.vehicle.pk], date(2024, 6, 1)))
    inspect(cast.access, cast.vehicle, result(grade="major"))
    store_verdicts(verdicts)
    store_standings([vehicle.standing for vehicle in verdicts.batch.vehicles], JUDGED)
    standing = Standing.objects.within(cast.fleet).get()
    assert standing.revision > standing.assessed_revision


def test_score_history_keeps_one_point_a_day(api: Any, cast: Cast, time_machine: Any) -> None:
    for day in ("2026-01-05T10:00:00Z", "2026-01-05T12:00:00Z", "2026-02-05T10:00:00Z"):
        time_machine.move_to(day, tick=False)
        assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    days = [point["as_of"] for point in api.get(url(cast, "condition/history")).json()["items"]]
    assert days == ["2026-02-05", "2026-01-05"]


@pytest.mark.parametrize("count", [2, 20])
def test_assessing_takes_the_same_number_of_queries_for_two_vehicles_and_twenty(
    cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    vehicles = [factories.vehicle(cast.fleet, name=f"car {number}") for number in range(count)]
    for vehicle in vehicles:
        inspect(cast.access, vehicle, result(grade="minor"), result(PADS, "front-left", grade="major"))
    with django_assert_num_queries(ASSESS_QUERIES):
        assert assess_vehicles(cast.fleet.pk, [vehicle.pk for vehicle in vehicles]) == count


# The fleet with its learned lives, factors and prices; vehicles, readings, fittings, dismissed findings, looks, open
# defects; rules, due items and inspections by sheet; what moved; then savepoints and the stores of condition, backlog,
# due items and standings.
ASSESS_QUERIES = 27


@pytest.mark.parametrize("count", [1, 12])
def test_answers_about_one_vehicle_take_the_same_number_of_queries_after_any_history(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    for number in range(count):
        inspect(
            cast.access,
            cast.vehicle,
            result(grade="minor"),
            inspected_on=date(2023, 1, 1 + number),
            shown_km=Decimal(1000 * (1 + number)),
        )
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    client = client_of(Role.VIEWER)
    for address, queries in (("condition", 3), ("backlog", 4), ("condition/history", 3), ("forecast", 11)):
        client.get(url(cast, address))
        with django_assert_num_queries(queries):
            assert client.get(url(cast, address)).status_code == 200
