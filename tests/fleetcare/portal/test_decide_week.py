"""A workshop's week on the decide and plan pages: days filled, people kept, who and which bay, what stays dangerous."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleetcare.fleet.words import Role
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.plan_dangers import dangers_shown
from fleetcare.portal.web.presenters.plan_week import week_shown
from scheduling.models import StoredPlan
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.fleetcare.portal.test_desk_pages import today, worn

ENGLISH = Figures("EUR", "km", "en")
PEOPLE = {
    "person-1": "R. Amsel", "person-hours-1": "6", "hardest-1": "5", "licensed-1": "on",
    "person-2": "K. Meise", "person-hours-2": "8", "hardest-2": "2",
}  # fmt: skip


@pytest.fixture
def base(cast: Cast) -> str:
    type(cast.fleet).objects.filter(pk=cast.fleet.pk).update(kind="workshop")
    worn(cast)
    return f"/fleets/{cast.fleet.pk}/"


def values_of(page: Any) -> dict[str, str]:
    fields = parsed(page.content).all("input")
    return {f.attributes["name"]: f.attributes.get("value", "") for f in fields if "name" in f.attributes}


def test_monday_to_friday_are_filled_like_the_first_visit_and_nothing_is_planned(
    cast: Cast, base: str, browser_of: Any
) -> None:
    first = {"date-1": today().isoformat(), "hours-1": "16", "budget-1": "900", "lift-1": "8", "stands-1": "4"}
    page = browser_of(cast, Role.PLANNER).post(f"{base}decide/", {**first, **PEOPLE, "week": ""})
    assert page.status_code == 200
    assert not StoredPlan.objects.within(cast.fleet).exists()
    typed = values_of(page)
    days = [date.fromisoformat(typed[f"date-{n}"]) for n in range(1, 6)]
    assert [day.isoweekday() for day in days] == [1, 2, 3, 4, 5]
    assert timedelta(0) < days[0] - today() <= timedelta(7)
    assert {typed[f"lift-{n}"] for n in range(1, 6)} == {"8"}
    assert (typed["date-6"], typed["person-2"], typed["person-hours-1"]) == ("", "K. Meise", "6")


def test_people_stay_as_they_were_typed_when_a_day_is_wrong(cast: Cast, base: str, browser_of: Any) -> None:
    form = {"date-1": "2020-01-01", "hours-1": "6", "budget-1": "100", **PEOPLE}
    page = browser_of(cast, Role.PLANNER).post(f"{base}decide/", form)
    assert page.status_code == 422
    assert values_of(page)["person-1"] == "R. Amsel"
    chosen = [each.attributes["value"] for each in parsed(page.content).all("option") if "selected" in each.attributes]
    assert chosen[:2] == ["5", "2"]


def test_six_visits_with_people_and_bays_become_a_plan_with_a_week_at_a_glance(
    cast: Cast, base: str, browser_of: Any
) -> None:
    second = factories.vehicle(cast.fleet, name="Allotment van")
    worn(cast, second)
    form = dict(PEOPLE)
    for n in range(1, 7):
        day = (today() + timedelta(n)).isoformat()
        form |= {f"date-{n}": day, f"hours-{n}": "14", f"budget-{n}": "400", f"lift-{n}": "4", f"stands-{n}": "8"}
    client = browser_of(cast, Role.PLANNER)
    page = client.get(client.post(f"{base}decide/", form)["Location"])
    week = page.context["week"]
    assert [row.name for row in week.rows] == ["R. Amsel", "K. Meise", "On the lift", "On stands or the lift"]
    assert len(week.days) == 6
    assert all(cell.endswith("of 6 hr") for cell in week.rows[0].cells)
    assert all(cell.endswith("of 12 hr") for cell in week.rows[3].cells)
    done = [vehicle.name for visit in page.context["plan"].visits for vehicle in visit.vehicles]
    assert {"Home car", "Allotment van"} <= set(done)
    text = words(parsed(page.content).all("main")[0].text)
    assert "Home car: Do not drive before the visit on" in text


def test_the_week_counts_each_persons_jobs_and_each_bays() -> None:
    jobs = [
        {"hours": 1.5, "person": "A", "bay": "lift"},
        {"hours": 0.7, "person": "A", "bay": "stands"},
        {"hours": 2.0, "person": "B", "bay": None},
    ]
    visits = [{"date": "2026-11-30", "jobs": jobs}, {"date": "2026-12-01", "jobs": []}]
    people = [{"name": "A", "minutes": 480}, {"name": "B", "minutes": 120}]
    asked = [
        {"people": people, "lift_minutes": 240, "stands_minutes": None},
        {"people": people[:1], "lift_minutes": None, "stands_minutes": None},
    ]
    week = week_shown(ENGLISH, {"visits": visits}, {"visits": asked})
    assert week is not None
    assert {row.name: row.cells for row in week.rows} == {
        "A": ("2.2 of 8 hr", "0.0 of 8 hr"),
        "B": ("2.0 of 2 hr", "–"),
        "On the lift": ("1.5 of 4 hr", "–"),
        "On stands or the lift": ("2.2 of 4 hr", "–"),
    }
    nobody = {"people": [], "lift_minutes": None, "stands_minutes": None}
    assert week_shown(ENGLISH, {"visits": visits[:1]}, {"visits": [nobody]}) is None


def test_what_stays_dangerous_is_said_once_a_vehicle_and_the_last_day_counts() -> None:
    def warning(vehicle: str, part: str, day: str | None) -> dict[str, Any]:
        return {"vehicle": vehicle, "part": part, "position": "front-left", "date": day}

    told = dangers_shown(
        ENGLISH,
        [
            warning("a", "front-brake-pads", "2026-11-30"),
            warning("b", "front-brake-pads", "2026-11-30"),
            warning("a", "front-brake-disc", "2026-12-02"),
            warning("b", "front-brake-disc", None),
        ],
        {"a": "Zephyr", "b": "Van"},
    )
    assert [(each.vehicle, each.say, each.parts) for each in told] == [
        ("Van", "Do not drive: no visit of this plan puts this right.", "Front brake disc, front left"),
        (
            "Zephyr",
            "Do not drive before the visit on Dec 2, 2026.",
            "Front brake pads, front left; Front brake disc, front left",
        ),
    ]
