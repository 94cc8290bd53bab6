"""The chaos suite in its short form: one injury each, on both stacks. Lost none, whatever is done to the workers.

The long form (more readers, more injuries): `python -m tests.system.chaos --long`.
"""

import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.system.chaos import injuries
from tests.system.chaos.sink import Sink, sinking
from tests.system.chaos.world import OwnPostgres, OwnRedis, Report, World, world

pytestmark = [pytest.mark.system, pytest.mark.slow, pytest.mark.timeout(int(os.environ.get("CHAOS_TIMEOUT", "240")))]

MANY = int(os.environ.get("CHAOS_READERS", "40"))
KILLS = int(os.environ.get("CHAOS_KILLS", "1"))


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


@pytest.fixture(params=["embedded", "servers"])
def hurt(request: pytest.FixtureRequest, tmp_path: Path, sink: Sink) -> Iterator[World]:
    """An installation with readers, each to get one mail."""
    if request.param == "embedded":
        shutil.copy(request.getfixturevalue("tables"), tmp_path / "fleetcare.sqlite3")
        with world("embedded", tmp_path, sink) as made:
            made.fill(MANY)
            yield made
        return
    url, redis = request.getfixturevalue("server_url"), request.getfixturevalue("redis")
    with world("servers", tmp_path, sink, DATABASE_URL=url, BROKER_URL=redis.url) as made:
        made.fill(MANY)
        yield made


@pytest.fixture
def redis(tmp_path: Path) -> Iterator[OwnRedis]:
    if shutil.which("redis-server") is None:
        pytest.skip("needs redis-server")
    made = OwnRedis(tmp_path)
    made.start()
    yield made
    made.kill()


@pytest.fixture
def tell(record_property: Any, request: pytest.FixtureRequest) -> Any:
    """Prints what the checker found, for the table of measured figures."""

    def told(report: Report) -> Report:
        record_property("chaos", report.line(request.node.name))
        print(report.line(request.node.name))
        return report

    return told


def test_c1_workers_killed_in_the_middle_lose_nothing_and_repeat_only_what_was_in_flight(
    hurt: World, tell: Any
) -> None:
    report = tell(injuries.kill_workers(hurt, KILLS))
    assert (report.lost, report.unexpected) == (0, 0)
    assert report.duplicated <= 2 * KILLS
    assert report.recovered_seconds < 60


def test_c2_a_child_killed_in_the_middle_loses_nothing(hurt: World, tell: Any) -> None:
    report = tell(injuries.kill_one_child(hurt))
    assert (report.lost, report.unexpected) == (0, 0)
    assert report.duplicated <= 1
    assert report.recovered_seconds < (30 if hurt.stack == "servers" else 90)


def test_c3_a_worker_asked_to_stop_ends_what_it_does_and_nothing_is_sent_twice(hurt: World, tell: Any) -> None:
    report, status, stopped_seconds = injuries.stop_politely(hurt)
    tell(report)
    assert status == 0
    assert stopped_seconds < 60
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0)


def test_c3_a_web_server_asked_to_stop_answers_what_it_took(hurt: World) -> None:
    answers, confirmed, stored, status = injuries.stop_web_politely(hurt)
    assert status == 0
    assert {code for code, _ in answers} == {201}
    assert confirmed == stored
    print(f"{len(answers)} writes answered, none failed, none lost")


def test_c7_two_workers_that_both_tick_double_nothing(hurt: World, tell: Any) -> None:
    report = tell(injuries.two_of_everything(hurt))
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0)


def test_c8_bells_rung_again_and_again_double_nothing(hurt: World, tell: Any) -> None:
    report = tell(injuries.ring_again_and_again(hurt))
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0)


def test_c9_a_letter_that_kills_its_worker_is_parked_and_all_others_arrive(hurt: World, tell: Any) -> None:
    report, parked, log = injuries.poison(hurt)
    tell(report)
    assert (report.lost, report.unexpected) == (0, 0)
    assert report.duplicated == 0
    assert parked == 1
    assert "parked Letter" in log
    assert "no_such_task" in log


