"""Suspects over the API: complaints, codes, a rise in fuel use and open findings point to parts."""

import uuid
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from fleetcare.fleet.clock import today
from fleetcare.fleet.words import Role
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.signs import default_signs
from inspections.services.assessment import judge
from inspections.services.history import load_batch
from inspections.services.suspects import bad_now_fraction, suspects
from tests import factories
from tests.conftest import Cast, make_cast
from tests.inspections.fuel_books import steady_then_thirsty
from tests.inspections.given import BOOT, PADS, inspect, result

JOINT = "outer-cv-joint"


def url(cast: Cast, vehicle: Any = None) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{(vehicle or cast.vehicle).pk}/suspects/"


def ask(api: Any, cast: Cast, *complaints: str, **said: Any) -> dict[str, Any]:
    answer = api.post(url(cast), {"complaints": complaints, **said})
    assert answer.status_code == 200, answer.json()
    body: dict[str, Any] = answer.json()
    return body


def chance(answer: dict[str, Any], part: str, position: str | None = None) -> float:
    found = [s["probability_fraction"] for s in answer["suspects"] if (s["part"], s["position"]) == (part, position)]
    return found[0] if found else 0.0


def look(cast: Cast, *results: dict[str, Any], days_ago: int = 1) -> None:
    on = today(cast.fleet) - timedelta(days_ago)
    inspect(cast.access, cast.vehicle, *results, inspected_on=on, shown_km=Decimal(140_000 - 30 * days_ago))


def test_a_torn_boot_and_clicking_point_to_the_joint_on_that_side(api: Any, cast: Cast) -> None:
    look(cast, result(BOOT, "front-right", grade="major"), result(BOOT, "front-left", grade="sound"))
    answer = ask(api, cast, "clicking-on-full-lock")
    assert chance(answer, JOINT, "front-right") > 3 * chance(answer, JOINT, "front-left")
    (joint,) = (s for s in answer["suspects"] if (s["part"], s["position"]) == (JOINT, "front-right"))
    assert {reason["sign"] for reason in joint["reasons"]} == {
        "clicking-on-full-lock",
        "finding:outer-driveshaft-boot",
    }
    (other,) = (s for s in answer["suspects"] if (s["part"], s["position"]) == (JOINT, "front-left"))
    assert [reason["sign"] for reason in other["reasons"]] == ["clicking-on-full-lock"]
    assert {sign["sign"]: sign["asked"] for sign in answer["signs"]} == {
        "clicking-on-full-lock": True,
        "finding:outer-driveshaft-boot": False,
    }
    assert answer["signs_unused"] == []


def test_a_closed_finding_speaks_no_more(api: Any, cast: Cast) -> None:
    look(cast, result(BOOT, "front-right", grade="major"), days_ago=9)
    look(cast, result(BOOT, "front-right", grade="sound"))
    assert [sign["sign"] for sign in ask(api, cast, "clicking-on-full-lock")["signs"]] == ["clicking-on-full-lock"]


def test_a_part_seen_bad_is_suspected_more_and_one_seen_sound_less(api: Any, cast: Cast) -> None:
    check = next(key for key in default_catalogue().checks if key.startswith(f"{JOINT}."))
    before = ask(api, cast, "clicking-on-full-lock")
    look(cast, result(check, "front-right", grade="major"), result(check, "front-left", grade="sound"))
    after = ask(api, cast, "clicking-on-full-lock")
    assert chance(after, JOINT, "front-right") > 0.9
    assert chance(after, JOINT, "front-right") > chance(before, JOINT, "front-right")
    assert chance(after, JOINT, "front-left") < chance(before, JOINT, "front-left")
    assert next(s["last_seen"] for s in after["suspects"] if s["position"] == "front-right") == "major"


def test_a_sign_looked_for_in_vain_clears_the_parts_that_would_show_it(api: Any, cast: Cast) -> None:
    humming = "whirring-that-changes-with-speed"
    before, after = ask(api, cast, humming), ask(api, cast, humming, absent=["C0035"])
    # C0035 is the code of the front left wheel's speed sensor.
    assert chance(after, "wheel-bearing", "front-left") < chance(before, "wheel-bearing", "front-left")
    assert chance(after, "wheel-bearing", "rear-left") >= chance(before, "wheel-bearing", "rear-left")


