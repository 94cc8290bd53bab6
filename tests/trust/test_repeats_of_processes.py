"""Real processes: a hundred at once with one key make one thing, and a process killed around the commit loses none."""

import json
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.system.conftest import ROOT, Answer, Http, Installation

pytestmark = [pytest.mark.system, pytest.mark.slow, pytest.mark.timeout(400)]

NEW = {"name": "Old van", "first_used_on": "2009-03-04"}
FLEET = """
from fleetcare.fleet.access import system_access
from fleetcare.fleet.models import Fleet
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
fleet = Fleet.objects.create(name='Home', kind='household', currency='EUR', time_zone='UTC', labour_per_hour_minor=1)
print(fleet.pk, create_key(system_access(fleet), name='k', role=Role.OWNER)[1])
"""
DYING = """
import os, sys, django
django.setup()
from django.test import Client
from fleetcare.fleet.api import view
from fleetcare.fleet.services import repeats
at = sys.argv[1]
def die(*_, **__): os._exit(9)
if at == "before the commit":
    repeats._keep = die
else:
    view.HttpResponse = die
Client().post(sys.argv[2], sys.argv[3], content_type="application/json", SERVER_NAME="localhost",
              HTTP_AUTHORIZATION="Bearer " + sys.argv[4], HTTP_IDEMPOTENCY_KEY=sys.argv[1])
"""


def names(http: Http, address: str) -> list[str]:
    return [row["name"] for row in http("GET", address).body["items"]]


def test_a_hundred_with_one_key_make_one_thing_and_a_death_around_the_commit_none_or_one(
    installation: Installation,
) -> None:
    served = installation.serve()
    try:
        # It makes the tables first.
        served.wait_ready(150)
        fleet, key = installation.run("shell", "-c", FLEET).strip().splitlines()[-1].split()
        address = f"/api/v1/fleets/{fleet}/vehicles/"
        http = Http(served.base, key)
        _a_hundred_at_once(http, address)
        for at, replayed in (("before the commit", None), ("before the answer", "true")):
            _killed(installation, at, address, key)
            again = http("POST", address, {**NEW, "name": at}, **{"Idempotency-Key": at})
            assert (again.status, again.headers.get("Idempotency-Replayed")) == (201, replayed)
            assert names(http, address).count(at) == 1
        assert served.stop() == 0
    finally:
        served.kill()


def _a_hundred_at_once(http: Http, address: str) -> None:
    def once(_: int) -> Answer:
        return http("POST", address, NEW, **{"Idempotency-Key": "one"})

    with ThreadPoolExecutor(25) as pool:
        answers = list(pool.map(once, range(100)))
    told = Counter(answer.status for answer in answers)
    assert set(told) <= {201, 409}, told
    assert told[201] >= 1
    made = {json.dumps(answer.body) for answer in answers if answer.status == 201}
    assert len(made) == 1
    assert all("Retry-After" in answer.headers for answer in answers if answer.status == 409)
    assert sum(answer.headers.get("Idempotency-Replayed") is None for answer in answers if answer.status == 201) == 1
    assert names(http, address) == ["Old van"]
    print(f"100 with one key: {dict(told)}")


def _killed(installation: Installation, at: str, address: str, key: str) -> None:
    environment = {**installation.environment, "DJANGO_SETTINGS_MODULE": "fleetcare.config.settings"}
    body = json.dumps({**NEW, "name": at})
    died = subprocess.run(
        [sys.executable, "-c", DYING, at, address, body, key],
        cwd=ROOT, env=environment, capture_output=True, text=True, timeout=100, check=False,
    )  # fmt: skip
    assert died.returncode == 9, died.stderr[-2000:]
