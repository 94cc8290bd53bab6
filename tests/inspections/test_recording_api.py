"""Inspections over the API: posted whole, in steps, again; findings that open, worsen, improve and close."""

import uuid
from datetime import date
from typing import Any

import pytest

from fleetcare.fleet.models import OdometerReading
from fleetcare.fleet.words import Role
from inspections.models import Finding, Inspection, Result
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, result

BODY = {
    "inspected_on": "2024-05-01",
    "odometer_km": 187450,
    "sheet": "full",
    "inspector": "R. Amsel",
    "results": [
        {"check": PADS, "position": "front-left", "measurement": {"value": 3.5, "unit": "mm"}},
        {"check": BOOT, "position": "front-right", "grade": "major", "observations": ["torn"], "note": "grease"},
        {"check": "spare-wheel.pressure", "not_examined": "no access"},
    ],
    "trouble_codes": ["P0335"],
}


def url(cast: Cast, *rest: object) -> str:
    return "/".join([f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}", *map(str, rest), ""])


def faults(response: Any) -> dict[str, str]:
    assert response.status_code == 400, response.json()
    return {fault["pointer"]: fault["code"] for fault in response.json()["errors"]}


def body(*results: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return {**BODY, "results": list(results) or BODY["results"], **changes}


def grades(cast: Cast) -> dict[str, str]:
    rows = Finding.objects.within(cast.fleet).filter(closed_on=None)
    return {f"{row.check_key}@{row.position}": row.get_grade_display() for row in rows}


def test_a_whole_inspection_is_stored_graded_and_opens_findings(api: Any, cast: Cast) -> None:
    answer = api.post(url(cast, "inspections"), BODY)
    assert answer.status_code == 201
    stored = {r["check"]: r for r in answer.json()["results"]}
    assert stored[PADS]["measurement"] == {"value": 3.5, "unit": "mm"}
    assert stored[PADS]["grade"] == "minor"
    assert stored["spare-wheel.pressure"]["not_examined"] == "no access"
    assert api.get(answer["Location"]).json() == answer.json()
    found = api.get(url(cast, "findings") + "?state=open").json()["items"]
    assert [(f["part"], f["position"], f["grade"]) for f in found] == [
        ("outer-driveshaft-boot", "front-right", "major"),
        ("front-brake-pads", "front-left", "minor"),
    ]
    assert api.get(url(cast)).json()["odometer_km"] == 187450


def test_a_fresh_look_worsens_improves_and_closes(api: Any, cast: Cast) -> None:
    for day, km, grade, open_now in (
        ("2024-05-01", 100_000, "minor", {f"{BOOT}@front-right": "minor"}),
        ("2024-06-01", 101_000, "dangerous", {f"{BOOT}@front-right": "dangerous"}),
        ("2024-07-01", 102_000, "major", {f"{BOOT}@front-right": "major"}),
        ("2024-08-01", 103_000, "sound", {}),
        ("2024-09-01", 104_000, "major", {f"{BOOT}@front-right": "major"}),
    ):
        answer = api.post(
            url(cast, "inspections"), body(result(grade=grade), inspected_on=day, odometer_km=km, trouble_codes=[])
        )
        assert answer.status_code == 201
        assert grades(cast) == open_now
    kinds = [
        change.kind for finding in cast.vehicle.findings.order_by("id") for change in finding.changes.order_by("id")
    ]
    assert kinds == ["opened", "worsened", "improved", "closed", "opened"]


def test_an_older_inspection_entered_late_changes_nothing_that_was_seen_since(api: Any, cast: Cast) -> None:
    newer = body(result(grade="sound"), inspected_on="2024-06-01", odometer_km=101_000)
    older = body(result(grade="dangerous"), inspected_on="2024-05-01", odometer_km=100_000)
    assert [api.post(url(cast, "inspections"), each).status_code for each in (newer, older)] == [201, 201]
    assert grades(cast) == {}


def test_a_mild_word_does_not_hide_what_was_observed(api: Any, cast: Cast) -> None:
    api.post(url(cast, "inspections"), body(result(grade="sound", observations=["torn"])))
    assert grades(cast)[f"{BOOT}@front-right"] != "sound"


def test_miles_and_other_units_are_taken(api: Any, cast: Cast) -> None:
    sent = body(
        {"check": PADS, "position": "front-left", "measurement": {"value": 0.25, "unit": "in"}},
        odometer={"value": 91_000, "unit": "mi"},
    )
    del sent["odometer_km"]
    answer = api.post(url(cast, "inspections"), sent).json()
    assert answer["odometer_km"] == 146450.304
    # A quarter inch is 6.35 mm exactly (49 CFR 570.7; status read).
    assert answer["results"][0]["measurement"] == {"value": 6.35, "unit": "mm"}


def test_trouble_codes_are_stored_as_they_are_read_whatever_their_case(api: Any, cast: Cast) -> None:
    answer = api.post(url(cast, "inspections"), {**BODY, "trouble_codes": [" p0335", "u0a1f"]})
    assert answer.json()["trouble_codes"] == ["P0335", "U0A1F"]


BAD = [
    ({"inspected_on": "2999-01-01"}, {"/inspected_on": "future"}),
    ({"inspected_on": "2001-01-01"}, {"/inspected_on": "before-first-use"}),
    ({"odometer_km": None}, {"/odometer_km": "null"}),
    ({"odometer_km": "far"}, {"/odometer_km": "not-a-number"}),
    ({"sheet": "sheet-of-nothing"}, {"/sheet": "unknown-sheet"}),
    ({"trouble_codes": ["P0335", "XYZ"]}, {"/trouble_codes/1": "malformed-code"}),
    ({"results": []}, {"/results": "no-results"}),
    ({"colour": 1}, {"/colour": "unknown"}),
    ({"results": [result(check="no.such")]}, {"/results/0/check": "unknown-check"}),
    ({"results": [result(position="on-the-roof")]}, {"/results/0/position": "unknown-position"}),
    ({"results": [{"check": BOOT, "grade": "major"}]}, {"/results/0/position": "unknown-position"}),
    ({"results": [result(grade="awful")]}, {"/results/0/grade": "invalid-choice"}),
    ({"results": [result(grade="major", colour=1)]}, {"/results/0/colour": "unknown"}),
    ({"results": [result(note="nothing said")]}, {"/results/0": "empty-result"}),
    ({"results": [result(grade="major", not_examined="dark")]}, {"/results/0/not_examined": "contradiction"}),
    ({"results": [result(observations=["purple"])]}, {"/results/0/observations": "unknown-observation"}),
    ({"results": [result(measurement={"value": 3, "unit": "mm"})]}, {"/results/0/measurement": "nothing-to-measure"}),
    ({"results": [result(PADS, "front-left", measurement={"value": 3, "unit": "bar"})]},
     {"/results/0/measurement/unit": "wrong-unit"}),
    ({"results": [result(PADS, "front-left", measurement={"value": 900, "unit": "mm"})]},
     {"/results/0/measurement/value": "implausible-value"}),
    ({"results": [result(PADS, "front-left", measurement={"value": 3})]}, {"/results/0/measurement/unit": "required"}),
    ({"results": [result(grade="major"), result(grade="minor")]}, {"/results/1/check": "twice"}),
    ({"results": [result(position="rear-right", grade="major")]}, {"/results/0/check": "not-applicable"}),
    # Two faults in two places are both told.
    ({"sheet": "none", "results": [result(check="no.such"), result(position="roof")]},
     {"/sheet": "unknown-sheet", "/results/0/check": "unknown-check", "/results/1/position": "unknown-position"}),
]  # fmt: skip


@pytest.mark.parametrize(("change", "expected"), BAD)
def test_bad_input_names_each_place_and_stores_nothing(api: Any, cast: Cast, change: Any, expected: Any) -> None:
    assert faults(api.post(url(cast, "inspections"), {**BODY, **change})) == expected
    assert not Inspection.objects.within(cast.fleet).exists()
    assert not OdometerReading.objects.within(cast.fleet).exists()


def test_an_odometer_that_runs_backwards_stores_nothing(api: Any, cast: Cast) -> None:
    api.post(url(cast, "odometer"), {"read_on": "2024-04-01", "odometer_km": 190_000})
    assert faults(api.post(url(cast, "inspections"), BODY)) == {"/odometer_km": "runs-backwards"}
    assert not Inspection.objects.within(cast.fleet).exists()


def test_what_is_no_json_or_too_large_is_a_problem_document(api: Any, cast: Cast) -> None:
    address = url(cast, "inspections")
    for text in ("{", '{"a": NaN}', "[" * 5000, b"\xff\xfe"):
        assert api.generic("POST", address, text, content_type="application/json").status_code == 400
    large = api.generic("POST", address, "x" * (10 * 1024 * 1024), content_type="application/json")
    assert (large.status_code, large["Content-Type"]) == (413, "application/problem+json")
    assert api.generic("POST", address, "<a/>", content_type="text/xml").status_code == 415


def test_the_same_inspection_twice_is_refused_and_names_the_first(api: Any, cast: Cast) -> None:
    first = api.post(url(cast, "inspections"), BODY).json()["id"]
    again = api.post(url(cast, "inspections"), {**BODY, "results": BODY["results"][::-1]})
    assert again.status_code == 409
    assert first in again.json()["detail"]
    assert Inspection.objects.within(cast.fleet).count() == 1


def test_a_put_with_the_clients_id_repeats_safely_and_never_overwrites(api: Any, cast: Cast) -> None:
    address = url(cast, "inspections", uuid.uuid4())
    assert [api.put(address, BODY).status_code for _ in range(3)] == [201, 200, 200]
    assert api.put(address, {**BODY, "note": "other"}).status_code == 409
    assert Result.objects.within(cast.fleet).count() == 3


def test_a_draft_gathers_results_and_counts_only_when_completed(api: Any, cast: Cast) -> None:
    draft = api.post(url(cast, "inspections"), body(result(grade="minor"), state="draft")).json()
    at = url(cast, "inspections", draft["id"])
    assert grades(cast) == {}
    left = result(position="front-left", grade="major")
    assert len(api.post(f"{at}results/", {"results": [left]}).json()["results"]) == 2
    # The last word said about a check counts, once.
    assert len(api.post(f"{at}results/", {"results": [result(grade="major")]}).json()["results"]) == 2
    assert api.post(f"{at}complete/").json()["state"] == "completed"
    assert grades(cast) == {f"{BOOT}@front-right": "major", f"{BOOT}@front-left": "major"}
    assert api.post(f"{at}complete/").status_code == 200
    assert api.post(f"{at}results/", {"results": [left]}).status_code == 409
    assert cast.vehicle.findings.count() == 2


def test_an_empty_draft_cannot_be_completed(api: Any, cast: Cast) -> None:
    draft = api.post(url(cast, "inspections"), {**BODY, "results": [], "state": "draft"}).json()
    assert api.post(url(cast, "inspections", draft["id"], "complete")).status_code == 400


def test_a_finding_is_put_off_with_a_reason_and_a_worse_look_ends_that(api: Any, cast: Cast) -> None:
    api.post(url(cast, "inspections"), body(result(grade="minor")))
    finding = api.get(url(cast, "findings")).json()["items"][0]
    at = url(cast, "findings", finding["id"])
    put_off = {"deferred_until": "2990-01-01", "because": "after the holidays"}
    assert api.patch(at, put_off).json()["deferred_because"] == "after the holidays"
    api.post(url(cast, "inspections"), body(result(grade="major"), inspected_on="2024-06-01", odometer_km=188_000))
    assert api.get(at).json()["deferred_until"] is None


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"deferred_until": "2001-01-01", "because": "x"}, 400),
        ({"deferred_until": "2990-01-01"}, 400),
        ({"because": "x"}, 400),
        ({"dismissed": True, "deferred_until": "2990-01-01", "because": "x"}, 400),
        ({"deferred_until": "2990-01-01", "because": "x"}, 409),
    ],
)
def test_a_dangerous_finding_is_not_put_off(api: Any, cast: Cast, change: Any, status: int) -> None:
    api.post(url(cast, "inspections"), body(result(PADS, "front-left", grade="dangerous")))
    finding = api.get(url(cast, "findings")).json()["items"][0]
    assert api.patch(url(cast, "findings", finding["id"]), change).status_code == status


