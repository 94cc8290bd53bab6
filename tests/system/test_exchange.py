"""A complete export made by a real worker beside a real server, fetched, and restored into a new fleet."""

import io
import json
import urllib.request
import uuid
import zipfile
from typing import Any

import pytest

from tests.system.conftest import Http, Installation, wait_for

pytestmark = [pytest.mark.system, pytest.mark.slow]


def sent(http: Http, path: str, data: bytes) -> Any:
    """A file sent as a browser's form sends it."""
    mark = uuid.uuid4().hex
    head = f'--{mark}\r\nContent-Disposition: form-data; name="file"; filename="a.zip"\r\n\r\n'.encode()
    request = urllib.request.Request(  # noqa: S310
        http.base + path,
        head + data + f"\r\n--{mark}--\r\n".encode(),
        {"Authorization": f"Bearer {http.key}", "Content-Type": f"multipart/form-data; boundary={mark}"},
    )
    with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
        return json.loads(answer.read())


def fetched(http: Http, path: str) -> bytes:
    request = urllib.request.Request(http.base + path, headers={"Authorization": f"Bearer {http.key}"})  # noqa: S310
    with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
        data: bytes = answer.read()
    return data


@pytest.mark.timeout(300)
def test_a_worker_exports_a_fleet_and_restores_it_into_an_empty_one(installation: Installation) -> None:
    fleets = json.loads(installation.run("demo", "--json"))["fleets"]
    home = next(fleet for fleet in fleets if fleet["kind"] == "household")
    made = installation.run("shell", "-c", EMPTY_FLEET).strip().splitlines()[-1].split()
    served = installation.serve()
    try:
        served.wait_ready()
        http, empty = Http(served.base, home["key"]), Http(served.base, made[1])
        data = _exported(http, home["id"])
        assert "data/fleet.Vehicle.json" in zipfile.ZipFile(io.BytesIO(data)).namelist()
        job = sent(empty, f"/api/v1/fleets/{made[0]}/restores/", data)
        _ended(empty, f"/api/v1/fleets/{made[0]}/restores/{job['id']}/")
        vehicles = [client("GET", f"/api/v1/fleets/{key}/vehicles/").body["items"] for client, key in
                    ((http, home["id"]), (empty, made[0]))]  # fmt: skip
        told = [[(v["name"], v["plate"], v["odometer_km"]) for v in listed] for listed in vehicles]
        assert told[0] == told[1]
        assert len(told[0]) == 3
        assert served.stop() == 0
    finally:
        served.kill()


EMPTY_FLEET = """
from fleetcare.fleet.access import system_access
from fleetcare.fleet.models import Fleet
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.words import Role
fleet = Fleet.objects.create(name='Empty', kind='household', currency='EUR', time_zone='UTC', labour_per_hour_minor=1)
print(fleet.pk, create_key(system_access(fleet), name='k', role=Role.OWNER)[1])
"""


def _exported(http: Http, fleet: str) -> bytes:
    asked = http("POST", f"/api/v1/fleets/{fleet}/exports/")
    assert asked.status == 202, asked.body
    return fetched(http, _ended(http, f"/api/v1/fleets/{fleet}/exports/{asked.body['id']}/")["file"])


def _ended(http: Http, address: str) -> Any:
    def ended() -> Any:
        body = http("GET", address).body
        return body if body["state"] in {"done", "failed"} else None

    body = wait_for(ended, 120, f"the worker to end {address}")
    assert body["state"] == "done", body
    return body
