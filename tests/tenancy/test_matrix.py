"""Every route × method × actor × object: nobody gets in where they do not belong, and foreign looks like missing."""

import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone

from fleetcare.fleet.access import system_access
from fleetcare.fleet.models import ApiKey
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
from tests import factories
from tests.conftest import ROLES, Cast, make_cast
from tests.contract import ContractClient, openapi
from tests.scheduling.work_given import PADS_JOB
from tests.tenancy.given import ids_of
from tests.tenancy.policy import OWNER_OR_SELF, PERSON, PLANNER_OR_SELF, POLICY, PUBLIC, PUT_CREATES, SIGNED_IN

PREFIX = "api/v1/"
KEYS = {"job_key": PADS_JOB}
"""Words of the catalogue in an address."""
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


def _patterns(resolver: URLResolver, prefix: str = "") -> Iterator[tuple[str, Any]]:
    for entry in resolver.url_patterns:
        route = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from _patterns(entry, route)
        elif isinstance(entry, URLPattern) and route.startswith(PREFIX):
            yield route.removeprefix(PREFIX), entry.callback


def _routes() -> dict[tuple[str, str], Any]:
    return {
        (route, method): view
        for route, view in _patterns(get_resolver())
        for method in METHODS
        if hasattr(view.view_class, method.lower())
    }


def test_routes_policy_and_description_list_the_same_operations() -> None:
    described = {
        (path.removeprefix("/" + PREFIX), method.upper())
        for path, operations in openapi()["paths"].items()
        for method in operations
        if method.upper() in METHODS
    }
    assert set(_routes()) == set(POLICY)
    # The description leaves out only itself.
    plain = {(re.sub(r"<\w+:(\w+)>", r"{\1}", route), method) for route, method in POLICY}
    assert described == plain - {("schema/", "GET")}


@dataclass
class World:
    home: Cast
    abroad: Cast
    actors: dict[str, ContractClient]
    ids: dict[str, dict[str, uuid.UUID]]


def _person(user: Any) -> ContractClient:
    client = ContractClient()
    if user is not None:
        client.force_login(user)
    return client


def _key(text: str) -> ContractClient:
    client = ContractClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    return client


@pytest.fixture
def world(db: Any) -> World:
    home, abroad = make_cast("Home"), make_cast("Abroad")
    former = factories.UserFactory(email="former@home.example")
    membership = factories.MembershipFactory(fleet=home.fleet, user=former, role=Role.OWNER)
    membership.delete()
    actors = {"anonymous": _person(None), "nobody": _person(factories.UserFactory()), "former": _person(former)}
    for role in ROLES:
        actors[f"home {role}"] = _person(home.members[role])
        actors[f"abroad {role}"] = _person(abroad.members[role])
        actors[f"home key {role}"] = _key(home.key(role))
    actors["abroad key owner"] = _key(abroad.key(Role.OWNER))
    for name, change in (
        ("revoked key", {"revoked_at": timezone.now()}),
        ("expired key", {"expires_at": timezone.now() - timedelta(seconds=1)}),
    ):
        key, text = create_key(system_access(home.fleet), name=name, role=Role.OWNER)
        ApiKey.objects.filter(pk=key.pk).update(**change)
        actors[name] = _key(text)
    return World(home, abroad, actors, {"own": ids_of(home), "foreign": ids_of(abroad)})


def _call(client: ContractClient, method: str, route: str, ids: dict[str, uuid.UUID]) -> Any:
    path = "/" + PREFIX + re.sub(r"<\w+:(\w+)>", lambda match: KEYS.get(match[1]) or str(ids[match[1]]), route)
    body = {} if method in {"POST", "PUT", "PATCH"} else None
    point = transaction.savepoint()
    try:
        answer = client.generic(
            method,
            path,
            data="{}" if body is not None else "",
            content_type="application/json",
            HTTP_X_REQUEST_ID="the-same-for-all",
        )
        if answer.streaming:
            # Nobody reads the file here; left open it would be a complaint at the next collection.
            for close in answer._resource_closers:
                close()
        return answer
    finally:
        transaction.savepoint_rollback(point)


def _expected(actor: str, least: str) -> set[int]:
    """Allowed calls may still fail on their empty body, but not for lack of right."""
    # 415: where a file is sent, an empty JSON body is of the wrong kind.
    # 428: a PUT over what is stored says which state it replaces.
    done = {200, 201, 202, 204, 400, 409, 415, 428}
    unknown = actor in {"anonymous", "revoked key", "expired key"}
    if least == PUBLIC:
        return {200}
    if unknown:
        return {401}
    if least == SIGNED_IN:
        return {200}
    if least == PERSON:
        return {403} if "key" in actor else done
    if not actor.startswith("home"):
        return {404}
    if least == OWNER_OR_SELF:
        # The member in question is the viewer.
        return done if actor in {"home viewer", "home owner", "home key owner"} else {403}
    if least == PLANNER_OR_SELF:
        # The member in question is the viewer.
        planners = {f"home{way} {role}" for way in ("", " key") for role in ("owner", "planner")}
        return done if actor in {"home viewer"} | planners else {403}
    return done if Role(actor.split()[-1]).includes(Role(least)) else {403}


