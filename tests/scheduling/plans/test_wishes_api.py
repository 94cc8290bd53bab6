"""Wishes about single jobs, people with skills, stands and lift."""

from typing import Any

import pytest

from inspections.catalogue.loader import default_catalogue
from scheduling.services.plans.demands import bay_of_job, bay_of_unit, skills_given, skills_of
from tests.conftest import Cast
from tests.inspections.given import result
from tests.scheduling.plans.given import (
    BOOT_JOB,
    PADS_JOB,
    faults,
    jobs_of,
    left_out,
    planned,
    recent,
    soon,
    url,
    visit,
    wear,
)


@pytest.fixture
def worn(cast: Cast) -> Cast:
    wear(cast)
    return cast


def ref(cast: Cast, job: str, *positions: str, **wish: Any) -> dict[str, Any]:
    where = {"positions": list(positions)} if positions else {}
    return {"vehicle": str(cast.vehicle.pk), "job": job, **where, **wish}


def asked(api: Any, cast: Cast, *wishes: dict[str, Any], visits: Any = None, **more: Any) -> dict[str, Any]:
    body = {"visits": visits or [visit(), visit(days=30)], "wishes": list(wishes), "exact": True, **more}
    response = api.post(url(cast), body)
    assert response.status_code == 201, response.content
    answer: dict[str, Any] = response.json()
    return answer


def on(body: dict[str, Any], job: str) -> list[str]:
    return [each["on"] for each in jobs_of(body) if each["job"] == job]


def test_a_must_is_done_even_where_it_would_not_be_worth_it(api: Any, cast: Cast) -> None:
    recent(cast.vehicle, cast, result("body-panels.rust-and-edges", "", grade="minor"))
    job = "body-panels.repair"
    without = asked(api, cast)
    assert job not in planned(without)
    wanted = asked(api, cast, ref(cast, job, must=True))
    assert [each["wanted"] for each in jobs_of(wanted)] == [True]
    assert float(wanted["value"]["amount"]) < float(without["value"]["amount"])


def test_a_must_that_does_not_fit_says_what_it_takes(api: Any, worn: Cast) -> None:
    visits = [visit(2, "10.00")]
    body = asked(api, worn, ref(worn, PADS_JOB, must=True), visits=visits)
    assert body["status"] == "infeasible"
    assert body["ways_out"][0][0]["say"] == f"40.00 EUR more money at the visit on {visits[0]['date']}."


def test_a_job_is_done_neither_before_nor_after_its_days(api: Any, worn: Cast) -> None:
    late = asked(api, worn, ref(worn, PADS_JOB, not_before=soon(10)))
    assert on(late, PADS_JOB) == [soon(30)]
    early = asked(api, worn, ref(worn, BOOT_JOB, not_after=soon(10)))
    assert set(on(early, BOOT_JOB)) == {soon(7)}
    neither = asked(api, worn, ref(worn, PADS_JOB, not_before=soon(10), not_after=soon(20)))
    assert left_out(neither)[PADS_JOB] == "no-visit-fits"


def test_a_day_to_be_done_by_that_cannot_be_kept_says_how_much_later(api: Any, worn: Cast) -> None:
    """The first visit is too short for it, the second comes too late."""
    visits = [visit(0.25), visit(days=30)]
    body = asked(api, worn, ref(worn, PADS_JOB, must=True, not_after=soon(10)), visits=visits)
    assert body["status"] == "infeasible"
    (later,) = [each for way in body["ways_out"] for each in way if each["rule"] == "latest-day"]
    assert later["amount"] == "20 days later"
    assert "be done 20 days later than was asked" in later["say"]


def test_a_job_waits_for_the_one_it_requires(api: Any, worn: Cast) -> None:
    wish = ref(worn, PADS_JOB, requires=[ref(worn, BOOT_JOB, "front-left")])
    late = ref(worn, BOOT_JOB, "front-left", not_before=soon(10))
    assert on(asked(api, worn, late), PADS_JOB) == [soon(7)]
    assert on(asked(api, worn, wish, late), PADS_JOB) == [soon(30)]


