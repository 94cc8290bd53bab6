"""Vehicles over the API: what a client sends, sees, and is refused."""

from typing import Any

import pytest

from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import Cast

NEW = {"name": "Old van", "first_used_on": "2009-03-04", "traits": {"fuel": "diesel"}, "vin": "1M8GDM9AXKP042788"}


def url(cast: Cast, *rest: object) -> str:
    return "/".join(["/api/v1/fleets", str(cast.fleet.pk), "vehicles", *map(str, rest), ""])


def faults(response: Any) -> dict[str, str]:
    return {fault["pointer"]: fault["code"] for fault in response.json()["errors"]}


def test_a_vehicle_is_added_read_and_changed(api: Any, cast: Cast) -> None:
    added = api.post(url(cast), NEW)
    assert added.status_code == 201
    body = added.json()
    assert (body["name"], body["traits"], body["warnings"]) == ("Old van", {"fuel": "diesel"}, [])
    changed = api.patch(added["Location"], {"plate": "AB 12"}, HTTP_IF_MATCH=added["ETag"])
    assert changed.json()["plate"] == "AB 12"
    assert api.get(added["Location"]).json()["plate"] == "AB 12"


def test_a_stale_write_is_refused_and_loses_nothing(api: Any, cast: Cast) -> None:
    first = api.post(url(cast), NEW)
    api.patch(first["Location"], {"plate": "first"}, HTTP_IF_MATCH=first["ETag"])
    second = api.patch(first["Location"], {"plate": "second"}, HTTP_IF_MATCH=first["ETag"])
    assert second.status_code == 412
    assert api.get(first["Location"]).json()["plate"] == "first"


def test_a_missing_check_digit_warns_and_does_not_block(api: Any, cast: Cast) -> None:
    # Makers outside North America often omit it: common practice, no source.
    body = api.post(url(cast), {**NEW, "vin": "1M8GDM9A1KP042788"}).json()
    assert "check digit" in body["warnings"][0]


def test_every_fault_of_a_body_is_named_with_its_place(api: Any, cast: Cast) -> None:
    response = api.post(url(cast), {"first_used_on": "1066-10-14x", "colour": "red", "traits": {"fuel": "diesel"}})
    assert response.status_code == 400
    assert faults(response) == {"/name": "required", "/first_used_on": "invalid", "/colour": "unknown"}
    response = api.post(url(cast), {**NEW, "vin": "QQQ", "first_used_on": "2999-01-01", "traits": {"fuel": "steam"}})
    assert faults(response) == {"/vin": "vin-form", "/first_used_on": "date", "/traits/fuel": "trait"}
    assert Vehicle.objects.within(cast.fleet).count() == 1


def test_the_same_vin_twice_in_a_fleet_is_a_conflict_and_in_two_fleets_is_none(
    api: Any, cast: Cast, strangers: Cast, client_of: Any
) -> None:
    assert api.post(url(cast), NEW).status_code == 201
    assert api.post(url(cast), NEW).status_code == 409
    assert client_of(of=strangers).post(url(strangers), NEW).status_code == 201


def test_a_put_with_the_clients_id_can_be_repeated(api: Any, cast: Cast) -> None:
    address = url(cast, "0f0e0d0c-0b0a-4908-8706-050403020100")
    assert [api.put(address, NEW).status_code for _ in range(3)] == [201, 200, 200]
    assert Vehicle.objects.within(cast.fleet).count() == 2


@pytest.mark.parametrize(
    "parameter", ["colour=red", "ordering=colour", "limit=0", "limit=101", "cursor=%FF", "archived=1"]
)
def test_an_unknown_parameter_or_value_is_refused_and_not_ignored(api: Any, cast: Cast, parameter: str) -> None:
    assert api.get(f"{url(cast)}?{parameter}").status_code == 400


def test_search_finds_words_in_any_field(api: Any, cast: Cast) -> None:
    factories.vehicle(cast.fleet, name="Grey estate", plate="ZZ 99", make="Amsel")
    names = [item["name"] for item in api.get(f"{url(cast)}?q=amsel+zz").json()["items"]]
    assert names == ["Grey estate"]


def test_pages_miss_and_double_nothing_while_vehicles_are_added(api: Any, cast: Cast) -> None:
    before = {str(factories.vehicle(cast.fleet, name=f"car {n:02}").pk) for n in range(9)} | {str(cast.vehicle.pk)}
    seen: list[str] = []
    following = f"{url(cast)}?limit=3"
    while following:
        page = api.get(following)
        seen += [item["id"] for item in page.json()["items"]]
        factories.vehicle(cast.fleet, name="aaa first in the list")
        following = page.json()["next"]
        assert (following is None) == ('rel="next"' not in page.headers.get("Link", ""))
    assert len(seen) == len(set(seen))
    assert before <= set(seen)


@pytest.mark.parametrize("count", [3, 30])
def test_the_list_takes_two_queries_whatever_the_fleets_size(
    client_of: Any, cast: Cast, count: int, django_assert_num_queries: Any
) -> None:
    client = client_of(Role.VIEWER)
    for number in range(count):
        factories.vehicle(cast.fleet, name=f"car {number}")
    client.get(url(cast))
    # The key with its fleet; the vehicles with their standing.
    with django_assert_num_queries(2):
        assert len(client.get(url(cast)).json()["items"]) == count + 1