def test_codes_are_read_whatever_their_case_and_told_by_meaning_or_structure(api: Any, cast: Cast) -> None:
    answer = ask(api, cast, trouble_codes=["p0335", "P0335", "P1234", "U3ABC", "B3000", "P0FFF"])
    told = {code["code"]: (code["known"], code["system"], code["origin"]) for code in answer["codes"]}
    # Who defines which range: SAE J2012 / ISO 15031-6, as secondary copies tell it (status secondary).
    assert told == {
        "P0335": (True, "powertrain", "generic"),
        "P1234": (False, "powertrain", "manufacturer"),
        "U3ABC": (False, "network", "mixed"),
        "B3000": (False, "body", "reserved"),
        "P0FFF": (False, "powertrain", "generic"),
    }
    assert "maker's own" in next(code["meaning"] for code in answer["codes"] if code["code"] == "P1234")
    assert answer["suspects"][0]["part"] == "crankshaft-sensor"
    assert {sign["sign"] for sign in answer["signs_unused"]} == {"P1234", "U3ABC", "B3000", "P0FFF"}


def test_a_rise_in_fuel_use_counts_by_itself_unless_the_driver_knows_better(api: Any, cast: Cast) -> None:
    steady_then_thirsty(cast, 60, 0.15)
    assert [(s["sign"], s["kind"], s["asked"]) for s in ask(api, cast)["signs"]] == [("fuel-rise", "fuel", False)]
    assert ask(api, cast)["suspects"][0]["reasons"][0]["sign"] == "fuel-rise"
    assert [s["asked"] for s in ask(api, cast, "fuel-rise")["signs"]] == [True]
    assert ask(api, cast, absent=["fuel-rise"])["signs"] == []


def test_without_any_sign_nobody_is_suspected(api: Any, cast: Cast) -> None:
    answer = ask(api, cast)
    assert (answer["suspects"], answer["next_check"], answer["none_of_these_fraction"]) == ([], None, 1.0)


def test_a_sign_that_no_part_of_this_vehicle_explains_is_named(api: Any, cast: Cast) -> None:
    electric = factories.vehicle(cast.fleet, name="Electric", traits={"fuel": "electric"})
    answer = api.post(url(cast, electric), {"complaints": ["blue-smoke"]}).json()
    assert answer["suspects"] == []
    assert [sign["sign"] for sign in answer["signs_unused"]] == ["blue-smoke"]


def test_each_next_check_is_one_of_the_walk_with_its_cautions(api: Any, cast: Cast) -> None:
    walk = api.get(url(cast).replace("suspects", "walk")).json()
    known = {(c["check"], c["position"]): c for station in walk["stations"] for c in station["checks"]}
    answer = ask(api, cast, "knocking-over-bumps", "grinding-when-braking")
    checks = [suspect["next_check"] for suspect in answer["suspects"] if suspect["next_check"]]
    assert answer["next_check"] in checks
    for check in checks:
        listed = known[check["check"], check["position"]]
        assert check["minutes"] == listed["minutes"]
        assert set(listed["cautions"]) <= set(check["cautions"])
    raised = [check for check in checks if check["station"].startswith(("raised", "underneath"))]
    assert raised
    assert all(check["cautions"] for check in raised)


def test_a_danger_is_said_whatever_was_asked(api: Any, cast: Cast) -> None:
    look(cast, result(PADS, "front-left", grade="dangerous"))
    answer = ask(api, cast, "windows-fog")
    assert answer["do_not_drive"]
    assert [danger["part"] for danger in answer["dangers"]] == ["front-brake-pads"]


BAD = [
    ({"complaints": ["hums", "stalls"]}, {"/complaints/0": "unknown-complaint"}),
    ({"trouble_codes": ["P0335", "PO335"]}, {"/trouble_codes/1": "malformed-code"}),
    ({"complaints": ["stalls"], "absent": ["stalls"]}, {"/absent/0": "contradiction"}),
    ({"trouble_codes": ["p0335"], "absent": ["P0335"]}, {"/absent/0": "contradiction"}),
    ({"absent": ["hums"]}, {"/absent/0": "unknown-sign"}),
    ({"complaints": "stalls"}, {"/complaints": "not-a-list"}),
    ({"complaints": [7.5, None]}, {"/complaints/1": "null"}),
    ({"complains": []}, {"/complains": "unknown"}),
    ({"trouble_codes": ["P0335"] * 51}, {"/trouble_codes": "max-length"}),
    ({"complaints": ["hums"], "trouble_codes": ["X"], "absent": ["hums"]},
     {"/complaints/0": "unknown-complaint", "/trouble_codes/0": "malformed-code", "/absent/0": "unknown-sign"}),
]  # fmt: skip


