"""C13: receivers of webhooks that are down, slow, lead elsewhere or answer without end harm nobody else.

Real workers and real receivers on this machine; each receiver is another fleet's.
"""

import contextlib
import json
import shutil
import statistics
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.scheduling.webhooks.receiver import Receiver, receiving
from tests.system.chaos.sink import Sink
from tests.system.chaos.world import PATIENCE_SECONDS, World, world
from tests.system.conftest import free_port

pytestmark = [pytest.mark.system, pytest.mark.slow, pytest.mark.timeout(900)]

GOOD_EVENTS, SICK_EVENTS, EVERY_SECONDS = 40, 4, 0.25
TEN_MEGABYTES = 10 * 1024 * 1024
MOST_MORE_KB = 20 * 1024
HARDLY_SECONDS = 2.0
"""Below it a delay is that of a busy machine; who waits for a silent receiver waits for ten seconds."""


@dataclass
class Receivers:
    """Of one fleet each; `inside` is where a redirect points and nobody may call, `down` does not listen yet."""

    good: Receiver
    slow: Receiver
    endless: Receiver
    leading: Receiver
    inside: Receiver
    down_port: int

    @property
    def urls(self) -> dict[str, str]:
        named = {name: getattr(self, name).url for name in ("good", "slow", "endless", "leading")}
        return {**named, "down": f"http://127.0.0.1:{self.down_port}/hooks"}


@contextlib.contextmanager
def receivers() -> Iterator[Receivers]:
    with contextlib.ExitStack() as stack:
        good, inside = stack.enter_context(receiving()), stack.enter_context(receiving())
        slow = stack.enter_context(receiving(after_seconds=30.0))
        endless = stack.enter_context(receiving(status=200, body=b"x" * TEN_MEGABYTES))
        leading = stack.enter_context(receiving(status=307, headers={"Location": inside.url}))
        yield Receivers(good, slow, endless, leading, inside, free_port())


def test_sick_receivers_delay_nobody_and_lose_nothing(tmp_path: Path, tables: Path) -> None:
    shutil.copy(tables, tmp_path / "fleetcare.sqlite3")
    # A lease longer than a call to somebody who says nothing.
    more = {"DELIVERY_LEASE_SECONDS": "60"}
    with receivers() as there, world("embedded", tmp_path, Sink(), **more) as hurt:
        fleets = hurt.ask("endpoints", json.dumps(there.urls))
        hurt.start("worker")
        # What is told while the worker starts counts for nothing.
        _happen(hurt, {fleets["good"]: 2})
        _all_told(hurt, there.good, 2)
        _happen(hurt, {fleets["good"]: GOOD_EVENTS})
        _all_told(hurt, there.good, 2 + GOOD_EVENTS)
        normal, before_kb = _p95_delay(there.good, 2), _most_kb(hurt)
        sick = {key: SICK_EVENTS for name, key in fleets.items() if name != "good"}
        _happen(hurt, {**sick, fleets["good"]: GOOD_EVENTS})
        _all_told(hurt, there.good, 2 + 2 * GOOD_EVENTS)
        _all_told(hurt, there.endless, SICK_EVENTS)
        hurt.wait(lambda: there.slow.got and there.leading.got, PATIENCE_SECONDS, "each sick receiver to be called")
        hurried, more_kb = _p95_delay(there.good, 2 + GOOD_EVENTS), _most_kb(hurt) - before_kb
        print(f"C13 p95 alone {normal:.2f} s, beside the sick {hurried:.2f} s, {more_kb / 1024:.1f} MB more")
        assert there.inside.got == [], "a redirect was followed"
        assert hurried < max(2 * normal, HARDLY_SECONDS)
        assert more_kb < MOST_MORE_KB
        _well_again(hurt, there)


def _well_again(hurt: World, there: Receivers) -> None:
    """Everybody answers, and the time of the next attempts has come: everything arrives."""
    there.slow.after_seconds, there.leading.status = 0.0, 204
    with receiving(port=there.down_port) as down:

        def nothing_waits() -> bool:
            past = "'2020-01-01 00:00:00'"
            hurt.query(f"UPDATE scheduling_webhookdelivery SET not_before = {past} WHERE state = 'waiting'")  # noqa: S608
            hurt.query("UPDATE scheduling_webhookendpoint SET resume_at = NULL")
            return {state for (state,) in hurt.query("SELECT state FROM scheduling_webhookdelivery")} == {"sent"}

        hurt.wait(nothing_waits, PATIENCE_SECONDS, "every delivery to be taken")
        assert _counts(there.good) == [1] * (2 + 2 * GOOD_EVENTS)
        assert _counts(there.endless) == [1] * SICK_EVENTS
        assert _counts(down) == [1] * SICK_EVENTS
        # Those answered something else first, or nothing: repeats carry the id they had.
        assert len(_counts(there.slow)) == len(_counts(there.leading)) == SICK_EVENTS
        assert there.inside.got == []


def _happen(hurt: World, counts: dict[str, int]) -> None:
    hurt.ask("happen", json.dumps(counts), str(EVERY_SECONDS))


def _all_told(hurt: World, receiver: Receiver, count: int) -> None:
    hurt.wait(lambda: len(_counts(receiver)) >= count, PATIENCE_SECONDS, f"{count} events at {receiver.url}")


def _counts(receiver: Receiver) -> list[int]:
    """How often each event came."""
    ids = [headers["webhook-id"] for headers, _ in list(receiver.got)]
    return [ids.count(each) for each in dict.fromkeys(ids)]


def _p95_delay(receiver: Receiver, since: int) -> float:
    """From the moment it happened to its arrival."""
    told: list[Any] = [json.loads(body) for _, body in receiver.got[since:]]
    happened = [datetime.fromisoformat(each["timestamp"]).timestamp() for each in told]
    delays = [at - when for at, when in zip(receiver.at[since:], happened, strict=True)]
    return statistics.quantiles(delays, n=20)[-1]


def _most_kb(hurt: World) -> int:
    """The most memory that a process of the worker has ever had."""

    def high_water(pid: int) -> int:
        lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))

    return max(high_water(pid) for pid in (hurt.processes["worker"].pid, *hurt.children("worker")))