def test_a_job_that_requires_one_left_out_for_want_of_hours_is_left_out_too(api: Any, worn: Cast) -> None:
    assert planned(asked(api, worn, visits=[visit(2.1)])) == {PADS_JOB}
    wish = ref(worn, PADS_JOB, requires=[ref(worn, BOOT_JOB, "front-left")])
    body = asked(api, worn, wish, visits=[visit(2.1)])
    assert PADS_JOB not in planned(body)
    assert left_out(body)[PADS_JOB] == "requires-left-out"


def test_jobs_that_exclude_each_other_are_not_both_done(api: Any, worn: Cast) -> None:
    body = asked(api, worn, ref(worn, PADS_JOB, excludes=[ref(worn, BOOT_JOB)]))
    assert planned(body) == {PADS_JOB}
    assert left_out(body)[BOOT_JOB] == "excluded"


def test_licensed_and_hard_jobs_go_to_those_who_may_do_them(api: Any, worn: Cast) -> None:
    people = [
        {"name": "Ada", "hours": 8, "skills": ["difficulty-2"]},
        {"name": "Bo", "hours": 3, "skills": ["difficulty-5"]},
    ]
    body = asked(api, worn, visits=[visit(11, people=people)])
    # The boots are of difficulty 3, the pads of 2.
    done = jobs_of(body)
    assert {job["person"] for job in done if job["difficulty"] > 2} <= {"Bo"}
    assert BOOT_JOB in {job["job"] for job in done}
    assert sum(job["hours"] for job in done if job["person"] == "Bo") <= 3
    alone = asked(api, worn, visits=[visit(11, people=people[:1])])
    assert planned(alone) == {PADS_JOB}
    assert left_out(alone)[BOOT_JOB] == "nobody-can"


def test_without_anything_to_stand_on_nothing_is_done_under_the_vehicle(api: Any, worn: Cast) -> None:
    body = asked(api, worn, visits=[visit(20, lift_hours=0)])
    assert planned(body) == set()
    assert set(left_out(body).values()) == {"no-visit-fits"}
    short = asked(api, worn, visits=[visit(20, stands_hours=2)])
    raised = sum(job["hours"] for job in jobs_of(short))
    assert planned(short)
    assert raised <= 2
    assert len(jobs_of(short)) < len(jobs_of(asked(api, worn, visits=[visit(20, stands_hours=20)])))


@pytest.mark.parametrize(
    ("job", "bay", "skills"),
    [
        ("front-brake-pads.replace", "stands", ("difficulty-2",)),
        ("exhaust-middle-silencer.replace", "stands", ("difficulty-2",)),
        ("clutch.replace", "lift", ("difficulty-4",)),
        ("number-plate-lamp.replace", "", ("difficulty-1",)),
        ("refrigerant-charge.service", "", ("difficulty-3", "licensed")),
    ],
)
def test_bays_and_skills_are_read_off_the_catalogue(job: str, bay: str, skills: tuple[str, ...]) -> None:
    """A silencer hangs where one lies underneath; a gearbox comes down on a jack that serves under a lift only."""
    assert (bay_of_job(default_catalogue(), job), skills_of(default_catalogue(), job)) == (bay, skills)


def test_a_unit_raises_the_vehicle_where_the_catalogue_warns_of_stands() -> None:
    catalogue = default_catalogue()
    units = ("wheel-off.front-left", "gearbox-out", "trim-off", "road-test")
    assert [bay_of_unit(catalogue, unit) for unit in units] == ["stands", "lift", "", ""]


def test_who_manages_a_difficulty_manages_all_below_and_nobody_is_licensed_unsaid() -> None:
    assert set(skills_given(["difficulty-2", "licensed"])) == {"difficulty-1", "difficulty-2", "licensed"}
    assert "difficulty-5" in skills_given([])
    assert "licensed" not in skills_given([])