@pytest.mark.timeout(300)
def test_every_actor_gets_what_the_policy_says_and_no_more(world: World) -> None:
    wrong = []
    for (route, method), least in POLICY.items():
        for actor, client in world.actors.items():
            response = _call(client, method, route, world.ids["own"])
            if response.status_code not in _expected(actor, least):
                wrong.append((method, route, actor, response.status_code))
    assert not wrong


@pytest.mark.timeout(300)
def test_foreign_and_missing_are_answered_with_the_same_bytes(world: World) -> None:
    missing = dict.fromkeys(world.ids["own"], uuid.uuid4())
    wrong = []
    for route, method in POLICY:
        if "<" not in route:
            continue
        for actor in ("home owner", "home key owner", "home viewer"):
            client = world.actors[actor]
            for at in _replaceable(route):
                foreign = _call(client, method, route, {**world.ids["own"], at: world.ids["foreign"][at]})
                gone = _call(client, method, route, {**world.ids["own"], at: missing[at]})
                creates = method == "PUT" and route in PUT_CREATES and route.rstrip("/").endswith(f"{at}>")
                alike = (foreign.status_code, foreign.content) == (gone.status_code, gone.content)
                if not alike or (foreign.status_code not in {404, 403} and not creates):
                    wrong.append((method, route, actor, at, foreign.status_code, gone.status_code))
    assert not wrong


def _replaceable(route: str) -> list[str]:
    return re.findall(r"<uuid:(\w+)>", route)


def test_no_answer_to_a_stranger_holds_a_byte_of_the_fleet(world: World) -> None:
    marker = "Zwrgl-7731"
    type(world.home.fleet).objects.filter(pk=world.home.fleet.pk).update(name=marker)
    type(world.home.vehicle).objects.within(world.home.fleet).update(name=marker, plate=marker)
    for route, method in POLICY:
        for actor, client in world.actors.items():
            if not actor.startswith("home"):
                response = _call(client, method, route, world.ids["own"])
                assert marker.encode() not in response.content, (method, route, actor)


def test_a_foreign_vehicle_in_a_body_is_refused_like_a_missing_one(world: World) -> None:
    client = world.actors["home owner"]
    answers = []
    for vehicle in (world.ids["foreign"]["vehicle_id"], uuid.uuid4()):
        body = {"name": "New", "email": "new@home.example", "vehicles": [str(vehicle)]}
        answers.append(
            client.post(f"/api/v1/fleets/{world.home.fleet.pk}/contacts/", body, HTTP_X_REQUEST_ID="same-same")
        )
    assert [answer.status_code for answer in answers] == [400, 400]
    assert answers[0].content == answers[1].content


def test_an_id_taken_by_another_fleet_can_neither_be_read_nor_overwritten(world: World) -> None:
    client, foreign = world.actors["home owner"], world.abroad.vehicle
    body = {"name": "Mine now", "first_used_on": "2015-01-01"}
    response = client.put(f"/api/v1/fleets/{world.home.fleet.pk}/vehicles/{foreign.pk}/", body)
    assert response.status_code == 409
    foreign.refresh_from_db()
    assert (foreign.name, foreign.fleet_id) == ("Abroad car", world.abroad.fleet.pk)


def test_an_unknown_field_is_refused_on_every_write(world: World) -> None:
    """Nothing is written by a name that is not offered, and nobody believes that it was."""
    client, taken = world.actors["home owner"], []
    for route, method in POLICY:
        described = (
            openapi()["paths"]["/" + PREFIX + re.sub(r"<\w+:(\w+)>", r"{\1}", route)] if route != "schema/" else {}
        )
        if "requestBody" not in described.get(method.lower(), {}):
            continue
        path = "/" + PREFIX + re.sub(r"<\w+:(\w+)>", lambda m: KEYS.get(m[1]) or str(world.ids["own"][m[1]]), route)
        point = transaction.savepoint()
        answer = client.generic(method, path, data='{"planted_field": 1}', content_type="application/json")
        transaction.savepoint_rollback(point)
        # Files are no JSON; a PUT over what is stored says first which state it replaces.
        told = answer.status_code in {415, 428} or (
            answer.status_code == 400 and "/planted_field" in {each["pointer"] for each in answer.json()["errors"]}
        )
        if not told:
            taken.append((method, route, answer.status_code))
    assert not taken