def test_a_dismissed_finding_is_closed_with_its_reason(api: Any, cast: Cast) -> None:
    api.post(url(cast, "inspections"), body(result(grade="major")))
    at = url(cast, "findings", api.get(url(cast, "findings")).json()["items"][0]["id"])
    assert api.patch(at, {"dismissed": True, "because": "only grease from above"}).json()["state"] == "closed"
    assert api.patch(at, {"dismissed": True, "because": "again"}).status_code == 409


def test_a_fitted_part_closes_its_findings_and_starts_a_new_life(api: Any, cast: Cast) -> None:
    api.post(url(cast, "inspections"), body(result(grade="major")))
    new = {
        "part": "outer-driveshaft-boot", "position": "front-right", "fitted_on": "2024-05-20", "odometer_km": 188_000,
        "removal": "failed", "description": "rubber, split type",
    }  # fmt: skip
    assert api.post(url(cast, "parts"), new).status_code == 201
    assert grades(cast) == {}
    fitted = [p for p in api.get(url(cast, "parts")).json()["items"] if p["history"] == "recorded"]
    assert [(p["part"], p["position"], p["fitted_on"]) for p in fitted] == [
        ("outer-driveshaft-boot", "front-right", "2024-05-20")
    ]
    history = api.get(url(cast, "parts", "history")).json()["items"]
    assert sorted((h["removal"] or "in service") for h in history) == ["failed", "in service"]
    assert faults(api.post(url(cast, "parts"), {**new, "fitted_on": "2024-05-02", "odometer_km": 187_500})) == {
        "/fitted_on": "before-last-renewal"
    }


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"part": "flux-capacitor"}, "/part"),
        ({"position": "roof"}, "/position"),
        ({"position": "rear-left"}, "/part"),
        ({"fitted_on": "2999-01-01"}, "/fitted_on"),
    ],
)
def test_a_part_this_vehicle_cannot_have_is_refused(api: Any, cast: Cast, change: Any, place: str) -> None:
    new = {"part": "outer-driveshaft-boot", "position": "front-right", "fitted_on": "2024-05-20", "odometer_km": 1000}
    assert list(faults(api.post(url(cast, "parts"), {**new, **change}))) == [place]


