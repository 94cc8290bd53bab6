"""The chaos suite in the gate: on each stack one injury after the other to the same installation, one kill each.

Every wait ends with progress or fails after minutes; the figures are those of `python -m tests.system.chaos`.
"""

import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.system.chaos import injuries, verdicts
from tests.system.chaos.sink import Sink, sinking
from tests.system.chaos.world import OwnPostgres, OwnRedis, Report, World, world

FEW = 12
pytestmark = [pytest.mark.system, pytest.mark.slow, pytest.mark.timeout(900)]
Tell = Callable[[Report, str], Report]


def test_embedded_workers_lose_nothing(tmp_path: Path, tables: Path, sink: Sink, tell: Tell) -> None:
    shutil.copy(tables, tmp_path / "fleetcare.sqlite3")
    with world("embedded", tmp_path, sink) as hurt:
        hurt.fill(FEW)
        _kills_doubles_and_poison(hurt, tell)
        hurt.wave()
        verdicts.nothing(tell(injuries.refusing_server(hurt), "C12"))
        # Leases are measured by clocks: two machines that disagree by hours would take each other for dead.
        hurt.kill_tree("worker2")
        hurt.wave()
        verdicts.repeats_at_most(tell(injuries.leaping_clock(hurt, "worker1"), "C10"), 1)
        hurt.wave()
        _stop(hurt, tell)


@pytest.mark.skipif(not OwnPostgres.is_possible(), reason="needs PostgreSQL's own programs")
def test_workers_on_servers_lose_nothing(tmp_path: Path, redis: OwnRedis, sink: Sink, tell: Tell) -> None:
    cluster = OwnPostgres()
    try:
        cluster.create()
        cluster.start()
        with world("servers", tmp_path, sink, DATABASE_URL=cluster.url, BROKER_URL=redis.url) as hurt:
            hurt.ask("migrate")
            hurt.fill(FEW)
            _kills_doubles_and_poison(hurt, tell)
            hurt.wave()
            report, writes = injuries.broker_gone(hurt, redis, "killed", "worker1")
            verdicts.broker_was_gone(tell(report, "C4"), writes)
            hurt.wave()
            found = injuries.database_gone(hurt, cluster, "worker1")
            tell(found.report, "C5")
            verdicts.database_was_gone(found, senders=4)
            hurt.wave()
            _stop(hurt, tell)
            print(
                f"{len(hurt.restarts)} workers ended by themselves after their broker went away, and were started again"
            )
            assert len(hurt.restarts) <= 2
    finally:
        cluster.remove()


def _kills_doubles_and_poison(hurt: World, tell: Tell) -> None:
    """C1, C2, C7 with C8, C9; two workers, worker1 and worker2, are left running."""
    # Slow enough that something is always under way.
    hurt.sink.takes_seconds = 0.15
    verdicts.repeats_at_most(tell(injuries.kill_workers(hurt, 1), "C1"), 2)
    hurt.wave()
    verdicts.repeats_at_most(tell(injuries.kill_one_child(hurt, "worker1"), "C2"), 1)
    hurt.wave()
    verdicts.nothing(tell(injuries.ring_again_and_again(hurt), "C7, C8"))
    found = injuries.poison(hurt, "worker1", "worker2")
    tell(found.report, f"C9, p95 of the others {found.p95_seconds:.1f} s, normally {found.normal_p95_seconds:.1f} s")
    verdicts.poisoned(found)


def _stop(hurt: World, tell: Tell) -> None:
    found = injuries.stop_politely(hurt, "worker1", "worker2")
    tell(found.report, f"C3, {len(found.answers)} writes, stopped in {found.seconds:.1f} s")
    verdicts.stopped(found)


def test_the_checker_notices_what_it_is_there_for(tmp_path: Path) -> None:
    """A checker that finds nothing proves nothing: here somebody gets no mail, somebody two, a stranger one."""
    with sinking() as sink:
        hurt = World("none", tmp_path, sink, {}, count=3)
        hurt.told = lambda: {"deliveries": 3, "letters": 3, "states": {}}  # type: ignore[method-assign]
        sink.taken.update(["person0@chaos.example"] * 2 + ["person1@chaos.example", "stranger@chaos.example"])
        report = hurt.check(time.monotonic())
    assert (report.lost, report.duplicated, report.unexpected) == (1, 1, 1)
