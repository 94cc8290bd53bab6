"""What moved between two plans, and because of what."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.core.plan_changes import CODES, Cause, Causes, Considered, changes, phrase

PADS = Considered("car", "pads.replace", ("front-left", "front-right"), "pads", 5_000, 19_000, "2026-10-10")
BOOT = Considered("car", "boot.replace", ("front-left",), "boot", 2_200, 4_000, "2026-10-10")
HOSE = Considered("van", "hose.replace", (), "hose", 3_000, 2_000, None, "no-money-left")
WORSENED = Cause("finding-worsened", {"part": "Pads", "position": "front-right", "grade": "dangerous"}, "2026-10-03")
PLACE = ("car", "pads", "front-right")


def told(before: list[Considered], after: list[Considered], causes: Causes | None = None) -> list[tuple[str, str, str]]:
    found = changes(before, after, causes or Causes())
    return [(each.kind, each.job.job, ", ".join(cause.code for cause in each.because)) for each in found]


def test_a_plan_like_the_one_before_moved_nothing() -> None:
    assert told([PADS, BOOT, HOSE], [PADS, BOOT, HOSE], Causes(of_prices=(Cause("prices-changed"),))) == []


def test_what_came_in_or_went_out_is_told_with_what_happened_at_its_part() -> None:
    causes = Causes(of_parts=((PLACE, WORSENED),))
    assert told([BOOT], [BOOT, PADS], causes) == [("came-in", "pads.replace", "finding-worsened")]
    done = Causes(of_parts=((PLACE, Cause("job-done")),))
    assert told([PADS, BOOT], [BOOT], done) == [("went-out", "pads.replace", "job-done")]


def test_a_finding_at_another_vehicle_explains_nothing_here() -> None:
    causes = Causes(of_parts=((("van", "pads", "front-right"), WORSENED),))
    assert told([BOOT], [BOOT, PADS], causes) == [("came-in", "pads.replace", "planned-anew")]


def test_a_job_pushed_out_by_another_names_it() -> None:
    causes = Causes(of_parts=((PLACE, WORSENED),))
    after = [PADS, replace(BOOT, visit=None, why="no-money-left")]
    assert told([BOOT], after, causes) == [
        ("went-out", "boot.replace", "others-moved"),
        ("came-in", "pads.replace", "finding-worsened"),
    ]


def test_more_money_explains_what_came_in_and_moved() -> None:
    budget = Cause("budget-changed", {"visit": "2026-10-10", "before": "50.00 EUR", "after": "90.00 EUR"})
    after = [replace(PADS, visit="2026-10-24"), replace(HOSE, visit="2026-10-10", why="")]
    assert told([PADS, HOSE], after, Causes(of_visits=(budget,))) == [
        ("came-in", "hose.replace", "budget-changed"),
        ("moved", "pads.replace", "budget-changed"),
    ]


def test_a_dearer_job_is_told_with_the_price_and_a_worthier_one_with_the_distance() -> None:
    causes = Causes(of_prices=(Cause("prices-changed"),), of_vehicles=(("car", Cause("km-driven")),))
    dearer = replace(PADS, cost_minor=6_000, worth_minor=18_000)
    worthier = replace(BOOT, worth_minor=6_000)
    assert told([PADS, BOOT], [dearer, worthier], causes) == [
        ("cost-changed", "pads.replace", "prices-changed"),
        ("worth-changed", "boot.replace", "km-driven"),
    ]
    assert told([PADS], [dearer]) == [("cost-changed", "pads.replace", "estimate-changed")]


def test_worth_that_creeps_is_no_news() -> None:
    assert told([PADS], [replace(PADS, worth_minor=20_000)]) == []


def test_a_plan_searched_further_says_so() -> None:
    assert told([replace(HOSE, visit=None)], [replace(HOSE, visit="2026-10-10")], Causes(earlier_proved=False)) == [
        ("came-in", "hose.replace", "searched-further")
    ]


_JOBS = st.builds(
    Considered,
    vehicle=st.sampled_from(["car", "van"]),
    job=st.sampled_from(["pads.replace", "boot.replace", "hose.replace"]),
    positions=st.sampled_from([(), ("front-left",)]),
    part=st.just("pads"),
    cost_minor=st.integers(0, 3),
    worth_minor=st.integers(-3, 3),
    visit=st.sampled_from([None, "2026-10-10", "2026-10-24"]),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(_JOBS, max_size=8, unique_by=lambda j: j.key), st.lists(_JOBS, max_size=8, unique_by=lambda j: j.key))
def test_the_changes_lead_from_one_plan_to_the_other_and_each_has_a_cause(
    before: list[Considered], after: list[Considered]
) -> None:
    visits = {job.key: job.visit for job in before if job.visit}
    for change in changes(before, after, Causes()):
        assert change.because
        if change.kind == "went-out":
            del visits[change.job.key]
        elif change.kind in ("came-in", "moved"):
            assert (change.job.key in visits) == (change.kind == "moved")
            visits[change.job.key] = change.job.visit
    assert visits == {job.key: job.visit for job in after if job.visit}


FACTS = {
    "part": "Front brake pads",
    "position": "front-left",
    "grade": "major",
    "because": "",
    "km": "1,200",
    "days": "4",
    "what": "an hour of work",
    "before": "15.00 EUR",
    "after": "20.00 EUR",
    "visit": "2026-10-10",
    "jobs": "pads.replace",
}


@pytest.mark.parametrize("code", CODES)
def test_every_cause_is_a_sentence_without_a_hole(code: str) -> None:
    sentence = phrase(Cause(code, FACTS))
    assert sentence
    assert not set("{}") & set(sentence)


def test_a_cause_tells_where_and_why() -> None:
    assert phrase(WORSENED) == "Pads, front right, is now dangerous"
    done = Cause("job-done", {"part": "Pads", "position": "", "grade": "major", "because": "renewed"})
    assert phrase(done) == "Pads was put right: renewed"