@pytest.mark.parametrize(("body", "expected"), BAD)
def test_bad_input_names_each_place(api: Any, cast: Cast, body: Any, expected: Any) -> None:
    response = api.post(url(cast), body)
    assert response.status_code == 400
    assert {fault["pointer"]: fault["code"] for fault in response.json()["errors"]} == expected


def test_asking_changes_nothing(client_of: Any, cast: Cast) -> None:
    cast.vehicle.standing.refresh_from_db()
    before = (cast.vehicle.standing.revision, cast.vehicle.standing.assessed_revision)
    ask(client_of(Role.VIEWER), cast, "stalls")
    cast.vehicle.standing.refresh_from_db()
    assert (cast.vehicle.standing.revision, cast.vehicle.standing.assessed_revision) == before


def test_the_lists_of_complaints_and_codes_are_those_that_are_understood(api: Any, cast: Cast) -> None:
    complaints = api.get("/api/v1/catalogue/complaints/").json()["items"]
    assert {"key": "knocking-over-bumps", "title": "Knocking over bumps"} in complaints
    assert api.post(url(cast), {"complaints": [entry["key"] for entry in complaints]}).status_code == 200
    codes = api.get("/api/v1/catalogue/codes/").json()["items"]
    assert all(code["known"] and code["origin"] == "generic" for code in codes)
    assert api.get("/api/v1/catalogue/codes/?q=x").status_code == 400


class TestChanceOfBeingBadNow:
    def test_hidden_parts_are_never_above_suspicion(self, cast: Cast) -> None:
        batch = load_batch(cast.fleet, [cast.vehicle.pk], today(cast.fleet))
        prior = bad_now_fraction(judge(batch))
        hidden = batch.book.pf_km[batch.cells.slot] <= 0.0
        assert hidden.any()
        assert ((prior[hidden] > 1e-4) & (prior[hidden] < 0.2)).all()

    def test_it_rises_with_the_grade_last_seen(self, cast: Cast) -> None:
        grades = {"front-left": "sound", "front-right": "major"}
        look(cast, *(result(BOOT, position, grade=grade) for position, grade in grades.items()))
        batch = load_batch(cast.fleet, [cast.vehicle.pk], today(cast.fleet))
        prior = bad_now_fraction(judge(batch))
        row = {
            batch.catalogue.slots[slot].position: n
            for n, slot in enumerate(batch.cells.slot.tolist())
            if batch.catalogue.slots[slot].part_key == "outer-driveshaft-boot"
        }
        assert prior[row["front-left"]] < 0.1
        assert prior[row["front-right"]] >= 0.9


QUERIES = 13


@pytest.mark.parametrize("count", [1, 12])
def test_asking_takes_the_same_number_of_queries_whatever_is_on_record(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.VIEWER)
    for number in range(count):
        position = ("front-left", "front-right")[number % 2]
        inspect(
            cast.access,
            cast.vehicle,
            result(BOOT, position, grade="minor"),
            inspected_on=date(2024, 1, 1 + number),
            shown_km=Decimal(100_000 + number),
        )
    ask(client, cast, "stalls")
    # The key with its fleet; the vehicle; findings; fills; a batch: prices (3), vehicle, readings, parts,
    # results, dismissed.
    with django_assert_num_queries(QUERIES):
        ask(client, cast, "stalls", trouble_codes=["P0335"])


class TestAnyQuestion(TestCase):
    @settings(max_examples=15, deadline=None)
    @given(
        st.lists(st.sampled_from(sorted(default_signs().complaints)), max_size=15, unique=True),
        st.lists(st.sampled_from(sorted(default_signs().meanings)), max_size=5, unique=True),
        st.data(),
    )
    def test_suspects_are_ranked_have_reasons_and_keep_within_chances(
        self, complaints: Sequence[str], codes: Sequence[str], data: Any
    ) -> None:
        cast = make_cast(f"Fleet{uuid.uuid4().hex}")
        absent = data.draw(st.lists(st.sampled_from(sorted(set(default_signs().complaints) - set(complaints)))))
        answer = suspects(cast.access, cast.vehicle, complaints=complaints, trouble_codes=codes, absent=absent)
        listed = answer["suspects"]
        chances = np.array([suspect["probability_fraction"] for suspect in listed])
        assert (np.diff(chances) <= 0.0).all()
        assert ((chances >= 0.0) & (chances <= 1.0)).all()
        assert all(suspect["reasons"] for suspect in listed)
        # If none is bad, then the first is not.
        assert answer["none_of_these_fraction"] <= 1.0 - chances.max(initial=0.0) + 1e-3
        used = {reason["sign"] for suspect in listed for reason in suspect["reasons"]}
        assert used <= {*complaints, *codes}
