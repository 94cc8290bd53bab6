"""Installations to hurt: one migrated embedded database and one on a server, of which every test gets a copy."""

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.system.chaos.sink import Sink, sinking
from tests.system.chaos.world import OwnRedis, Report, world

MANY = int(os.environ.get("CHAOS_READERS", "40"))


@pytest.fixture
def sink() -> Iterator[Sink]:
    with sinking(takes_seconds=0.03) as made:
        yield made


@pytest.fixture(scope="session")
def tables(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated embedded database to copy."""
    data = tmp_path_factory.mktemp("tables")
    with world("embedded", data, Sink()) as made:
        made.ask("migrate")
        made.query("PRAGMA wal_checkpoint(TRUNCATE)")
    return data / "fleetcare.sqlite3"


@pytest.fixture(scope="session")
def server_tables(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of a migrated database on the server that TEST_POSTGRES_URL names, to copy."""
    server = os.environ.get("TEST_POSTGRES_URL")
    if not server:
        pytest.skip("needs PostgreSQL: set TEST_POSTGRES_URL")
    base, name = server.rsplit("/", 1)[0], f"fleetcare_chaos_{os.getpid()}"
    with psycopg.connect(f"{base}/postgres", autocommit=True) as line:
        line.execute(f"CREATE DATABASE {name}")
        with world("servers", tmp_path_factory.mktemp("t"), Sink(), DATABASE_URL=f"{base}/{name}") as made:
            made.ask("migrate")
        yield name
        line.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def server_url(server_tables: str) -> Iterator[str]:
    base = os.environ["TEST_POSTGRES_URL"].rsplit("/", 1)[0]
    name = f"{server_tables}_{time.time_ns()}"
    with psycopg.connect(f"{base}/postgres", autocommit=True) as line:
        line.execute(f"CREATE DATABASE {name} TEMPLATE {server_tables}")
        yield f"{base}/{name}"
        line.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def redis(tmp_path: Path) -> Iterator[OwnRedis]:
    if not OwnRedis.is_possible():
        pytest.skip("needs redis-server")
    made = OwnRedis(tmp_path)
    made.start()
    yield made
    made.kill()


@pytest.fixture
def tell(record_property: Any, request: pytest.FixtureRequest) -> Any:
    """Prints what the checker found, for the table of measured figures."""

    def told(report: Report, injury: str = "") -> Report:
        line = report.line(f"{request.node.name} {injury}".strip())
        record_property("chaos", line)
        print(line)
        return report

    return told
