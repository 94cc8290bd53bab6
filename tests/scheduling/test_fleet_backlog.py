"""The fleet's backlog over the API: one order over all vehicles, a page at a time, for the same queries."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from inspections.models import Assessment
from scheduling.models import StoredBacklog
from scheduling.services.assess import assess_vehicles
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import BOOT, PADS, inspect, result


def url(cast: Cast, query: str = "") -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/backlog/{query}"


def worn_vehicles(cast: Cast, count: int, *, grade: str = "major") -> list[Vehicle]:
    """Vehicles with a bad boot and bad pads each, assessed."""
    kept = [factories.vehicle(cast.fleet, name=f"car {number}") for number in range(count)]
    day = timezone.now().date() - timedelta(20)
    for number, vehicle in enumerate(kept):
        bad = (result(BOOT, "front-right", grade=grade), result(PADS, "front-left", grade=grade))
        inspect(cast.access, vehicle, *bad, inspected_on=day, shown_km=Decimal(120_000 + 9_000 * number))
    assess_vehicles(cast.fleet.pk, [vehicle.pk for vehicle in kept])
    return kept


def jobs_of(body: dict[str, Any]) -> list[tuple[str, str, tuple[str, ...]]]:
    return [(item["vehicle"], item["job"], tuple(item["positions"])) for item in body["items"]]


def walk(api: Any, address: str) -> list[dict[str, Any]]:
    """Every page, by the links that the answers give."""
    pages = []
    while address:
        answer = api.get(address)
        pages.append(answer.json())
        address = pages[-1]["next"]
        assert (f'<{address}>; rel="next"' if address else None) == answer.headers.get("Link")
    return pages


def test_pages_one_after_the_other_are_the_whole_list_ranked_from_one(api: Any, cast: Cast) -> None:
    worn_vehicles(cast, 4)
    (whole,) = walk(api, url(cast))
    assert len(whole["items"]) == whole["jobs"] >= 4
    pages = walk(api, url(cast, "?limit=3"))
    assert [len(page["items"]) for page in pages[:-1]] == [3] * (len(pages) - 1)
    items = [item for page in pages for item in page["items"]]
    assert items == whole["items"]
    assert [item["rank"] for item in items] == list(range(1, len(items) + 1))
    assert {page["total_cost"]["amount"] for page in pages} == {whole["total_cost"]["amount"]}
    assert {page["jobs"] for page in pages} == {whole["jobs"]}


def test_the_whole_list_is_every_vehicles_own_list_and_costs_their_sum(api: Any, cast: Cast) -> None:
    kept = worn_vehicles(cast, 3)
    (whole,) = walk(api, url(cast))
    stored = {str(row.vehicle_id): row.document for row in StoredBacklog.objects.within(cast.fleet)}
    for vehicle in kept:
        own = [item for item in whole["items"] if item["vehicle"] == str(vehicle.pk)]
        listed = stored[str(vehicle.pk)]["items"]
        assert [{**item, "rank": 0} for item in listed] == [
            {name: item[name] for name in stored_item} | {"rank": 0}
            for item, stored_item in zip(own, listed, strict=True)
        ]
    total = sum(Decimal(document["total_cost"]["amount"]) for document in stored.values())
    assert Decimal(whole["total_cost"]["amount"]) == total > 0


def test_a_vehicle_that_is_repaired_between_two_pages_costs_no_other_vehicle_its_place(api: Any, cast: Cast) -> None:
    kept = worn_vehicles(cast, 4)
    (whole,) = walk(api, url(cast))
    first = api.get(url(cast, "?limit=2")).json()
    seen = set(jobs_of(first))
    mended = next(vehicle for vehicle in kept if str(vehicle.pk) not in {job[0] for job in seen})
    sound = (result(BOOT, "front-right", grade="sound"), result(PADS, "front-left", grade="sound"))
    inspect(cast.access, mended, *sound, inspected_on=timezone.now().date(), shown_km=Decimal(160_000))
    assess_vehicles(cast.fleet.pk, [mended.pk])
    rest = [job for page in walk(api, first["next"]) for job in jobs_of(page)]
    expected = [job for job in jobs_of(whole) if job not in seen and job[0] != str(mended.pk)]
    assert [job for job in rest if job[0] != str(mended.pk)] == expected


def test_an_archived_vehicle_is_not_listed_and_costs_nothing(api: Any, cast: Cast) -> None:
    kept = worn_vehicles(cast, 2)
    Vehicle.objects.within(cast.fleet).filter(pk=kept[0].pk).update(archived=True)
    (body,) = walk(api, url(cast))
    assert {item["vehicle"] for item in body["items"]} == {str(kept[1].pk)}
    own = StoredBacklog.objects.within(cast.fleet).get(vehicle=kept[1])
    assert body["total_cost"] == own.document["total_cost"]


@pytest.mark.parametrize("cursor", ["nonsense", "e30=", "WzEsMl0=", "WyJhIiwiYiIsImMiXQ==", "WzEuMCwibm8gaWQiLDFd"])
def test_a_cursor_that_is_not_ours_is_refused(api: Any, cast: Cast, cursor: str) -> None:
    answer = api.get(url(cast, f"?cursor={cursor}"))
    assert answer.status_code == 400
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/cursor"]


@pytest.mark.parametrize("limit", ["0", "101", "many"])
def test_a_page_is_of_one_to_a_hundred_jobs(api: Any, cast: Cast, limit: str) -> None:
    assert api.get(url(cast, f"?limit={limit}")).status_code == 400


@pytest.mark.parametrize("count", [2, 9])
def test_the_fleets_backlog_takes_the_same_queries_for_two_vehicles_and_nine(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    worn_vehicles(cast, count)
    client = client_of(Role.VIEWER)
    client.get(url(cast))
    with django_assert_num_queries(4):  # the key; the worths of all lists, the lists of the page, their open jobs
        assert client.get(url(cast)).json()["items"]


def test_a_list_replaced_by_a_shorter_one_while_a_page_is_made_is_no_fault(
    api: Any, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    from scheduling.services import fleet_backlog as service

    worn_vehicles(cast, 2)
    read = service.counted_backlogs

    def then_emptied(access: Any) -> Any:
        rows = read(access)
        StoredBacklog.objects.within(cast.fleet).update(document={"items": []})
        return rows

    monkeypatch.setattr(service, "counted_backlogs", then_emptied)
    answer = api.get(url(cast))
    assert (answer.status_code, answer.json()["items"]) == (200, [])


def test_storing_figures_of_a_vehicle_leaves_what_others_wrote_in_its_standing(cast: Cast) -> None:
    (vehicle,) = worn_vehicles(cast, 1)
    standing = vehicle.standing
    standing.refresh_from_db()
    assert (standing.backlog_jobs > 0, standing.odometer_km) == (True, Decimal(120_000))
    assert standing.assessed_revision == Assessment.objects.within(cast.fleet).get(vehicle=vehicle).revision
