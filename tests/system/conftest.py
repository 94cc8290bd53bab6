"""Real processes: a server, a worker, a database. Where a service is not there the test says so and is skipped."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest

ROOT = Path(__file__).parents[2]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: Any


@dataclass(frozen=True)
class Http:
    """A client over a real connection."""

    base: str
    key: str

    def __call__(self, method: str, path: str, body: Any = None, **headers: str) -> Answer:
        data = None if body is None else json.dumps(body).encode()
        sent = {"Authorization": f"Bearer {self.key}", "Content-Type": "application/json", **headers}
        request = urllib.request.Request(self.base + path, data, sent, method=method)  # noqa: S310
        try:
            with urllib.request.urlopen(request, timeout=30) as response:  # noqa: S310
                return Answer(response.status, dict(response.headers), json.loads(response.read() or b"null"))
        except urllib.error.HTTPError as error:
            return Answer(error.code, dict(error.headers), json.loads(error.read() or b"null"))


@dataclass
class Installation:
    """An empty data directory and a database; `run` and `serve` start real processes on it."""

    environment: dict[str, str]
    data: Path

    def run(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=110,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr[-3000:]
        return done.stdout

    def serve(self, *arguments: str) -> "Served":
        port = free_port()
        with (self.data / "serve.log").open("w") as log:
            process = subprocess.Popen(
                [sys.executable, "manage.py", "serve", "--port", str(port), *arguments],
                cwd=ROOT, env=self.environment, stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        return Served(process, f"http://127.0.0.1:{port}", self.data / "serve.log")


@dataclass
class Served:
    process: subprocess.Popen[bytes]
    base: str
    log: Path

    def wait_ready(self, seconds: float = 40.0) -> None:
        wait_for(lambda: self._answers(), seconds, f"the server to answer; {self.log.read_text()[-2000:]}")

    def _answers(self) -> bool:
        assert self.process.poll() is None, self.log.read_text()[-3000:]
        try:
            with urllib.request.urlopen(f"{self.base}/readyz", timeout=2) as response:  # noqa: S310
                return bool(response.status == 200)
        except OSError:
            return False

    def stop(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(timeout=60)

    def kill(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(timeout=10)


def wait_for(condition: Any, seconds: float, what: str) -> Any:
    """Polls until the condition holds; raises AssertionError saying what was waited for."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        value = condition()
        if value:
            return value
        time.sleep(0.05)
    raise AssertionError(f"waited {seconds} s for {what}")


def _environment(data: Path, **more: str) -> dict[str, str]:
    plain = {
        name: value for name, value in os.environ.items() if not name.startswith(("DATABASE_", "FLEETCARE_", "BROKER_"))
    }
    return {**plain, "FLEETCARE_DATA": str(data), "LOG_LEVEL": "WARNING", **more}


@pytest.fixture
def postgres_url() -> Iterator[str]:
    """A fresh database on the server that TEST_POSTGRES_URL names."""
    server = os.environ.get("TEST_POSTGRES_URL")
    if not server:
        pytest.skip("needs PostgreSQL: set TEST_POSTGRES_URL")
    name = f"fleetcare_system_{os.getpid()}_{time.time_ns()}"
    with psycopg.connect(server.rsplit("/", 1)[0] + "/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        yield f"{server.rsplit('/', 1)[0]}/{name}"
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", "postgresql"])
def installation(request: pytest.FixtureRequest, tmp_path: Path) -> Installation:
    """An installation on SQLite with the queue in files, and one on PostgreSQL with Redis where there is one."""
    more = {}
    if request.param == "postgresql":
        more["DATABASE_URL"] = request.getfixturevalue("postgres_url")
        if "TEST_REDIS_URL" in os.environ:
            more["BROKER_URL"] = os.environ["TEST_REDIS_URL"]
    return Installation(_environment(tmp_path, **more), tmp_path)
