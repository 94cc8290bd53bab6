"""The chaos suite, each injury by itself on both stacks: `python -m tests.system.chaos`, with `--long` at full size.

The gate runs the same injuries one after the other, `test_short_form.py`.
"""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.system.chaos import injuries, verdicts
from tests.system.chaos.conftest import MANY
from tests.system.chaos.sink import Sink, sinking
from tests.system.chaos.world import LEASE_SECONDS, OwnPostgres, OwnRedis, World, world

pytestmark = [pytest.mark.system, pytest.mark.slow, pytest.mark.timeout(int(os.environ.get("CHAOS_TIMEOUT", "600")))]

KILLS = int(os.environ.get("CHAOS_KILLS", "1"))


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


def test_c1_workers_killed_in_the_middle_lose_nothing_and_repeat_only_what_was_in_flight(
    hurt: World, tell: Any
) -> None:
    report = tell(injuries.kill_workers(hurt, KILLS))
    assert (report.lost, report.unexpected) == (0, 0)
    assert report.duplicated <= 2 * KILLS
    assert report.recovered_seconds < 60


def test_c2_a_child_killed_in_the_middle_loses_nothing(hurt: World, tell: Any) -> None:
    report = tell(injuries.kill_one_child(hurt, "worker"))
    assert (report.lost, report.unexpected) == (0, 0)
    assert report.duplicated <= 1
    assert report.recovered_seconds < (30 if hurt.stack == "servers" else 90)


def test_c3_web_and_workers_asked_to_stop_end_what_they_do(hurt: World, tell: Any) -> None:
    found = injuries.stop_politely(hurt, "worker")
    tell(found.report)
    verdicts.stopped(found)


def test_c7_two_workers_that_both_tick_double_nothing(hurt: World, tell: Any) -> None:
    report = tell(injuries.two_of_everything(hurt))
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0)


def test_c8_bells_rung_again_and_again_double_nothing(hurt: World, tell: Any) -> None:
    report = tell(injuries.ring_again_and_again(hurt))
    assert (report.lost, report.duplicated, report.unexpected) == (0, 0, 0)


def test_c9_what_kills_or_hangs_is_parked_and_all_others_arrive_in_time(hurt: World, tell: Any) -> None:
    found = injuries.poison(hurt, "worker")
    tell(found.report)
    verdicts.poisoned(found)
    assert found.p95_seconds < max(2 * found.normal_p95_seconds, found.normal_p95_seconds + LEASE_SECONDS)


def test_c12_what_a_bad_mail_server_says_is_heeded(hurt: World, tell: Any) -> None:
    report = tell(injuries.refusing_server(hurt))
    assert (report.lost, report.duplicated) == (0, 0)


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
        report, writes = injuries.broker_gone(hurt, redis, injury, "worker")
    tell(report)
    verdicts.broker_was_gone(report, writes)


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
            found = injuries.database_gone(hurt, cluster, "worker")
        tell(found.report)
    finally:
        cluster.remove()
    verdicts.database_was_gone(found, senders=2)


def test_c10_a_clock_that_leaps_25_hours_and_back_repeats_at_most_what_was_in_flight(hurt: World, tell: Any) -> None:
    # A lease is measured by the clock that leaps: the one mail under way at that moment may look given up.
    verdicts.repeats_at_most(tell(injuries.leaping_clock(hurt, "worker")), 1)
