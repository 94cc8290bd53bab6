"""Figures and words as the reader writes them."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from fleetcare.portal.web.presenters import words
from fleetcare.portal.web.presenters.backlog import JobShown, backlog_shown
from fleetcare.portal.web.presenters.condition import condition_shown
from fleetcare.portal.web.presenters.figures import Figures
from fleetcare.portal.web.presenters.rule import rule
from inspections.catalogue.loader import default_catalogue
from scheduling.core.backlog import HORIZON_KM
from scheduling.core.reasons import Reason, phrase

ENGLISH = Figures("EUR", "km", "en")
GERMAN = Figures("EUR", "km", "de")


@dataclass(frozen=True)
class Open:
    """An open finding, as the verdict counts it."""

    grade: words.GradeShown


def condition(**said: Any) -> dict[str, Any]:
    document = {
        "score": 80.0,
        "interval": {"low": 70.0, "high": 88.0, "level": 0.8},
        "coverage_fraction": 0.7,
        "worst_grade": "sound",
        "do_not_drive": False,
        "dangers": [],
        "next_year_cost": {"amount": "840.00", "currency": "EUR"},
        "contributions": [],
        "as_of": "2026-10-03",
        "disclaimer": "An aid, no certificate.",
    }
    return {**document, **said}


def verdict(*grades: str, examined: bool = True, **said: Any) -> str:
    findings = [Open(words.grade(grade)) for grade in grades]
    return condition_shown(ENGLISH, condition(**said), findings, examined=examined).verdict


def job(**said: Any) -> dict[str, Any]:
    money = {"amount": "120.00", "currency": "EUR"}
    item = {
        "rank": 1, "job": "outer-driveshaft-boot.replace", "title": "Renew the boot", "positions": ["front-right"],
        "grade": "major", "cost_now": money, "hours": 1.8, "cost_of_waiting": money, "worth_per_cost": 4.1,
        "failure_chance_fraction": 0.38, "do_before": "2026-12-01", "before_driving": False,
        "access": ["wheel-off.front-right"], "follow_ups": ["wheel-nut-retorque"], "reasons": [],
    }  # fmt: skip
    return {**item, **said}


def shown_job(figures: Figures, **said: Any) -> JobShown:
    document = {"items": [job(**said)], "can_wait": [], "total_cost": {"amount": "120.00", "currency": "EUR"}}
    return backlog_shown(figures, document, date(2026, 10, 3)).items[0]


def test_reasons_of_the_decider_are_told_in_the_readers_unit_and_words() -> None:
    opened = ("wheel-off.front-right", "wheel-nut-retorque")
    facts = {"chance_fraction": 0.38, "horizon_km": round(HORIZON_KM)}
    reasons = [
        phrase(Reason("failure-chance", facts)),
        phrase(Reason("access-opened", {"work": ", ".join(opened)})),
        phrase(Reason("unseen-too-long")),
    ]
    said = shown_job(Figures("GBP", "mi", "en"), reasons=reasons, opened_before=opened).reasons
    assert said[0] == "4 in 10 fail within 6,200 mi like this."
    assert said[1].startswith("Already opened or done for a job before it: wheel off, front right and ")
    assert "retorque" not in said[1]
    assert said[2] == "Not looked at for too long, so its state is a guess."


def test_a_job_is_due_by_its_day_or_now() -> None:
    later = shown_job(ENGLISH)
    assert not later.now
    assert str(later.do_before) == "Dec 1, 2026"
    assert shown_job(ENGLISH, do_before="2026-10-03").now
    assert shown_job(ENGLISH, do_before=None).now


def test_waiting_that_saves_money_is_told_as_a_saving() -> None:
    saving = shown_job(ENGLISH, cost_of_waiting={"amount": "-35.20", "currency": "EUR"})
    assert (saving.waiting, saving.waiting_is_dearer) == ("€35", False)
    assert shown_job(ENGLISH).waiting_is_dearer


def test_a_follow_up_names_its_distance_in_the_fleets_unit() -> None:
    (retorque,) = shown_job(Figures("GBP", "mi", "en")).follow_ups
    assert retorque.endswith("after 30 mi")


def test_the_cautions_of_dismantling_come_with_the_job() -> None:
    assert any("jack alone" in caution for caution in shown_job(ENGLISH).cautions)


def test_estimates_are_told_in_whole_units_of_any_currency() -> None:
    assert ENGLISH.money(123_450) == "€1,235"
    assert Figures("JPY", "km", "en").money(1235) == "¥1,235"
    assert Figures("BHD", "km", "en").money(1_235_000) == "BHD\xa01,235"
    assert GERMAN.money(123_450) == "1.235\xa0€"
    assert ENGLISH.money_of({"amount": "0.49", "currency": "EUR"}) == "€0"


@given(st.integers(0, 1_000_000))
def test_whole_miles_come_back_as_they_went_in(miles: int) -> None:
    shown = Figures("GBP", "mi", "en").distance(Decimal(miles) * Decimal("1.609344"))
    assert shown == f"{miles:,} mi"


def test_a_share_that_is_not_nothing_is_not_told_as_nothing() -> None:
    assert ENGLISH.percent(0.0) == "0%"
    assert ENGLISH.percent(0.001) == "<1%"
    assert ENGLISH.percent(0.714) == "71%"


def test_days_have_a_form_for_machines_and_one_for_readers() -> None:
    day = ENGLISH.day("2026-10-03")
    assert day is not None
    assert (day.iso, day.text) == ("2026-10-03", "Oct 3, 2026")
    assert ENGLISH.day(None) is None


def test_a_measured_value_keeps_the_digits_it_was_entered_with() -> None:
    assert ENGLISH.measured(3.5, "mm") == "3.5 mm"
    assert ENGLISH.measured(1.6, "mm") == "1.6 mm"
    assert GERMAN.measured(1.6, "mm") == "1,6 mm"


@given(st.floats(0, 100), st.floats(0, 40), st.floats(0, 40))
def test_the_band_on_the_rule_holds_the_mark_and_stays_on_the_rule(score: float, below: float, above: float) -> None:
    drawn = rule(score, score - below, score + above)
    at, low, width = float(drawn.at), float(drawn.low), float(drawn.width)
    assert 0 <= low <= at + 0.005
    assert at - 0.5 <= low + width <= 100.51


@given(st.lists(st.floats(0.0001, 3), min_size=1, max_size=40))
def test_score_and_losses_add_up_to_a_hundred_as_they_are_shown(points: list[float]) -> None:
    systems = list(default_catalogue().systems)
    parts = [
        {"system": systems[index % len(systems)], "part": "p", "title": "Part", "position": None, "grade": None,
         "points": value * 100 / 121, "reason": "r"}
        for index, value in enumerate(points)
    ]  # fmt: skip
    score = 100.0 - sum(part["points"] for part in parts)
    shown = condition_shown(ENGLISH, condition(score=score, contributions=parts), [])
    tenths = [round(float(loss.points) * 10) for loss in shown.losses]
    assert round(float(shown.exact_score) * 10) + sum(tenths) == 1000
    assert tenths == sorted(tenths, reverse=True)


def test_the_verdict_is_never_milder_than_the_worst_that_is_open() -> None:
    danger = {"part": "front-brake-pads", "title": "Front brake pads", "position": "front-left", "why": "w"}
    assert verdict("dangerous", do_not_drive=True, dangers=[danger]).startswith("Do not drive")
    assert verdict("minor", "dangerous", "major").startswith("A dangerous defect is open")
    assert "2 major ones are open" in verdict("minor", "major", "major")
    assert "a minor one is open" in verdict("minor")
    assert verdict() == "No defect is open in what was looked at."
    assert verdict(examined=False).startswith("Nothing is known yet")


def test_no_verdict_clears_a_vehicle_for_the_road() -> None:
    for grades in ((), ("minor",), ("major",), ("dangerous",)):
        assert not any(word in verdict(*grades).lower() for word in ("safe", "roadworthy", "fit to", "pass"))


def test_thin_coverage_is_said_beside_the_verdict() -> None:
    assert (
        "a recent look at only 15% of the vehicle"
        in condition_shown(ENGLISH, condition(coverage_fraction=0.15), []).caveat
    )
    assert condition_shown(ENGLISH, condition(coverage_fraction=0.7), []).caveat == ""


def test_every_grade_and_position_of_the_catalogue_has_words() -> None:
    for slot in default_catalogue().slots:
        said = words.place(slot.position)
        assert "-" not in said
        assert bool(said) == bool(slot.position)
    assert words.grade(None).key == "not-examined"


def test_several_places_are_told_as_one_where_there_is_a_word_for_it() -> None:
    assert words.places(["front-left", "front-right"]) == "front, both sides"
    assert words.places(["rear-right", "front-left", "front-right", "rear-left"]) == "all four corners"
    assert words.places(["cylinder-1", "cylinder-3"]) == "cylinders 1, 3"
    assert words.places([""]) == ""


def test_a_check_names_its_part_once() -> None:
    assert words.check("front-brake-pads.thickness") == "Front pad thickness"
    for key, entry in default_catalogue().checks.items():
        said = words.check(key)
        assert said in {entry.check.title, f"{entry.part.title}: {entry.check.title[0].lower()}{entry.check.title[1:]}"}


def test_what_the_catalogue_has_lost_is_shown_as_it_was_stored() -> None:
    assert words.check("gone.check") == "gone.check"
    assert words.observations("gone.check", ["torn"]) == ["torn"]
    assert words.access("gone.front-left") == "gone, front left"
    assert words.follow_up("gone") == ("gone", 0)
    assert words.sheet("gone") == "gone"
    assert words.system("gone") == "gone"
    assert words.failure("gone") == ""
