"""Whatever an owner of one fleet asks for, with ids of another wherever an id can stand, the other stays as it was."""

import json
import os
import re
from typing import Any

import pytest
from django.apps import apps
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleetcare.fleet.models import Fleet
from fleetcare.support.tenancy import TenantModel
from tests.scheduling.work_given import PADS_JOB
from tests.tenancy.policy import POLICY
from tests.tenancy.test_matrix import KEYS, PREFIX, World
from tests.tenancy.test_matrix import world as world

EXAMPLES = int(os.environ.get("TWO_FLEETS_EXAMPLES", "20"))
"""Of up to 25 steps each; `TWO_FLEETS_EXAMPLES=400` makes a night of it."""
OPERATIONS = sorted((method, route) for route, method in POLICY if route.startswith("fleets/<") and method != "GET")
BODIES: list[dict[str, Any]] = [
    {},
    {"name": "New", "email": "new@home.example", "vehicles": ["vehicle_id"]},
    {"read_on": "2024-01-02", "odometer_km": "200500"},
    {"job": PADS_JOB, "positions": ["front-left"], "assigned_to": "member_id"},
    {"vehicles": ["vehicle_id"], "visits": [{"date": "2030-01-05", "hours": 4}]},
    {"jobs": ["job_id"]},
    {"contact": "contact_id", "lines": [{"options": [{"job": PADS_JOB, "positions": ["front-left"]}]}]},
    {"member": "member_id", "name": "calendar"},
    {"role": "viewer"},
    {"note": "changed", "archived": True, "plate": "ZZ 1"},
    {"unwanted_vehicles": ["vehicle_id"], "rhythm": "never"},
    {"done_on": "2024-01-02", "finding": "finding_id", "photo": "photo_id", "reading": "reading_id"},
    {"because": "said so", "until": "2030-01-01", "snoozed_until": "2030-01-01"},
]
STEPS = st.lists(
    st.tuples(st.sampled_from(OPERATIONS), st.sampled_from(BODIES), st.lists(st.booleans(), min_size=6, max_size=6)),
    min_size=5,
    max_size=25,
)


def rows_of(fleet: Fleet) -> dict[str, list[str]]:
    """Every row of a fleet, whole."""
    tables = [model for model in apps.get_models() if issubclass(model, TenantModel)]
    rows = {model._meta.label: sorted(map(repr, model.objects.within(fleet).values_list())) for model in tables}
    return {**rows, "fleet": [repr(Fleet.objects.filter(pk=fleet.pk).values_list().get())]}


def with_ids(value: Any, ids: dict[str, Any]) -> Any:
    """The body with names of ids replaced by ids."""
    if isinstance(value, dict):
        return {key: with_ids(inner, ids) for key, inner in value.items()}
    if isinstance(value, list):
        return [with_ids(inner, ids) for inner in value]
    return str(ids[value]) if isinstance(value, str) and value in ids else value


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_nothing_an_owner_does_touches_another_fleet(world: World) -> None:
    before = rows_of(world.abroad.fleet)
    assert len([table for table in before.values() if table]) > 30
    client, steps_done, accepted = world.actors["home owner"], 0, 0

    @settings(max_examples=EXAMPLES, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(STEPS)
    def play(steps: Any) -> None:
        nonlocal steps_done, accepted
        point = transaction.savepoint()
        for (method, route), body, foreign in steps:
            sides = iter(foreign)
            # The fleet in the address is one's own: a stranger's is refused before anything is read.
            ids = {name: world.ids["foreign" if next(sides, True) else "own"][name] for name in _names(route)}
            ids["fleet_id"] = world.home.fleet.pk
            inside = world.ids["foreign" if foreign[-1] else "own"]
            path = _path(route, ids)
            answer = client.generic(method, path, json.dumps(with_ids(body, inside)), content_type="application/json")
            steps_done += 1
            accepted += answer.status_code < 300
            assert answer.status_code < 500, (method, path, body)
        after = rows_of(world.abroad.fleet)
        assert after == before
        transaction.savepoint_rollback(point)

    play()
    print(f"{steps_done} steps, {accepted} of them accepted; the other fleet is as it was")
    # Steps that are all refused would show nothing.
    assert accepted > 0.03 * steps_done


def _names(route: str) -> list[str]:
    return re.findall(r"<uuid:(\w+)>", route)


def _path(route: str, ids: dict[str, Any]) -> str:
    return "/" + PREFIX + re.sub(r"<\w+:(\w+)>", lambda found: KEYS.get(found[1]) or str(ids[found[1]]), route)
