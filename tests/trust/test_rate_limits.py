"""How often one may ask: counted to the request, told in the answers, and open again when they say so."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core.cache import caches
from django.test import Client, RequestFactory
from redis.exceptions import ConnectionError as RedisAway

from fleetcare.fleet.words import Role
from fleetcare.support import throttling
from fleetcare.support.throttling import client_address
from tests import factories
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

# Twelve seconds into a minute: 48 are left.
NOW = datetime(2026, 6, 15, 12, 0, 12, tzinfo=UTC)
OPEN = 1_000_000


@pytest.fixture(autouse=True)
def _at_twelve() -> Any:
    caches["limits"].clear()
    with time_machine.travel(NOW, tick=False):
        yield
    caches["limits"].clear()


@pytest.fixture
def limit(settings: Any) -> Any:
    def set_to(**quotas: int) -> None:
        settings.REQUESTS_PER_MINUTE = {**dict.fromkeys(("key", "fleet", "address", "costly"), OPEN), **quotas}

    return set_to


def vehicles(cast: Cast) -> str:
    return f"/api/v1/fleets/{cast.fleet.pk}/vehicles/"


def statuses(client: Any, address: str, times: int) -> list[int]:
    return [client.get(address).status_code for _ in range(times)]


def test_the_request_after_the_last_allowed_one_is_refused_until_the_answer_said(
    api: Any, cast: Cast, limit: Any
) -> None:
    limit(key=5)
    assert statuses(api, vehicles(cast), 6) == [200] * 5 + [429]
    refused = api.get(vehicles(cast))
    assert (refused["Retry-After"], refused["RateLimit-Policy"]) == ("48", '"key";q=5;w=60')
    assert refused["RateLimit"] == '"key";r=0;t=48'
    assert refused.json()["type"] == "urn:fleetcare:problem:too-many-requests"
    with time_machine.travel(NOW + timedelta(seconds=47), tick=False):
        assert api.get(vehicles(cast)).status_code == 429
    with time_machine.travel(NOW + timedelta(seconds=int(refused["Retry-After"])), tick=False):
        assert statuses(api, vehicles(cast), 6) == [200] * 5 + [429]


def test_an_answer_says_what_is_left(api: Any, cast: Cast, limit: Any) -> None:
    limit(key=5, fleet=7)
    first, second = api.get(vehicles(cast)), api.get(vehicles(cast))
    assert first["RateLimit-Policy"] == '"key";q=5;w=60, "fleet";q=7;w=60'
    assert (first["RateLimit"], second["RateLimit"]) == (
        '"key";r=4;t=48, "fleet";r=6;t=48',
        '"key";r=3;t=48, "fleet";r=5;t=48',
    )


def test_a_refused_write_writes_nothing(api: Any, cast: Cast, limit: Any) -> None:
    limit(key=1)
    api.get(vehicles(cast))
    assert api.post(vehicles(cast), {"name": "Late", "first_used_on": "2012-05-01"}).status_code == 429
    assert cast.fleet.pk
    limit()
    assert [row["name"] for row in api.get(vehicles(cast)).json()["items"]] == ["Home car"]


def test_the_keys_of_a_fleet_count_together_and_other_fleets_do_not(
    client_of: Any, cast: Cast, strangers: Cast, limit: Any
) -> None:
    limit(fleet=3)
    one, other, elsewhere = client_of(), client_of(Role.VIEWER), client_of(of=strangers)
    got = [client.get(vehicles(cast)).status_code for client in (one, other, one, other)]
    assert got == [200, 200, 200, 429]
    assert elsewhere.get(vehicles(strangers)).status_code == 200


def test_a_stranger_cannot_use_up_what_a_fleet_has(client_of: Any, cast: Cast, strangers: Cast, limit: Any) -> None:
    limit(fleet=2)
    person = Client()
    person.force_login(factories.UserFactory())
    for client in (client_of(of=strangers), person):
        assert statuses(client, vehicles(cast), 5) == [404] * 5
    assert statuses(client_of(), vehicles(cast), 3) == [200, 200, 429]


def test_what_computes_long_has_a_limit_of_its_own(api: Any, cast: Cast, limit: Any) -> None:
    limit(costly=2)
    address = f"/api/v1/fleets/{cast.fleet.pk}/plans/"
    got = [api.post(address, {}) for _ in range(3)]
    assert [answer.status_code for answer in got] == [400, 400, 429]
    assert got[2]["RateLimit-Policy"] == '"costly";q=2;w=60'
    assert api.get(address).status_code == 200


def test_an_address_is_refused_before_anything_is_looked_up_for_it(limit: Any, django_assert_num_queries: Any) -> None:
    limit(address=3)
    guesser = Client(headers={"Authorization": "Bearer fck_aaaaaaaaaa_" + "0" * 64})
    assert statuses(guesser, "/api/v1/fleets/", 3) == [401] * 3
    with django_assert_num_queries(0):
        refused = guesser.get("/api/v1/fleets/")
    assert (refused.status_code, refused["Retry-After"], refused["Content-Type"]) == (
        429, "48", "application/problem+json",
    )  # fmt: skip
    page = guesser.get("/sign-in/")
    assert (page.status_code, page["Retry-After"]) == (429, "48")
    assert b"Too many requests" in page.content
    assert Client(REMOTE_ADDR="192.0.2.7").get("/api/v1/fleets/").status_code == 401


@pytest.mark.parametrize(
    ("remote", "forwarded", "behind_proxy", "counted_as"),
    [
        ("192.0.2.7", None, False, "192.0.2.7"),
        ("192.0.2.7", "198.51.100.1", False, "192.0.2.7"),
        ("10.0.0.1", "203.0.113.9, 198.51.100.1", True, "198.51.100.1"),
        ("10.0.0.1", "forged\r\nword", True, "unknown"),
        ("2001:db8:1:2:aaaa::1", None, False, "2001:db8:1:2::/64"),
        ("2001:db8:1:2:bbbb::2", None, False, "2001:db8:1:2::/64"),
        ("::ffff:192.0.2.7", None, False, "192.0.2.7"),
        ("", None, False, "unknown"),
    ],
)
def test_an_address_is_what_a_caller_cannot_choose(
    settings: Any, remote: str, forwarded: str | None, behind_proxy: bool, counted_as: str
) -> None:
    settings.BEHIND_PROXY = behind_proxy
    headers = {"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {}
    assert client_address(RequestFactory().get("/", REMOTE_ADDR=remote, **headers)) == counted_as


def test_nobody_is_refused_or_kept_waiting_because_the_counter_is_away(
    api: Any, cast: Cast, limit: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    limit(key=1)
    tries = []

    def away(*_: Any) -> int:
        tries.append(1)
        raise RedisAway("refused")

    monkeypatch.setattr(throttling, "_raised", away)
    monkeypatch.setattr(throttling._Rest, "until", 0.0)
    assert statuses(api, vehicles(cast), 3) == [200] * 3
    assert len(tries) == 1


def test_wrong_passwords_shut_out_the_address_they_came_from_and_nobody_else() -> None:
    owner = factories.UserFactory(email="owner@home.example")
    owner.set_password("right words for it")
    owner.save()

    def tried(password: str, address: str) -> bool:
        client = Client(REMOTE_ADDR=address)
        client.post("/sign-in/", {"login": owner.email, "password": password})
        return "_auth_user_id" in client.session

    assert not any(tried(f"wrong {number}", "192.0.2.66") for number in range(8))
    assert not tried("right words for it", "192.0.2.66")
    assert tried("right words for it", "198.51.100.1")
    with time_machine.travel(NOW + timedelta(minutes=5, seconds=1), tick=False):
        assert tried("right words for it", "192.0.2.66")