def test_the_walk_depends_on_the_vehicle_and_every_check_of_it_can_be_answered(api: Any, cast: Cast) -> None:
    walk = api.get(url(cast, "walk") + "?sheet=full").json()
    checks = [check for station in walk["stations"] for check in station["checks"]]
    results = [{"check": check["check"], "position": check["position"], "grade": "sound"} for check in checks]
    answer = api.post(url(cast, "inspections"), body(*results))
    assert answer.status_code == 201
    assert len(answer.json()["results"]) == len(checks)
    four_driven = factories.vehicle(cast.fleet, name="4x4", traits={"drive": "four"})
    other = api.get(f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{four_driven.pk}/walk/?sheet=full").json()
    assert sum(len(station["checks"]) for station in other["stations"]) > len(checks)
    assert api.get(url(cast, "walk") + "?sheet=none").status_code == 400


@pytest.mark.parametrize("count", [1, 60])
def test_posting_takes_the_same_number_of_queries_for_one_result_and_for_sixty(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.INSPECTOR)
    walk = client.get(url(cast, "walk")).json()
    checks = [check for station in walk["stations"] for check in station["checks"]][:count]
    results = [{"check": c["check"], "position": c["position"], "grade": "minor"} for c in checks]
    # Key, membership-free access, vehicle; two looks for a repetition's sake; reading: same day, before, after,
    # savepoints and insert; inspection, results, findings, changes, standings; and the answer.
    with django_assert_num_queries(POST_QUERIES):
        assert client.post(url(cast, "inspections"), body(*results)).status_code == 201


POST_QUERIES = 25


@pytest.mark.parametrize("count", [2, 20])
def test_lists_take_the_same_number_of_queries_at_any_length(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.INSPECTOR)
    for number in range(count):
        sent = body(
            result(grade="minor"), inspected_on=date(2024, 1, 1 + number).isoformat(), odometer_km=1000 + number
        )
        assert client.post(url(cast, "inspections"), sent).status_code == 201
    for address, queries in (("inspections", 3), ("findings", 3), ("parts", 3), ("parts/history", 3), ("walk", 2)):
        with django_assert_num_queries(queries):
            assert client.get(url(cast, address)).status_code == 200