@pytest.mark.parametrize(
    ("make", "expected"),
    [
        (lambda c: [ref(c, PADS_JOB, must=True, leave_out=True)], [("/wishes/0/leave_out", "contradicts")]),
        (lambda c: [ref(c, PADS_JOB), ref(c, PADS_JOB)], [("/wishes/1", "twice")]),
        (lambda c: [ref(c, PADS_JOB, "rear-left")], [("/wishes/0/positions/0", "unknown-position")]),
        (lambda c: [ref(c, "tyre.replace", must=True)], [("/wishes/0/job", "not-open")]),
        (lambda c: [ref(c, PADS_JOB, requires=[ref(c, "tyre.replace")])], [("/wishes/0/requires/0/job", "not-open")]),
        (
            lambda c: [ref(c, PADS_JOB, not_before=soon(20), not_after=soon(10))],
            [("/wishes/0/not_after", "contradicts")],
        ),
        (lambda c: [ref(c, PADS_JOB, must=True, not_after=soon(2))], [("/wishes/0/not_after", "no-visit")]),
        (lambda c: [ref(c, PADS_JOB, must=True, not_before=soon(90))], [("/wishes/0/not_before", "no-visit")]),
        (lambda c: [ref(c, PADS_JOB, requires=[ref(c, PADS_JOB)])], [("/wishes/0/requires/0", "itself")]),
        (
            lambda c: [
                ref(c, PADS_JOB, requires=[ref(c, BOOT_JOB, "front-left")]),
                ref(c, BOOT_JOB, "front-left", requires=[ref(c, BOOT_JOB, "front-right")]),
                ref(c, BOOT_JOB, "front-right", requires=[ref(c, PADS_JOB)]),
            ],
            [("/wishes/0/requires", "circle")],
        ),
        (
            lambda c: [ref(c, PADS_JOB, requires=[ref(c, BOOT_JOB)], excludes=[ref(c, BOOT_JOB)])],
            [("/wishes/0/excludes/0", "contradicts")],
        ),
        (
            lambda c: [ref(c, PADS_JOB, must=True, excludes=[ref(c, BOOT_JOB)]), ref(c, BOOT_JOB, must=True)],
            [("/wishes/0/excludes/0", "contradicts")],
        ),
        (
            lambda c: [ref(c, PADS_JOB, must=True, requires=[ref(c, BOOT_JOB)]), ref(c, BOOT_JOB, leave_out=True)],
            [("/wishes/0/requires/0", "left-out")],
        ),
        (lambda c: [ref(c, PADS_JOB, skills=["welding"])], [("/wishes/0/skills/0", "nobody-has")]),
    ],
)
def test_a_wish_that_cannot_be_meant_is_refused_with_its_place(api: Any, worn: Cast, make: Any, expected: Any) -> None:
    assert faults(api.post(url(worn), {"visits": [visit()], "wishes": make(worn)})) == expected


def test_a_must_that_nobody_may_do_is_refused_with_the_skill_it_takes(api: Any, worn: Cast) -> None:
    people = [{"name": "Ada", "hours": 8, "skills": ["difficulty-1"]}]
    body = {"visits": [visit(people=people)], "wishes": [ref(worn, BOOT_JOB, must=True)]}
    response = api.post(url(worn), body)
    assert faults(response) == [("/wishes/0/must", "nobody-can")]
    assert "difficulty-3" in response.json()["detail"]


def test_of_two_ways_to_put_a_dangerous_part_right_the_one_that_fits_is_planned(api: Any, cast: Cast) -> None:
    """The parking brake's cable can be renewed, or (for too long a travel) adjusted, which takes no money."""
    recent(cast.vehicle, cast, result("parking-brake-cable.travel", "", measurement={"value": 18, "unit": "clicks"}))
    both = {"parking-brake-cable.replace", "parking-brake-cable.adjust"}
    poor = asked(api, cast, visits=[visit(8, "5.00")])
    assert (poor["status"], planned(poor)) == ("optimal", {"parking-brake-cable.adjust"})
    rather = asked(api, cast, ref(cast, "parking-brake-cable.adjust", leave_out=True))
    assert planned(rather) == {"parking-brake-cable.replace"}
    neither = asked(api, cast, *(ref(cast, job, leave_out=True) for job in sorted(both)))
    assert [warning["code"] for warning in neither["warnings"]] == ["stays-dangerous"]
    stuck = asked(api, cast, ref(cast, "parking-brake-cable.adjust", leave_out=True), visits=[visit(8, "5.00")])
    assert stuck["status"] == "infeasible"
    assert {left["code"] for left in stuck["left_out"]} >= {"asked-to-leave-out", "no-money-left"}
