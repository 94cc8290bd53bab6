"""Odometer and fuel on their pages: listed, corrected, taken back."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleetcare.fleet.clock import today
from fleetcare.fleet.models import FuelFill, OdometerReading, Standing, Vehicle
from fleetcare.fleet.services.odometer import record_odometer
from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import Cast
from tests.fleetcare.fleet.given import fill
from tests.fleetcare.portal.markup import parsed, words
from tests.inspections.given import inspect


@pytest.fixture
def at(cast: Cast) -> str:
    return f"/fleets/{cast.fleet.pk}/vehicles/{cast.vehicle.pk}/road/"


def read(cast: Cast, ago: int, km: int, vehicle: Vehicle | None = None, **values: Any) -> OdometerReading:
    on = today(cast.fleet) - timedelta(days=ago)
    return record_odometer(cast.access, vehicle or cast.vehicle, read_on=on, shown_km=Decimal(km), **values)


def test_readings_and_fills_are_listed_with_what_they_came_with(cast: Cast, at: str, browser_of: Any) -> None:
    read(cast, 30, 120_000)
    fill(cast.access, cast.vehicle, filled_on=today(cast.fleet) - timedelta(days=20), price_minor=7_155)
    read(cast, 10, 12, replacement=True)
    told = words(browser_of(cast).get(at).content.decode())
    assert "120,000 km</strong> · read by hand" in told
    assert "12 km</strong> · 121,000 km in all · read by hand · <strong>new odometer" in told
    assert "41.5 L</strong> · 121,000 km · €72 · full" in told


def test_a_mistyped_reading_is_corrected(cast: Cast, at: str, browser_of: Any) -> None:
    read(cast, 30, 120_000)
    wrong = read(cast, 10, 122_900)
    day = (today(cast.fleet) - timedelta(days=11)).isoformat()
    form = {"odometer": "121900,5", "read_on": day}
    assert browser_of(cast, Role.PLANNER).post(f"{at}{wrong.pk}/", form)["Location"] == at
    rows = OdometerReading.objects.within(cast.fleet).order_by("read_on")
    assert [row.shown_km for row in rows] == [Decimal(120_000), Decimal("121900.5")]
    standing = Standing.objects.within(cast.fleet).get(vehicle=cast.vehicle)
    assert (standing.odometer_km, standing.odometer_on.isoformat()) == (Decimal("121900.5"), day)


def test_a_correction_may_be_far_from_what_it_corrects_but_not_from_its_neighbours(
    cast: Cast, at: str, browser_of: Any
) -> None:
    read(cast, 30, 120_000)
    wrong = read(cast, 20, 129_000)
    read(cast, 10, 130_000)
    planner, day = browser_of(cast, Role.PLANNER), (today(cast.fleet) - timedelta(days=20)).isoformat()
    late = planner.post(f"{at}{wrong.pk}/", {"odometer": "131000", "read_on": day})
    assert late.status_code == 422
    assert set(late.context["form"].errors) == {"odometer"}
    assert OdometerReading.objects.within(cast.fleet).filter(pk=wrong.pk).exists(), "as it was"
    assert planner.post(f"{at}{wrong.pk}/", {"odometer": "120100", "read_on": day}).status_code == 302


@pytest.mark.parametrize(
    ("said", "field"),
    [({"odometer": "far"}, "odometer"), ({"read_on": "2999-01-01"}, "read_on"), ({"read_on": "x"}, "read_on")],
)
def test_a_fault_stands_at_its_field(cast: Cast, at: str, browser_of: Any, said: dict[str, str], field: str) -> None:
    row = read(cast, 10, 120_000)
    form = {"odometer": "120001", "read_on": today(cast.fleet).isoformat(), **said}
    answer = browser_of(cast, Role.PLANNER).post(f"{at}{row.pk}/", form)
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}


def test_a_correction_to_the_same_changes_nothing(cast: Cast, at: str, browser_of: Any) -> None:
    row = read(cast, 10, 120_000)
    form = {"odometer": "120000", "read_on": row.read_on.isoformat()}
    assert browser_of(cast, Role.PLANNER).post(f"{at}{row.pk}/", form).status_code == 302
    assert OdometerReading.objects.within(cast.fleet).get().pk == row.pk


def test_what_belongs_to_an_inspection_or_a_fill_is_not_corrected_here(cast: Cast, at: str, browser_of: Any) -> None:
    planner = browser_of(cast, Role.PLANNER)
    inspect(cast.access, cast.vehicle, inspected_on=today(cast.fleet) - timedelta(days=9))
    filled, _ = fill(cast.access, cast.vehicle, filled_on=today(cast.fleet))
    form = {"odometer": "120500", "read_on": today(cast.fleet).isoformat()}
    rows = OdometerReading.objects.within(cast.fleet)
    for row in rows:
        assert planner.post(f"{at}{row.pk}/", form).status_code == 422
    assert {row.shown_km for row in rows.all()} == {Decimal(120_000), Decimal(121_000)}
    page = parsed(planner.get(at).content)
    assert not [link for link in page.all("a") if "/road/" in link.attributes.get("href", "")]
    assert filled.reading_id


def test_a_reading_and_a_fill_are_taken_back_by_a_planner(cast: Cast, at: str, browser_of: Any) -> None:
    row, (filled, _) = read(cast, 10, 120_000), fill(cast.access, cast.vehicle, filled_on=today(cast.fleet))
    viewer, planner = browser_of(cast), browser_of(cast, Role.PLANNER)
    for act, key in (("reading", row.pk), ("fill", filled.pk)):
        assert viewer.post(at, {"act": act, "row": str(key)}).status_code == 403
        assert planner.post(at, {"act": act, "row": str(key)}).status_code == 302
    assert not OdometerReading.objects.within(cast.fleet).exists()
    assert not FuelFill.objects.within(cast.fleet).exists()


def test_only_planners_correct_and_only_their_own_fleet(cast: Cast, strangers: Cast, at: str, browser_of: Any) -> None:
    mine, theirs = read(cast, 10, 120_000), read(strangers, 10, 120_000)
    other = read(cast, 10, 120_000, factories.vehicle(cast.fleet))
    assert browser_of(cast, Role.INSPECTOR).get(f"{at}{mine.pk}/").status_code == 403
    owner = browser_of(cast, Role.OWNER)
    for row in (theirs, other):
        assert owner.get(f"{at}{row.pk}/").status_code == 404
        assert owner.post(at, {"act": "reading", "row": str(row.pk)}).status_code == 404
    assert owner.post(at, {"act": "reading", "row": "x"}).status_code == 404


def test_much_asks_no_more_questions_than_little(
    cast: Cast, at: str, browser_of: Any, django_assert_num_queries: Any
) -> None:
    viewer = browser_of(cast)
    for number in range(3):
        read(cast, 90 - number, 120_000 + number)
        fill(
            cast.access, cast.vehicle, filled_on=today(cast.fleet) - timedelta(days=50 - number),
            shown_km=Decimal(121_000 + 300 * number),
        )  # fmt: skip
        with django_assert_num_queries(7):  # session, user, membership, vehicle, readings, fills, figures over time
            viewer.get(at)
