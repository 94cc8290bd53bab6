"""`manage.py serve`: one command for web, worker and clock, and nothing left behind when it stops."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from fleetcare.portal.management.commands.serve import address, refuse_taken_port

STARTS_WITHIN_SECONDS = 60.0
"""Patience for a machine that runs other tests beside; alone it takes a tenth of that."""
STOPS_WITHIN_SECONDS = 30.0


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


def until(holds: Callable[[], bool], seconds: float) -> bool:
    """Polls until it holds; whether it did in time."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if holds():
            return True
        time.sleep(0.1)
    return holds()


def processes() -> dict[int, tuple[int, int]]:
    """Parent and session of every living process; zombies are not living."""
    found = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except (FileNotFoundError, ProcessLookupError):
                continue
            if fields[0] != "Z":
                found[int(entry.name)] = (int(fields[1]), int(fields[3]))
    return found


def children_of(parent: int) -> list[int]:
    return [process for process, (its_parent, _) in processes().items() if its_parent == parent]


def sessions_left(sessions: list[int]) -> list[int]:
    return [process for process, (_, session) in processes().items() if session in sessions]


def answers(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in/", timeout=5) as response:
            return bool(response.status == 200)
    except (urllib.error.URLError, ConnectionError, TimeoutError):
        return False


_A_FLEET = """
import django
django.setup()
from datetime import date
from fleetcare.fleet.models import User
from fleetcare.fleet.services.fleets import create_fleet
from fleetcare.fleet.services.keys import create_key
from fleetcare.fleet.services.vehicles import add_vehicle
from fleetcare.fleet.words import Role
from fleetcare.support.bell import bell_held
from django.core.management import call_command
call_command("migrate", verbosity=0)
owner = User.objects.create_user("owner@serve.example")
access = create_fleet(owner, name="Served", kind="household", currency="EUR", time_zone="UTC")
with bell_held():
    add_vehicle(access, name="Old one", first_used_on=date(2010, 5, 1), traits={})
print(access.fleet.pk, create_key(access, name="script", role=Role.OWNER)[1])
"""


def make_fleet(data: Path) -> tuple[str, str]:
    """The id and a key of a fleet whose only vehicle nobody has assessed yet."""
    environment = {**environment_of(data), "DJANGO_SETTINGS_MODULE": "fleetcare.config.settings"}
    command = [sys.executable, "-c", _A_FLEET]
    made = subprocess.run(command, cwd=settings.BASE_DIR, env=environment, capture_output=True, check=True, text=True)
    fleet, key = made.stdout.split()
    return fleet, key


def environment_of(data: Path) -> dict[str, str]:
    environment = {**os.environ, "FLEETCARE_DATA": str(data), "TICK_SECONDS": "1"}
    environment.pop("DATABASE_URL", None)
    return environment


def first_score(port: int, fleet: str, key: str) -> float | None:
    """What the list of vehicles shows; it never computes."""
    address = f"http://127.0.0.1:{port}/api/v1/fleets/{fleet}/vehicles/"
    request = urllib.request.Request(address, headers={"Authorization": f"Bearer {key}"})
    with urllib.request.urlopen(request, timeout=5) as response:  # noqa: S310 - an address of this machine
        score: float | None = json.load(response)["items"][0]["score"]
        return score


class Served:
    """A running `manage.py serve` with a data folder of its own."""

    def __init__(self, data: Path) -> None:
        self.port = free_port()
        environment = environment_of(data)
        self.log = data / "log"
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "serve", "--port", str(self.port)],
                cwd=settings.BASE_DIR,
                env=environment,
                stdout=log,
                stderr=log,
            )

    def wait_until_it_answers(self) -> list[int]:
        """Returns its children, each the head of a session of its own."""
        answered = until(lambda: answers(self.port) or self.process.poll() is not None, STARTS_WITHIN_SECONDS)
        assert answered, self.log.read_text()
        assert self.process.poll() is None, self.log.read_text()
        return children_of(self.process.pid)

    def close(self) -> None:
        """Ends it and whatever it would leave, however the test went."""
        heads = children_of(self.process.pid)
        self.process.kill()
        self.process.wait()
        for process in sessions_left(heads):
            os.kill(process, signal.SIGKILL)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with closing(Served(tmp_path)) as running:
        yield running


@pytest.mark.slow
@pytest.mark.system
class TestServing:
    def test_it_answers_and_stops_on_sigterm_with_nothing_left(self, served: Served) -> None:
        heads = served.wait_until_it_answers()
        assert len(heads) == 2
        served.process.send_signal(signal.SIGTERM)
        assert served.process.wait(STOPS_WITHIN_SECONDS) == 0, served.log.read_text()
        assert sessions_left(heads) == []
        assert not answers(served.port)

    def test_the_worker_assesses_what_the_web_does_not(self, tmp_path: Path) -> None:
        fleet, key = make_fleet(tmp_path)
        with closing(Served(tmp_path)) as served:
            served.wait_until_it_answers()
            assert until(lambda: first_score(served.port, fleet, key) is not None, STARTS_WITHIN_SECONDS)

    def test_ctrl_c_while_it_starts_stops_it_too(self, served: Served) -> None:
        assert until(lambda: bool(children_of(served.process.pid)), STARTS_WITHIN_SECONDS)
        heads = children_of(served.process.pid)
        served.process.send_signal(signal.SIGINT)
        assert served.process.wait(STOPS_WITHIN_SECONDS) == 0, served.log.read_text()
        assert sessions_left(heads) == []

    def test_it_gives_up_when_a_child_dies(self, served: Served) -> None:
        heads = served.wait_until_it_answers()
        os.kill(max(heads), signal.SIGKILL)
        assert served.process.wait(STOPS_WITHIN_SECONDS) == 1
        assert sessions_left(heads) == []
        assert "ended by itself" in served.log.read_text()


class TestPort:
    def test_a_port_in_use_is_told_in_a_sentence(self) -> None:
        with socket.create_server(("127.0.0.1", 0)) as server:
            port = server.getsockname()[1]
            with pytest.raises(CommandError, match=f"Port {port} at 127.0.0.1 is in use"):
                call_command("serve", port=port)

    def test_a_number_that_is_no_port_is_refused(self) -> None:
        with pytest.raises(CommandError, match="between 1 and 65535"):
            refuse_taken_port("127.0.0.1", 70_000)

    def test_a_host_of_another_machine_is_refused(self) -> None:
        # 192.0.2.1 is set aside for documentation (RFC 5737): no machine has it.
        with pytest.raises(CommandError, match=r"Cannot listen at 192\.0\.2\.1"):
            refuse_taken_port("192.0.2.1", 8000)

    def test_an_address_of_version_six_is_bracketed(self) -> None:
        assert address("::1", 8000) == "http://[::1]:8000/"
