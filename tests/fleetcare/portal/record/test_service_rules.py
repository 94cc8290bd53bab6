"""Service rules on their pages: taken from the catalogue or made, done, rested, changed; every form without script."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Fleet, OdometerReading
from fleetcare.fleet.words import Role
from scheduling.models import ServiceDone, ServiceRule
from scheduling.services.assess import assess_vehicles
from scheduling.services.due import add_rule, mark_done
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.portal.markup import parsed, words
from tests.inspections.given import inspect


@pytest.fixture
def at(cast: Cast) -> str:
    return f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/rules/"


def oil(cast: Cast, **values: Any) -> ServiceRule:
    return add_rule(cast.access, cast.vehicle, template="engine-oil", **values)


def test_several_templates_are_taken_over_at_once_and_offered_no_more(cast: Cast, at: str, browser_of: Any) -> None:
    planner = browser_of(cast, Role.PLANNER)
    assert 'id="template-brake-fluid"' in planner.get(at).content.decode()
    answer = planner.post(at, {"what": "catalogue", "template": ["engine-oil", "brake-fluid"]})
    assert answer["Location"] == at
    made = {rule.template: (rule.every_km, rule.every_months) for rule in ServiceRule.objects.within(cast.fleet)}
    assert made == {"engine-oil": (15_000, 12), "brake-fluid": (None, 24)}
    text = planner.get(at).content.decode()
    assert 'id="template-brake-fluid"' not in text
    assert "every 15,000 km or 12 months" in words(text)


def test_a_template_for_another_drive_is_not_offered(cast: Cast, at: str, browser_of: Any) -> None:
    assert "Diesel filter" not in browser_of(cast, Role.PLANNER).get(at).content.decode()


def test_an_unknown_template_makes_nothing(cast: Cast, at: str, browser_of: Any) -> None:
    form = {"what": "catalogue", "template": ["engine-oil", "no-such"]}
    answer = browser_of(cast, Role.PLANNER).post(at, form)
    assert "no template no-such" in answer.content.decode()
    assert not ServiceRule.objects.within(cast.fleet).exists()


def test_work_of_ones_own_is_kept_in_the_fleets_unit(cast: Cast, at: str, browser_of: Any) -> None:
    Fleet.objects.filter(pk=cast.fleet.pk).update(distance_unit="mi")
    form = {"what": "work", "title": "Grease the hinges", "every_km": "10,000", "every_months": "18", "reach": "fleet"}
    client = browser_of(cast, Role.PLANNER)
    assert client.post(at, form).status_code == 302
    rule = ServiceRule.objects.within(cast.fleet).get()
    assert (rule.every_km, rule.every_months, rule.vehicle, rule.lead_days) == (16_093, 18, None, 30)
    assert "every 10,000 mi or 18 months" in words(client.get(at).content.decode())


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"title": "Grease"}, "every_km"),
        ({"title": "Grease", "every_km": "far"}, "every_km"),
        ({"title": "Grease", "every_months": "0"}, "every_months"),
        ({"title": "", "every_months": "6"}, "title"),
        ({"title": "Grease", "every_months": "6", "part_key": "no-such"}, "part_key"),
    ],
)
def test_a_fault_of_a_rule_stands_at_its_field_and_what_was_typed_stays(
    cast: Cast, at: str, browser_of: Any, said: dict[str, str], field: str
) -> None:
    answer = browser_of(cast, Role.PLANNER).post(at, {"what": "work", "note": "with the long spout", **said})
    assert answer.status_code == 422
    assert set(answer.context["work"].errors) == {field}
    assert "with the long spout" in answer.content.decode()
    assert not ServiceRule.objects.within(cast.fleet).exists()


def test_a_day_that_runs_out_is_called_by_its_kind_and_renewed_when_done(cast: Cast, at: str, browser_of: Any) -> None:
    planner, ends = browser_of(cast, Role.PLANNER), today(cast.fleet) + timedelta(days=20)
    planner.post(at, {"what": "day", "kind": "insurance", "ends_on": ends.isoformat()})
    rule = ServiceRule.objects.within(cast.fleet).get()
    assert (rule.title, rule.ends_on) == ("Insurance", ends)
    renewed = {"act": "done", "done_on": today(cast.fleet).isoformat(), "next_ends_on": "2031-01-31"}
    assert planner.post(f"{at}{rule.pk}/", renewed).status_code == 302
    rule.refresh_from_db()
    assert (rule.ends_on, rule.active) == (date(2031, 1, 31), True)


def test_a_warranty_by_distance_alone_is_a_rule(cast: Cast, at: str, browser_of: Any) -> None:
    form = {"what": "day", "kind": "warranty", "ends_odometer": "160 000", "title": "Warranty of the gearbox"}
    assert browser_of(cast, Role.PLANNER).post(at, form).status_code == 302
    assert ServiceRule.objects.within(cast.fleet).get().ends_total_km == Decimal(160_000)


def test_last_and_next_are_told_and_who_knows_when_is_told_too(cast: Cast, at: str, browser_of: Any) -> None:
    inspect(cast.access, cast.vehicle, inspected_on=today(cast.fleet))
    mark_done(cast.access, oil(cast), cast.vehicle, done_on=date(2024, 1, 31))
    add_rule(cast.access, cast.vehicle, template="coolant")
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    facts = [words(each.text) for each in parsed(browser_of(cast).get(at).content).of_class("boxes")]
    assert facts[0] == "Last doneJan 31, 2024 Next dueJan 31, 2025"
    assert facts[1].startswith("Last donenobody knows Next due")


def test_done_goes_on_record_with_the_odometer_and_a_fault_stands_at_its_field(
    cast: Cast, at: str, browser_of: Any
) -> None:
    rule, inspector, day = oil(cast), browser_of(cast, Role.INSPECTOR), today(cast.fleet).isoformat()
    page = f"{at}{rule.pk}/"
    assert inspector.post(page, {"act": "done", "done_on": day, "odometer": "130000,5"}).status_code == 302
    done = ServiceDone.objects.within(cast.fleet).get()
    assert done.total_km == Decimal("130000.5")
    assert OdometerReading.objects.within(cast.fleet).get().source == "job"
    again = inspector.post(page, {"act": "done", "done_on": day, "note": "the same day"})
    assert again.status_code == 422
    assert "on record for this day already" in again.content.decode()
    future = {"act": "done", "done_on": (today(cast.fleet) + timedelta(days=2)).isoformat()}
    assert set(inspector.post(page, future).context["entry"].errors) == {"done_on"}


def test_a_rule_is_changed_unless_somebody_else_changed_it(cast: Cast, at: str, browser_of: Any) -> None:
    rule, planner = oil(cast), browser_of(cast, Role.PLANNER)
    page = f"{at}{rule.pk}/"
    form = {"act": "change", "title": "Oil", "every_km": "8000", "every_months": "", "version": '"1"'}
    assert planner.post(page, form).status_code == 302
    rule.refresh_from_db()
    assert (rule.title, rule.every_km, rule.every_months) == ("Oil", 8000, None)
    late = planner.post(page, {**form, "title": "Too late"})
    assert late.status_code == 422
    assert "changed since you read it" in late.content.decode()


def test_a_rule_rests_counts_again_and_goes(cast: Cast, at: str, browser_of: Any) -> None:
    rule, planner = oil(cast), browser_of(cast, Role.PLANNER)
    page = f"{at}{rule.pk}/"
    planner.post(page, {"act": "pause"})
    rule.refresh_from_db()
    assert not rule.active
    assert "rests" in planner.get(at).content.decode()
    planner.post(page, {"act": "resume"})
    rule.refresh_from_db()
    assert rule.active
    planner.post(page, {"act": "drop"})
    assert not ServiceRule.objects.within(cast.fleet).exists()


@pytest.mark.parametrize("act", ["pause", "drop", "change"])
def test_an_inspector_changes_no_rule(cast: Cast, at: str, browser_of: Any, act: str) -> None:
    rule = oil(cast)
    said = {"act": act, "title": "Oil", "every_km": "9"}
    assert browser_of(cast, Role.INSPECTOR).post(f"{at}{rule.pk}/", said).status_code == 403
    rule.refresh_from_db()
    assert (rule.active, rule.every_km) == (True, 15_000)


def test_a_viewer_reads_and_records_nothing(cast: Cast, at: str, browser_of: Any) -> None:
    viewer, rule = browser_of(cast), oil(cast)
    for page in (at, f"{at}{rule.pk}/"):
        assert not [form for form in parsed(viewer.get(page).content).all("form") if "/rules/" in str(form.attributes)]
    day = today(cast.fleet).isoformat()
    assert viewer.post(f"{at}{rule.pk}/", {"act": "done", "done_on": day}).status_code == 403
    assert viewer.post(at, {"what": "catalogue", "template": "coolant"}).status_code == 403


def test_rules_of_another_fleet_and_of_another_vehicle_are_not_there(
    cast: Cast, strangers: Cast, at: str, browser_of: Any
) -> None:
    theirs = add_rule(strangers.access, strangers.vehicle, template="engine-oil")
    other = add_rule(cast.access, factories.vehicle(cast.fleet), template="engine-oil")
    owner = browser_of(cast, Role.OWNER)
    assert owner.get(f"{at}{theirs.pk}/").status_code == 404
    assert owner.get(f"{at}{other.pk}/").status_code == 404
    foreign = f"/fleets/{strangers.fleet.pk}/vehicles/{strangers.vehicle.pk}/rules/"
    assert owner.get(foreign).status_code == 404


def test_many_rules_ask_no_more_questions_than_one(
    cast: Cast, at: str, browser_of: Any, django_assert_num_queries: Any
) -> None:
    viewer = browser_of(cast)
    oil(cast)
    with django_assert_num_queries(7):  # session, user, membership, vehicle, rules, what was done, what is due
        viewer.get(at)
    for template in ("coolant", "brake-fluid", "air-filter"):
        rule = add_rule(cast.access, cast.vehicle, template=template)
        mark_done(cast.access, rule, cast.vehicle, done_on=date(2024, 1, 31))
    assess_vehicles(cast.fleet.pk, [cast.vehicle.pk])
    with django_assert_num_queries(7):
        viewer.get(at)
