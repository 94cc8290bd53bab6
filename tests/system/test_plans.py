"""A plan answered at once and solved to the end by a real worker, on SQLite and on PostgreSQL."""

import json
from datetime import date, timedelta
from typing import Any

import pytest

from tests.system.conftest import Http, Installation, wait_for

pytestmark = [pytest.mark.system, pytest.mark.slow]


@pytest.mark.timeout(240)
def test_a_plan_is_answered_at_once_and_the_best_one_follows(installation: Installation) -> None:
    fleets = json.loads(installation.run("demo", "--json"))["fleets"]
    club = next(fleet for fleet in fleets if fleet["kind"] == "club")
    served = installation.serve()
    try:
        served.wait_ready()
        _plans(Http(served.base, club["key"]), f"/api/v1/fleets/{club['id']}")
        assert served.stop() == 0
    finally:
        served.kill()


def _plans(http: Http, fleet: str) -> None:
    at, total = f"{fleet}/plans/", http("GET", f"{fleet}/backlog/").body["total_cost"]
    made = [http("POST", at, _question(total, twentieths)) for twentieths in (4, 6, 8, 10)]
    assert {answer.status for answer in made} == {201}, made[0].body
    improving = [answer.body for answer in made if answer.body["state"] == "improving"]
    assert improving, "every plan was the best at once"

    def solved() -> Any:
        now = [http("GET", f"{at}{plan['id']}/").body for plan in improving]
        return now if {plan["state"] for plan in now} == {"final"} else None

    for before, after in zip(improving, wait_for(solved, 90, "the worker to solve the plans"), strict=True):
        assert after["status"] in {"optimal", "feasible"}
        assert float(before["value"]["amount"]) <= float(after["value"]["amount"])
        assert float(after["bound"]["amount"]) <= float(before["bound"]["amount"])


def _question(total: dict[str, str], twentieths: int) -> dict[str, Any]:
    """Two visits, each with so many twentieths of what all jobs together cost."""
    days = [date.today() + timedelta(days=7 * number) for number in (1, 2)]  # noqa: DTZ011
    budget = {**total, "amount": str(int(float(total["amount"]) * twentieths / 20))}
    return {"visits": [{"date": day.isoformat(), "hours": 6, "budget": budget} for day in days]}
