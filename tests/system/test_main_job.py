"""The whole main job with a real server process, a real worker and an HTTP client, on SQLite and on PostgreSQL."""

import json
from datetime import date
from typing import Any

import pytest

from tests.system.conftest import Http, Installation, wait_for

pytestmark = [pytest.mark.system, pytest.mark.slow]


@pytest.mark.timeout(240)
def test_a_client_posts_an_inspection_and_reads_how_condition_and_backlog_changed(installation: Installation) -> None:
    fleets = json.loads(installation.run("demo", "--json"))["fleets"]
    assert sorted(fleet["kind"] for fleet in fleets) == ["club", "household", "workshop"]
    home = next(fleet for fleet in fleets if fleet["kind"] == "household")
    served = installation.serve()
    try:
        served.wait_ready()
        http = Http(served.base, home["key"])
        _the_main_job(http, home["id"])
        assert served.stop() == 0
    finally:
        served.kill()


def _the_main_job(http: Http, fleet: str) -> None:
    vehicles = http("GET", f"/api/v1/fleets/{fleet}/vehicles/").body["items"]
    assert len(vehicles) == 3
    vehicle = next(v for v in vehicles if not v["do_not_drive"])
    at = f"/api/v1/fleets/{fleet}/vehicles/{vehicle['id']}"
    before, backlog_before = http("GET", f"{at}/condition/").body, http("GET", f"{at}/backlog/").body
    answer = http("POST", f"{at}/inspections/", _inspection(http, at, vehicle))
    assert answer.status == 201, answer.body

    # At once, whether a worker was quick or not.
    after, backlog = http("GET", f"{at}/condition/").body, http("GET", f"{at}/backlog/").body
    assert after["score"] <= 25 < before["score"]
    assert after["do_not_drive"]
    assert after["dangers"][0]["part"] == "front-brake-pads"
    assert after["score"] + sum(c["points"] for c in after["contributions"]) == pytest.approx(100, abs=1e-6)
    first = backlog["items"][0]
    assert first["before_driving"]
    assert first["job"].startswith("front-brake-pads.")
    assert first["job"] not in [item["job"] for item in backlog_before["items"] if item["before_driving"]]

    # And soon, by the worker, where lists read it.
    def listed() -> Any:
        rows = http("GET", f"/api/v1/fleets/{fleet}/vehicles/?do_not_drive=true").body["items"]
        return vehicle["id"] in [row["id"] for row in rows if not row["being_assessed"]]

    wait_for(listed, 20, "the worker to assess the vehicle")
    jobs = http("GET", f"/api/v1/fleets/{fleet}/backlog/").body["items"]
    assert jobs[0]["before_driving"]


def _inspection(http: Http, at: str, vehicle: dict[str, Any]) -> dict[str, Any]:
    checks = [c for station in http("GET", f"{at}/walk/?sheet=wheels-off").body["stations"] for c in station["checks"]]
    results = []
    for check in checks:
        found: dict[str, Any] = {"check": check["check"], "position": check["position"], "grade": "sound"}
        if check["check"] == "front-brake-pads.thickness":
            measured = check["record"]["measurement"]
            found["measurement"] = {"value": measured["dangerous"] - 0.1, "unit": measured["unit"]}
        results.append(found)
    return {
        "inspected_on": date.today().isoformat(),  # noqa: DTZ011
        "odometer_km": vehicle["odometer_km"] + 50,
        "sheet": "wheels-off",
        "results": results,
    }
