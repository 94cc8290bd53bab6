"""What is due: by rules, wear, looks and follow-ups, over days, zones and the odometer."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.utils import timezone

from fleetcare.fleet.models import Event, Vehicle
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from fleetcare.kernel.errors import Conflict, InvalidInput
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.service_templates import service_templates
from inspections.services.parts import fit_part
from scheduling.core.due import State
from scheduling.models import DueItem, ServiceDone
from scheduling.services.assess import assess_vehicles
from scheduling.services.due import add_follow_ups, add_rule, drop_serviced, mark_done, mark_serviced, sweep_due
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import PADS, inspect, result
from tests.scheduling.given import due_item

FORTNIGHTS = 26


def driven(cast: Cast, *, km_a_year: int = 15_000, shown_km: int = 150_000) -> Vehicle:
    """A vehicle read every fortnight for a year, up to today."""
    vehicle, now = cast.vehicle, timezone.now().date()
    for back in range(FORTNIGHTS, -1, -1):
        gone = km_a_year * back * 14 / 365
        shown = Decimal(str(round(shown_km - gone)))
        record_odometer(cast.access, vehicle, read_on=now - timedelta(14 * back), shown_km=shown)
    return refreshed(vehicle)


def refreshed(vehicle: Vehicle) -> Vehicle:
    return Vehicle.objects.within(vehicle.fleet_id).select_related("standing").get(pk=vehicle.pk)


def assess(vehicle: Vehicle) -> None:
    assess_vehicles(vehicle.fleet_id, [vehicle.pk])


def item(vehicle: Vehicle, source: str, **conditions: Any) -> DueItem:
    return DueItem.objects.within(vehicle.fleet_id).get(vehicle=vehicle, source=source, **conditions)


def test_a_rule_falls_due_at_the_earlier_of_its_months_and_the_expected_day_of_its_km(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    short = add_rule(cast.access, vehicle, title="Oil", every_km=5_000, every_months=12)
    long = add_rule(cast.access, vehicle, title="Belt", every_km=100_000, every_months=12)
    for rule in (short, long):
        mark_done(cast.access, rule, vehicle, done_on=now, shown_km=Decimal(150_000))
    assess(vehicle)
    by_km, by_date = item(vehicle, f"rule:{short.pk}"), item(vehicle, f"rule:{long.pk}")
    # 5,000 km at 15,000 km a year are a third of a year.
    assert by_km.due_on is not None
    assert abs((by_km.due_on - now).days - 365 / 3) < 20
    assert by_km.earliest_on < by_km.due_on < by_km.latest_on
    assert (by_date.due_on, by_date.earliest_on, by_date.latest_on) == (by_date.limit_on,) * 3
    assert by_date.limit_on.replace(year=now.year) in {now, date(now.year, 2, 28)}
    assert by_km.due_shown_km == 155_000


def test_the_odometer_makes_a_rule_due_and_then_overdue(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, title="Oil", every_km=1_000)
    mark_done(cast.access, rule, vehicle, done_on=now - timedelta(60), shown_km=None)
    ServiceDone.objects.within(cast.fleet).update(total_km=Decimal(149_000))
    assess(vehicle)
    assert item(vehicle, f"rule:{rule.pk}").state == State.DUE
    record_odometer(cast.access, vehicle, read_on=now, shown_km=Decimal(150_001))
    assess(refreshed(vehicle))
    assert item(vehicle, f"rule:{rule.pk}").state == State.OVERDUE


def test_what_was_never_done_is_due_from_the_day_the_rule_was_made(cast: Cast) -> None:
    vehicle = driven(cast)
    rule = add_rule(cast.access, vehicle, template="brake-fluid")
    assess(vehicle)
    found = item(vehicle, f"rule:{rule.pk}")
    assert (found.limit_on, found.state, found.period) == (timezone.now().date(), State.DUE, "first")
    assert found.safety


def test_a_new_vehicle_counts_from_its_first_use(cast: Cast) -> None:
    first = timezone.now().date() - timedelta(100)
    vehicle = refreshed(factories.vehicle(cast.fleet, first_used_on=first))
    rule = add_rule(cast.access, vehicle, title="Fluid", every_months=24)
    assess(vehicle)
    found = item(vehicle, f"rule:{rule.pk}")
    assert found.state == State.LATER
    assert found.limit_on.year == first.year + 2


def test_doing_it_closes_the_occurrence_and_opens_the_next(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, template="brake-fluid")
    assess(vehicle)
    mark_done(cast.access, rule, vehicle, done_on=now)
    assess(vehicle)
    before = item(vehicle, f"rule:{rule.pk}", period="first")
    after = item(vehicle, f"rule:{rule.pk}", period=f"after {now.isoformat()}")
    assert (before.closed_because, before.sequence) == ("done", 1)
    assert (after.closed_on, after.state) == (None, State.LATER)


def test_a_fitted_part_counts_as_its_service(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, template="engine-oil")
    fit_part(
        cast.access, vehicle, part_key="engine-oil", position="", fitted_on=now - timedelta(14),
        shown_km=Decimal(149_425),
    )  # fmt: skip
    assess(vehicle)
    found = item(vehicle, f"rule:{rule.pk}")
    assert found.period == f"after {(now - timedelta(14)).isoformat()}"
    assert found.state == State.LATER


def test_one_of_four_spark_plugs_is_no_service_of_the_plugs(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, template="spark-plugs")
    fit_part(
        cast.access, vehicle, part_key="spark-plug", position=default_catalogue().parts["spark-plug"].positions[0],
        fitted_on=now, shown_km=Decimal(150_000),
    )  # fmt: skip
    assess(vehicle)
    assert item(vehicle, f"rule:{rule.pk}").period == "first"


def test_a_rule_of_the_fleet_is_about_the_vehicles_it_fits_only(cast: Cast) -> None:
    diesel = refreshed(factories.vehicle(cast.fleet, name="Van", traits={"fuel": "diesel"}))
    petrol = refreshed(factories.vehicle(cast.fleet, name="Car", traits={"fuel": "petrol"}))
    rule = add_rule(cast.access, None, template="fuel-filter-diesel")
    for vehicle in (diesel, petrol):
        assess(vehicle)
    rows = DueItem.objects.within(cast.fleet).filter(source=f"rule:{rule.pk}")
    assert [row.vehicle_id for row in rows] == [diesel.pk]


def test_an_insurance_ends_on_its_day_and_takes_the_next(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, title="Insurance", kind="insurance", ends_on=now + timedelta(20))
    assess(vehicle)
    first = item(vehicle, f"rule:{rule.pk}")
    assert (first.state, first.due_on, first.kind) == (State.SOON, now + timedelta(20), "insurance")
    mark_done(cast.access, rule, vehicle, done_on=now, next_ends_on=now + timedelta(385))
    assess(vehicle)
    assert item(vehicle, f"rule:{rule.pk}", closed_on=None).due_on == now + timedelta(385)


def test_wear_that_will_reach_its_limit_is_due_with_an_interval(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    for back, thick in ((300, 6.0), (150, 4.8), (10, 3.7)):
        shown = Decimal(150_000 - back * 41)
        measured = result(PADS, "front-left", measurement={"value": thick, "unit": "mm"})
        inspect(cast.access, vehicle, measured, inspected_on=now - timedelta(back), shown_km=shown)
    assess(refreshed(vehicle))
    found = item(vehicle, "wear:front-brake-pads@front-left")
    # 1.1 mm in 140 days: the limit is 0.7 mm away.
    assert 20 < (found.due_on - now).days < 200
    assert found.earliest_on < found.due_on < found.latest_on
    assert found.safety


def test_a_vehicle_that_was_never_inspected_is_due_for_a_full_look(cast: Cast) -> None:
    vehicle = driven(cast)
    assess(vehicle)
    never = item(vehicle, "look:full")
    assert (never.state, never.period, never.due_on) == (State.DUE, "after never", timezone.now().date())


def test_a_full_look_closes_what_was_due_and_a_short_one_leaves_it(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    assess(vehicle)
    inspect(cast.access, vehicle, inspected_on=now - timedelta(1), shown_km=Decimal(149_990), sheet="five-minute")
    assess(refreshed(vehicle))
    assert item(vehicle, "look:full").period == "after never"
    inspect(cast.access, vehicle, inspected_on=now, shown_km=Decimal(150_000), sheet="full")
    assess(refreshed(vehicle))
    assert item(vehicle, "look:full", period="after never").closed_because == "done"
    following = item(vehicle, "look:full", closed_on=None)
    # 10,000 km at 15,000 km a year are eight months; parts with a shorter warning come sooner.
    assert 60 < (following.due_on - now).days < 260
    short = item(vehicle, "look:before-trip", closed_on=None)
    assert short.due_on < following.due_on


def test_what_a_job_obliges_is_due_once_by_km_or_within_a_month(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    job = SimpleNamespace(pk=uuid4(), part_key="front-brake-pads")
    keys = [key for key, entry in default_catalogue().follow_ups.items() if entry.after_km][:1]
    for _ in range(2):
        add_follow_ups(cast.access, vehicle, job, keys, now, Decimal(150_000))
    assess(vehicle)
    found = item(vehicle, f"follow-up:{job.pk}:{keys[0]}")
    after_km = default_catalogue().follow_ups[keys[0]].after_km
    assert found.due_total_km == 150_000 + after_km
    assert now <= found.due_on <= now + timedelta(30)
    assert found.safety


def test_a_job_marks_the_rules_of_its_parts_and_undoing_it_takes_that_back(cast: Cast) -> None:
    vehicle, now, job = driven(cast), timezone.now().date(), uuid4()
    rule = add_rule(cast.access, vehicle, template="brake-fluid")
    assert mark_serviced(cast.access, vehicle, ["brake-fluid", ""], now, Decimal(150_000), job) == 1
    assess(vehicle)
    assert item(vehicle, f"rule:{rule.pk}").state == State.LATER
    drop_serviced(cast.access, vehicle, job)
    assess(vehicle)
    assert item(vehicle, f"rule:{rule.pk}", closed_on=None).period == "first"


def test_an_undone_job_opens_the_old_occurrence_again_with_a_higher_sequence(cast: Cast) -> None:
    vehicle, now, job = driven(cast), timezone.now().date(), uuid4()
    rule = add_rule(cast.access, vehicle, template="brake-fluid")
    assess(vehicle)
    mark_serviced(cast.access, vehicle, ["brake-fluid"], now, Decimal(150_000), job)
    assess(vehicle)
    drop_serviced(cast.access, vehicle, job)
    assess(vehicle)
    again = item(vehicle, f"rule:{rule.pk}", period="first")
    assert (again.closed_on, again.sequence) == (None, 2)


def test_a_small_move_of_a_forecast_does_not_move_the_day_that_was_told(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, title="Oil", every_km=10_000)
    mark_done(cast.access, rule, vehicle, done_on=now, shown_km=Decimal(150_000))
    assess(vehicle)
    told = item(vehicle, f"rule:{rule.pk}")
    with time_machine.travel(timezone.now() + timedelta(days=9), tick=False):
        record_odometer(cast.access, vehicle, read_on=timezone.now().date(), shown_km=Decimal(150_420))
        assess(refreshed(vehicle))
        later = item(vehicle, f"rule:{rule.pk}")
    assert (later.due_on, later.sequence) == (told.due_on, told.sequence)


def test_a_dropped_rule_withdraws_what_it_made_due(cast: Cast, api: Any) -> None:
    vehicle = driven(cast)
    rule = add_rule(cast.access, vehicle, template="brake-fluid")
    assess(vehicle)
    url = f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{vehicle.pk}/service-rules/{rule.pk}/"
    assert api.delete(url).status_code == 204
    assess(vehicle)
    assert item(vehicle, f"rule:{rule.pk}").closed_because == "withdrawn"


@pytest.mark.parametrize(
    ("zone", "instant", "state"),
    [
        ("Pacific/Auckland", "2026-02-28T12:00:00+00:00", State.DUE),
        ("UTC", "2026-02-28T23:59:00+00:00", State.SOON),
        ("UTC", "2026-03-01T00:00:00+00:00", State.DUE),
        ("America/New_York", "2026-03-01T04:59:00+00:00", State.SOON),
        ("America/New_York", "2026-03-02T05:00:00+00:00", State.OVERDUE),
    ],
)
def test_a_day_begins_where_the_fleet_lives(zone: str, instant: str, state: State, db: Any) -> None:
    fleet = factories.FleetFactory(time_zone=zone)
    with time_machine.travel(datetime(2026, 2, 20, tzinfo=ZoneInfo("UTC")), tick=False):
        due = due_item(factories.vehicle(fleet), on=date(2026, 3, 1))
    with time_machine.travel(datetime.fromisoformat(instant), tick=False):
        sweep_due()
        due.refresh_from_db()
        assert due.state == state
        assert sweep_due() == 0


def test_becoming_due_and_overdue_is_told_once_each(cast: Cast) -> None:
    due_item(cast.vehicle, on=date(2026, 3, 1))
    told = Event.objects.within(cast.fleet).filter(kind="item.due")
    for day, count in ((date(2026, 2, 27), 0), (date(2026, 3, 1), 1), (date(2026, 3, 2), 2), (date(2026, 3, 9), 2)):
        with time_machine.travel(datetime(day.year, day.month, day.day, 6, tzinfo=ZoneInfo("UTC")), tick=False):
            sweep_due()
            sweep_due()
        assert told.count() == count
    assert [event.facts["state"] for event in told.order_by("happened_at")] == ["due", "overdue"]


@pytest.mark.parametrize("fleets", [1, 4])
def test_the_sweep_takes_one_statement_a_day_of_the_world(fleets: int, db: Any, django_assert_num_queries: Any) -> None:
    for number in range(fleets):
        vehicle = factories.vehicle(factories.FleetFactory(time_zone=f"Etc/GMT{-number:+d}"))
        for number in range(3):
            due_item(vehicle, source=f"follow-up:{number}", on=date(2026, 1, 1), announced_state=State.OVERDUE)
    noon = datetime(2026, 6, 1, 12, tzinfo=ZoneInfo("UTC"))
    # Zones, the one update, whether there is news.
    with time_machine.travel(noon, tick=False), django_assert_num_queries(3):
        assert sweep_due() == 3 * fleets


def test_a_due_item_is_listed_snoozed_and_done_over_the_api(api: Any, client_of: Any, cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, template="brake-fluid")
    assess(vehicle)
    fleet_url = f"/api/v1/fleets/{cast.fleet.pk}/"
    listed = api.get(f"{fleet_url}due/?state=due&kind=service").json()["items"]
    assert [each["what"] for each in listed] == [rule.title]
    one = f"{fleet_url}due/{listed[0]['id']}/"
    read = api.get(one)
    until = (now + timedelta(20)).isoformat()
    assert api.patch(one, {"snoozed_until": until}, HTTP_IF_MATCH=read["ETag"]).json()["snoozed_until"] == until
    assert api.patch(one, {"snoozed_until": None}, HTTP_IF_MATCH=read["ETag"]).status_code == 412
    assert api.patch(one, {"snoozed_until": now.isoformat()}).status_code == 400
    inspector = client_of(Role.INSPECTOR)
    assert inspector.patch(one, {"snoozed_until": None}).status_code == 403
    done = inspector.post(f"{one}done/", {"done_on": now.isoformat(), "odometer_km": 150_000})
    assert done.json()["closed_because"] == "done"
    assert inspector.post(f"{one}done/", {"done_on": now.isoformat()}).status_code == 409
    assert ServiceDone.objects.within(cast.fleet).get(rule=rule).total_km == 150_000
    assess(vehicle)
    vehicle_url = f"{fleet_url}vehicles/{vehicle.pk}/"
    assert {each["state"] for each in api.get(f"{vehicle_url}due/?kind=service").json()["items"]} == {"later"}
    assert api.get(f"{vehicle_url}").json()["next_due"] is not None


def test_a_look_is_settled_by_looking_and_not_by_saying_so(api: Any, cast: Cast) -> None:
    vehicle = driven(cast)
    assess(vehicle)
    look = item(vehicle, "look:full")
    answer = api.post(
        f"/api/v1/fleets/{cast.fleet.pk}/due/{look.pk}/done/", {"done_on": timezone.now().date().isoformat()}
    )
    assert (answer.status_code, answer.json()["type"]) == (409, "urn:fleetcare:problem:needs-record")


@pytest.mark.parametrize("query", ["state=red", "kind=oil", "closed=maybe", "colour=blue"])
def test_an_unknown_word_in_a_filter_is_refused(api: Any, cast: Cast, query: str) -> None:
    assert api.get(f"/api/v1/fleets/{cast.fleet.pk}/due/?{query}").status_code == 400


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"template": "no-such"}, "/template"),
        ({"title": "Oil"}, "/every_km"),
        ({"every_km": 1000}, "/title"),
        ({"title": "Oil", "every_km": 0}, "/every_km"),
        ({"title": "Oil", "every_km": -5}, "/every_km"),
        ({"title": "Oil", "every_km": 1000, "part": "no-such-part"}, "/part"),
        ({"title": "Oil", "every_km": 1000, "needs": ["fuel=steam"]}, "/needs/0"),
        ({"title": "Oil", "every_km": 1000, "needs": ["fuel"]}, "/needs/0"),
        ({"title": "Oil", "every_km": 1000, "colour": "red"}, "/colour"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused_with_the_place(
    api: Any, cast: Cast, body: dict[str, Any], pointer: str
) -> None:
    answer = api.post(f"/api/v1/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/service-rules/", body)
    assert answer.status_code == 400
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]


def test_work_is_not_done_tomorrow_nor_twice_a_day(cast: Cast) -> None:
    vehicle, now = driven(cast), timezone.now().date()
    rule = add_rule(cast.access, vehicle, template="brake-fluid")
    with pytest.raises(InvalidInput):
        mark_done(cast.access, rule, vehicle, done_on=now + timedelta(1))
    mark_done(cast.access, rule, vehicle, done_on=now)
    with pytest.raises(Conflict):
        mark_done(cast.access, rule, vehicle, done_on=now)


@pytest.mark.parametrize("count", [2, 8])
def test_a_list_of_due_items_takes_as_many_queries_for_few_as_for_many(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.VIEWER)
    for number in range(count):
        due_item(factories.vehicle(cast.fleet, name=f"Car {number}"))
    url = f"/api/v1/fleets/{cast.fleet.pk}/due/"
    client.get(url)
    with django_assert_num_queries(2):
        assert len(client.get(url).json()["items"]) == count


def test_every_template_is_common_practice_and_gives_way_to_the_maker() -> None:
    told = "common practice, see the maker's book"
    assert all(entry.source.endswith(told) for entry in service_templates().values())
