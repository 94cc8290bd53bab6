"""The injuries: each starts what it needs, hurts it, lets it recover, and returns what the checker found."""

import os
import random
import signal
import statistics
import threading
import time
import urllib.error
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.system.chaos.leaping import LEAP
from tests.system.chaos.world import OwnPostgres, OwnRedis, Report, World
from tests.system.conftest import Http, wait_for

Answers = list[tuple[int, str]]
"""Status and media type of each answer."""


def kill_workers(hurt: World, kills: int) -> Report:
    """The whole process group at a random moment in the middle of the mails, and a new worker at once."""
    chance = random.Random(20261125)
    hurt.start("worker0", beat=True)
    injured = time.monotonic()
    for number in range(kills):
        hurt.wait_for_mails(1 + number * (hurt.count - 2) // max(kills, 1))
        time.sleep(chance.uniform(0.0, 0.3))
        hurt.kill_tree(f"worker{number}")
        injured = time.monotonic()
        hurt.start(f"worker{number + 1}", beat=True)
    return hurt.check(injured)


def kill_one_child(hurt: World) -> Report:
    hurt.start("worker", beat=True)
    hurt.wait_for_mails(hurt.count // 4)
    for child in _busiest_last(hurt.children("worker"))[:1]:
        os.kill(child, signal.SIGKILL)
    return hurt.check(time.monotonic())


def _busiest_last(children: list[int]) -> list[int]:
    """The children by the processor time they used, most first: the one that sends is among the first."""

    def used(pid: int) -> int:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return int(fields[11]) + int(fields[12])

    return sorted(children, key=used, reverse=True)


def stop_politely(hurt: World) -> tuple[Report, int, float]:
    """SIGTERM in the middle, then a new worker; with the status and how long the stop took."""
    hurt.start("worker", beat=True)
    hurt.wait_for_mails(hurt.count // 4)
    asked = time.monotonic()
    process = hurt.processes.pop("worker")
    process.send_signal(signal.SIGTERM)
    status = process.wait(90)
    stopped = time.monotonic()
    hurt.start("worker2", beat=True)
    return hurt.check(stopped), status, stopped - asked


def two_of_everything(hurt: World) -> Report:
    began = time.monotonic()
    for name in ("worker1", "worker2"):
        hurt.start(name, beat=True)
    return hurt.check(began)


def ring_again_and_again(hurt: World) -> Report:
    """Every bell many times, before and while the mails go out, with two workers that hear them."""
    for task in ("scheduling.tick", "scheduling.send_letters"):
        hurt.ask("ring", task, "10")
    began = time.monotonic()
    for name in ("worker1", "worker2"):
        hurt.start(name, beat=True)
    hurt.wait_for_mails(1)
    for task in ("scheduling.send_letters", "scheduling.tick", "scheduling.send_letters"):
        hurt.ask("ring", task, "10")
    return hurt.check(began)


def poison(hurt: World) -> tuple[Report, int, str]:
    """A letter that kills whoever puts it into words, and messages that nobody understands."""
    hurt.ask("poison")
    began = time.monotonic()
    hurt.start("worker", beat=True, module="tests.system.chaos.poisoned")
    report = hurt.check(began, expected=hurt.count - 1)
    found = hurt.settled()
    return report, found["states"].get("parked", 0), hurt.log("worker")


def refusing_server(hurt: World) -> tuple[dict[str, Any], Report]:
    """Four addresses not now, four never; later those that were not now."""
    later = {f"person{number}@chaos.example" for number in range(4)}
    never = {f"person{number}@chaos.example" for number in range(4, 8)}
    hurt.sink.at_recipient = lambda address: "451 not now" if address in later else "250 ok"
    hurt.sink.after_data = lambda address: "554 not wanted" if address in never else "250 taken"
    hurt.start("worker", beat=True)
    hurt.wait_for_mails(hurt.count - 8)
    hurt.wait(lambda: sum(hurt.sink.refused.values()) >= 8, 30, "eight refusals")
    time.sleep(3)
    found = hurt.told()
    assert all(hurt.sink.refused[address] == 1 for address in later | never), hurt.sink.refused
    hurt.sink.at_recipient = lambda _: "250 ok"
    hurt.hurry()
    report = hurt.check(time.monotonic(), expected=hurt.count - 4)
    assert all(hurt.sink.refused[address] == 1 for address in never), "an address that said never was tried again"
    return found, report


def undisturbed(hurt: World, *, hurry: bool = False) -> Report:
    """The workers alone; with `hurry` whatever waits for a later try is tried at once."""
    began = time.monotonic()
    hurt.start("worker", beat=True)
    if hurry:
        hurt.wait(lambda: hurt.sink.total >= hurt.count - 1, 60, "nearly all mails")
        time.sleep(1)
        hurt.hurry()
    return hurt.check(began)


def pages_while_mail_waits(hurt: World) -> tuple[float, float]:
    """The 95th percentile of reading a vehicle, alone and while the worker waits for a mail server's greeting."""
    http = Http(hurt.serve_web(), hurt.load["key"])
    path = f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/"
    _wait_for_web(http, path)
    quiet = _p95(http, path)
    hurt.start("worker", beat=True)
    hurt.wait(lambda: hurt.sink.connections > 0, 40, "the worker to call the mail server")
    return quiet, _p95(http, path)


def _p95(http: Http, path: str) -> float:
    seconds = []
    for _ in range(60):
        began = time.perf_counter()
        assert http("GET", path).status == 200
        seconds.append(time.perf_counter() - began)
    return statistics.quantiles(seconds, n=20)[-1]


def _wait_for_web(http: Http, path: str) -> None:
    def answers() -> bool:
        try:
            return http("GET", path).status == 200
        except OSError:
            return False

    wait_for(answers, 60, "the web server to answer")


class Writer:
    """Posts odometer readings one after the other until it is told to stop; keeps each answer."""

    def __init__(self, http: Http, hurt: World) -> None:
        self.http, self.answers, self.confirmed = http, [], []  # type: ignore[var-annotated]
        self.path = f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/{hurt.load['vehicle']}/odometer/"
        self.km, self._stop = 10_000, threading.Event()
        self._thread = threading.Thread(target=self._run)

    def write(self) -> tuple[int, str, float]:
        """One reading; status, media type and how long it took."""
        self.km += 1
        began = time.perf_counter()
        today = time.strftime("%Y-%m-%d", time.gmtime())
        answer = self.http("POST", self.path, {"read_on": today, "odometer_km": self.km})
        if answer.status == 201:
            self.confirmed.append(float(self.km))
        return answer.status, answer.headers.get("Content-Type", ""), time.perf_counter() - began

    def _run(self) -> None:
        while not self._stop.is_set():
            status, kind, _ = self.write()
            self.answers.append((status, kind))

    def __enter__(self) -> "Writer":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()


def stop_web_politely(hurt: World) -> tuple[Answers, set[float], set[float], int]:
    """SIGTERM to the web server under writes: the answers until nobody answers any more, what was confirmed and stored.

    A connection refused or reset before any answer was one that nobody had taken from the listening queue: its write
    must not be stored. Anything else that is not an answer is a failure.
    """
    http = Http(hurt.serve_web(), hurt.load["key"])
    _wait_for_web(http, f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/?limit=1")
    writer, process = Writer(http, hurt), hurt.processes.pop("web")
    answers = [writer.write()[:2] for _ in range(5)]

    def write_on() -> None:
        while True:
            answers.append(writer.write()[:2])

    threading.Timer(0.3, process.send_signal, [signal.SIGTERM]).start()
    with pytest.raises((urllib.error.URLError, ConnectionResetError)) as ended:
        write_on()
    reason = getattr(ended.value, "reason", ended.value)
    assert isinstance(reason, ConnectionRefusedError | ConnectionResetError), reason
    return answers, set(writer.confirmed), _stored_km(hurt), process.wait(35)


def _stored_km(hurt: World) -> set[float]:
    return {float(km) for (km,) in hurt.query("SELECT shown_km FROM fleet_odometerreading")}


def broker_gone(hurt: World, redis: OwnRedis, injury: str) -> tuple[Report, Answers]:
    """Redis killed and back empty, or stopped for a while, in the middle of mails and writes."""
    http = Http(hurt.serve_web(), hurt.load["key"])
    _wait_for_web(http, f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/?limit=1")
    hurt.start("worker", beat=True)
    hurt.wait_for_mails(3)
    with Writer(http, hurt) as writer:
        if injury == "killed":
            redis.kill()
            time.sleep(2)
            redis.start()
        else:
            redis.signal(signal.SIGSTOP)
            time.sleep(8)
            redis.signal(signal.SIGCONT)
        back = time.monotonic()
        time.sleep(0.5)
    return hurt.check(back), writer.answers


@dataclass(frozen=True)
class DatabaseGone:
    report: Report
    confirmed: set[float]
    stored: set[float]
    while_down: Answers
    slowest_refusal_seconds: float
    first_after: int


def database_gone(hurt: World, cluster: OwnPostgres) -> DatabaseGone:
    """An immediate stop in the middle of mails and writes, and back after three seconds."""
    http = Http(hurt.serve_web(), hurt.load["key"])
    _wait_for_web(http, f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/?limit=1")
    hurt.start("worker", beat=True)
    hurt.wait_for_mails(3)
    with Writer(http, hurt) as writer:
        time.sleep(0.5)
        cluster.stop("immediate")
    down = [writer.write() for _ in range(5)]
    time.sleep(1)
    cluster.start()
    back = time.monotonic()
    first_after, _, _ = writer.write()
    report = hurt.check(back)
    return DatabaseGone(
        report,
        set(writer.confirmed),
        _stored_km(hurt),
        [(status, kind) for status, kind, _ in down],
        max(seconds for *_, seconds in down),
        first_after,
    )


def leaping_clock(hurt: World) -> Report:
    """A running worker whose clock leaps 25 hours ahead, back to two hours ago, and to the right time again."""
    _set_clock(hurt, 0)
    hurt.sink.takes_seconds = 0.1
    more = {"CHAOS_CLOCK": str(hurt.data / "clock")}
    hurt.start("worker", beat=True, module="tests.system.chaos.leaping", more=more)
    hurt.wait_for_mails(hurt.count // 4)
    _set_clock(hurt, 25 * 3600)
    hurt.wait_for_mails(hurt.count)
    _set_clock(hurt, -2 * 3600)
    time.sleep(5)
    _set_clock(hurt, 0)
    report = hurt.check(time.monotonic())
    _still_ticks(hurt)
    return report


def _set_clock(hurt: World, offset_seconds: float) -> None:
    """Makes the clock of the worker and all its children leap to so many seconds from the real time."""
    (hurt.data / "clock").write_text(str(offset_seconds), encoding="ascii")
    if "worker" in hurt.processes:
        os.killpg(hurt.processes["worker"].pid, LEAP)


def _still_ticks(hurt: World) -> None:
    """A mail that is to be sent again is, by the next tick and nothing else."""
    before = hurt.sink.total
    hurt.query(
        "UPDATE scheduling_letter SET state = 'waiting', not_before = '2020-01-01 00:00:00', claimed_until = NULL "
        "WHERE id = (SELECT id FROM scheduling_letter LIMIT 1)"
    )
    hurt.wait(lambda: hurt.sink.total > before, 15, "a tick after the clock was put back")
