"""What moved in a backlog and why."""

from dataclasses import replace

import pytest

from scheduling.core.changes import CAME, COST, FELL, POSTPONED, ROSE, WENT, Found, Listed, Standing, changes

PADS, BOOT = ("pads", "front"), ("boot", "left")


def listed(job: str, position: str, place: int, worth: float = 2.0, cost: int = 10_000) -> Listed:
    return Listed(f"{job}.replace", (position,), place, worth, cost, opened=False)


def standing(*jobs: Listed, km: float = 1_000.0, found: dict[tuple[str, str], int] | None = None) -> Standing:
    grades = found or {}
    return Standing(
        total_km=km,
        prices="p",
        lives="l",
        jobs={each.job: each for each in jobs},
        found={place: Found(grade, None) for place, grade in grades.items()},
        fitted_km={},
    )


def told(before: Standing, after: Standing) -> list[tuple[str, str, tuple[str, ...]]]:
    return [(each.what, each.job, each.causes) for each in changes(before, after)]


def test_nothing_moved_where_nothing_happened() -> None:
    same = standing(listed(*PADS, 1), listed(*BOOT, 0), found={PADS: 2, BOOT: 1})
    assert told(same, same) == []


def test_a_defect_brings_its_job_and_says_so() -> None:
    before, after = standing(), standing(listed(*PADS, 1), found={PADS: 2})
    assert told(before, after) == [(CAME, "pads.replace", ("finding-opened",))]


@pytest.mark.parametrize(("then", "now", "cause"), [(1, 2, "finding-worsened"), (2, 1, "finding-improved")])
def test_a_grade_that_moved_is_the_cause(then: int, now: int, cause: str) -> None:
    before = standing(listed(*PADS, 1 if then > now else 0), found={PADS: then})
    after = standing(listed(*PADS, 0 if then > now else 1), found={PADS: now})
    assert told(before, after) == [(POSTPONED if then > now else CAME, "pads.replace", (cause,))]


def test_a_job_goes_because_it_was_done_or_because_a_look_found_nothing() -> None:
    before = standing(listed(*PADS, 1), listed(*BOOT, 2), found={PADS: 2, BOOT: 2})
    after = replace(standing(), fitted_km={PADS: 900.0, BOOT: None})
    assert told(before, after) == [
        (WENT, "pads.replace", ("job-done",)),
        (WENT, "boot.replace", ("finding-closed",)),
    ]


def test_the_road_is_the_cause_where_nothing_else_is_and_time_where_not_even_that() -> None:
    before = standing(listed(*PADS, 0), found={PADS: 1})
    after = standing(listed(*PADS, 1), km=1_600.0, found={PADS: 1})
    assert told(before, after) == [(CAME, "pads.replace", ("driven",))]
    assert told(before, replace(after, total_km=1_400.0)) == [(CAME, "pads.replace", ("time-passed",))]


def test_prices_and_lives_that_changed_are_named() -> None:
    before = standing(listed(*PADS, 1), found={PADS: 1})
    after = replace(standing(listed(*PADS, 1, cost=11_000), found={PADS: 1}), prices="q", lives="m")
    assert told(before, after) == [(COST, "pads.replace", ("price-changed", "life-changed"))]


def test_jobs_that_overtake_each_other_rise_and_fall_and_trifles_are_not_told() -> None:
    before = standing(listed(*PADS, 1, 3.0), listed(*BOOT, 2, 2.0), found={PADS: 1, BOOT: 1})
    after = standing(listed(*BOOT, 1, 4.0), listed(*PADS, 2, 2.5), found={PADS: 1, BOOT: 2})
    assert told(before, after) == [
        (ROSE, "boot.replace", ("finding-worsened",)),
        (FELL, "pads.replace", ("time-passed",)),
    ]
    nearly = standing(listed(*PADS, 1, 3.1, 10_050), listed(*BOOT, 2, 2.1), found={PADS: 1, BOOT: 1})
    assert told(before, nearly) == []


def test_a_job_that_another_went_before_has_not_risen() -> None:
    before = standing(listed(*PADS, 1), listed(*BOOT, 2), found={PADS: 2, BOOT: 2})
    after = replace(standing(listed(*BOOT, 1), found={BOOT: 2}), fitted_km={PADS: 900.0})
    assert [what for what, _, _ in told(before, after)] == [WENT]