def test_c12_what_a_bad_mail_server_says_is_heeded(hurt: World, tell: Any) -> None:
    refused, report = injuries.refusing_server(hurt)
    tell(report)
    assert refused["states"] == {"sent": MANY - 8, "waiting": 4, "bounced": 4}
    assert report.lost == 0
    assert report.duplicated == 0


def test_c12_a_server_that_hangs_up_after_taking_a_mail_gets_one_repeat_at_most(hurt: World, tell: Any) -> None:
    hurt.sink.hangs_up_after = MANY // 2
    report = tell(injuries.undisturbed(hurt, hurry=True))
    assert (report.lost, report.unexpected) == (0, 0)
    assert report.duplicated <= 1


def test_c12_a_server_that_greets_late_holds_up_no_page(tmp_path: Path, tables: Path) -> None:
    shutil.copy(tables, tmp_path / "fleetcare.sqlite3")
    with sinking(greets_after_seconds=30.0) as slow, world("embedded", tmp_path, slow) as hurt:
        hurt.fill(5)
        quiet, busy = injuries.pages_while_mail_waits(hurt)
    print(f"page p95 alone {quiet * 1000:.0f} ms, while the mail server does not greet {busy * 1000:.0f} ms")
    assert busy < max(3 * quiet, 0.5)


@pytest.mark.parametrize("injury", ["killed", "stopped"])
def test_c4_a_broker_that_is_gone_loses_nothing_and_fails_no_write(
    tmp_path: Path, sink: Sink, redis: OwnRedis, server_url: str, injury: str, tell: Any
) -> None:
    with world("servers", tmp_path, sink, DATABASE_URL=server_url, BROKER_URL=redis.url) as hurt:
        hurt.fill(MANY)
        report, writes = injuries.broker_gone(hurt, redis, injury)
    tell(report)
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0)
    assert writes
    assert {status for status, _ in writes} == {201}
    assert report.recovered_seconds < 60


@pytest.mark.skipif(not OwnPostgres.is_possible(), reason="needs PostgreSQL's own programs")
def test_c5_a_database_stopped_at_once_keeps_every_write_it_confirmed(
    tmp_path: Path, sink: Sink, redis: OwnRedis, tell: Any
) -> None:
    cluster = OwnPostgres()
    try:
        cluster.create()
        cluster.start()
        with world("servers", tmp_path, sink, DATABASE_URL=cluster.url, BROKER_URL=redis.url) as hurt:
            hurt.ask("migrate")
            hurt.fill(MANY)
            found = injuries.database_gone(hurt, cluster)
        tell(found.report)
    finally:
        cluster.remove()
    assert (found.report.lost, found.report.unexpected) == (0, 0)
    assert found.report.duplicated <= 2
    assert found.confirmed <= found.stored
    assert {status for status, _ in found.while_down} == {503}
    assert all(kind == "application/problem+json" for _, kind in found.while_down)
    assert found.slowest_refusal_seconds < 1
    assert found.first_after == 201


def test_c10_a_clock_that_leaps_25_hours_and_back_repeats_nothing(hurt: World, tell: Any) -> None:
    report = tell(injuries.leaping_clock(hurt))
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0)


def test_the_checker_notices_what_it_is_there_for(tmp_path: Path) -> None:
    """A checker that finds nothing proves nothing: here somebody gets no mail, somebody two, a stranger one."""
    with sinking() as sink:
        hurt = World("none", tmp_path, sink, {}, count=3)
        hurt.told = lambda: {"deliveries": 3, "letters": 3, "states": {}}  # type: ignore[method-assign]
        sink.taken.update(["person0@chaos.example"] * 2 + ["person1@chaos.example", "stranger@chaos.example"])
        report = hurt.check(time.monotonic())
    assert (report.lost, report.duplicated, report.unexpected) == (1, 1, 1)
