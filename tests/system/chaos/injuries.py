"""The injuries: each starts what it needs, hurts it, lets it recover, and returns what the checker found."""

import json
import os
import random
import signal
import statistics
import threading
import time
import urllib.error
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.system.chaos.hurtable import LEAP
from tests.system.chaos.world import PATIENCE_SECONDS, TICK_SECONDS, OwnPostgres, OwnRedis, Report, World
from tests.system.conftest import Http, wait_for

Answers = list[tuple[int, str]]
"""Status and media type of each answer."""


def kill_workers(hurt: World, kills: int) -> Report:
    """The whole process group at a random moment in the middle of the mails, and a new worker at once."""
    chance = random.Random(20261125)
    hurt.start("worker0")
    injured = time.monotonic()
    for number in range(kills):
        hurt.wait_for_mails(1 + number * (hurt.count - 2) // max(kills, 1))
        time.sleep(chance.uniform(0.0, 0.3))
        hurt.kill_tree(f"worker{number}")
        injured = time.monotonic()
        hurt.start(f"worker{number + 1}")
    return hurt.check(injured)


def kill_one_child(hurt: World, worker: str) -> Report:
    """The child of a worker that is busy, in the middle of the mails."""
    hurt.start(worker)
    hurt.wait_for_mails(hurt.count // 4)
    for child in _busiest_last(hurt.children(worker))[:1]:
        os.kill(child, signal.SIGKILL)
    return hurt.check(time.monotonic())


def _busiest_last(children: list[int]) -> list[int]:
    """The children by the processor time they used, most first: the one that sends is among the first."""

    def used(pid: int) -> int:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return int(fields[11]) + int(fields[12])

    return sorted(children, key=used, reverse=True)


def stop_politely(hurt: World, *workers: str) -> "Stopped":
    """SIGTERM to the web server and all workers at once, under writes and mails; then a new worker.

    A connection refused or reset before any answer was one that nobody had taken from the listening queue: its write
    must not be stored. Anything else that is not an answer is a failure.
    """
    http = Http(hurt.serve_web(), hurt.load["key"])
    _wait_for_web(http, f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/?limit=1")
    writer, answers = Writer(http, hurt), []  # type: Writer, Answers
    for name in workers:
        hurt.start(name)
    # One that has no children yet does not listen to signals either.
    hurt.wait(lambda: all(len(hurt.children(name)) > 1 for name in workers), PATIENCE_SECONDS, "every worker to be up")
    hurt.wait_for_mails(hurt.count // 4)
    answers += [writer.write()[:2] for _ in range(3)]
    stopped = [hurt.processes.pop(name) for name in ("web", *workers)]

    def write_on() -> None:
        while True:
            answers.append(writer.write()[:2])

    asked = time.monotonic()
    threading.Timer(0.3, lambda: [process.send_signal(signal.SIGTERM) for process in stopped]).start()
    with pytest.raises((urllib.error.URLError, ConnectionResetError)) as ended:
        write_on()
    reason = getattr(ended.value, "reason", ended.value)
    assert isinstance(reason, ConnectionRefusedError | ConnectionResetError), reason
    statuses = [process.wait(90) for process in stopped]
    seconds = time.monotonic() - asked
    hurt.start("worker-after")
    report = hurt.check(asked + seconds)
    return Stopped(report, statuses, seconds, answers, set(writer.confirmed), _stored_km(hurt, writer.since))


@dataclass(frozen=True)
class Stopped:
    report: Report
    statuses: list[int]
    seconds: float
    answers: Answers
    confirmed: set[float]
    stored: set[float]


def two_of_everything(hurt: World) -> Report:
    """Two workers that both tick."""
    began = time.monotonic()
    for name in ("worker1", "worker2"):
        hurt.start(name)
    return hurt.check(began)


def ring_again_and_again(hurt: World) -> Report:
    """Every bell many times, before and while the mails go out, with two workers that hear them."""
    began = time.monotonic()
    ringing = hurt.asking("ring", "60", "scheduling.tick", "scheduling.send_letters")
    for name in ("worker1", "worker2"):
        hurt.start(name)
    hurt.wait_for_mails(hurt.count)
    assert ringing.wait(PATIENCE_SECONDS) == 0
    return hurt.check(began)


def poison(hurt: World, *workers: str) -> "Poisoned":
    """A letter that kills whoever puts it into words, one that never ends, and messages that nobody understands."""
    for name in workers:
        hurt.start(name)
    hurt.check(time.monotonic())
    hurt.wave()
    hurt.check(hurt.began)
    normal = _p95_delay(hurt)
    (hurt.data / "poison").write_text(json.dumps({"kill": [KILLING], "hang": [HANGING]}))
    hurt.ask("poison")
    hurt.wave()
    began = hurt.began
    report = hurt.check(began, expected=hurt.count - 2)
    delay, states = _p95_delay(hurt), hurt.told()["states"]
    (hurt.data / "poison").unlink()
    return Poisoned(report, states, normal, delay, "".join(hurt.log(name) for name in workers))


KILLING, HANGING = "person0@chaos.example", "person1@chaos.example"


@dataclass(frozen=True)
class Poisoned:
    report: Report
    states: dict[str, int]
    normal_p95_seconds: float
    p95_seconds: float
    log: str


def _p95_delay(hurt: World) -> float:
    """Of the mails that came, from the moment everything was due."""
    return statistics.quantiles([at - hurt.began for at in hurt.sink.arrived], n=20)[-1]


def refusing_server(hurt: World) -> Report:
    """Four addresses not now, four never; later those that were not now."""
    later = {f"person{number}@chaos.example" for number in range(4)}
    never = {f"person{number}@chaos.example" for number in range(4, 8)}
    hurt.sink.at_recipient = lambda address: "451 not now" if address in later else "250 ok"
    hurt.sink.after_data = lambda address: "554 not wanted" if address in never else "250 taken"
    hurt.start("worker")
    said = {"sent": hurt.count - 8, "waiting": 4, "bounced": 4}
    hurt.wait(lambda: later | never <= set(hurt.sink.refused), PATIENCE_SECONDS, "eight refusals")
    hurt.wait(lambda: hurt.told()["states"] == said, PATIENCE_SECONDS, f"the letters to be {said}")
    time.sleep(2 * TICK_SECONDS)
    assert all(hurt.sink.refused[address] == 1 for address in later | never), hurt.sink.refused
    hurt.sink.at_recipient = lambda _: "250 ok"
    hurt.hurry()
    report = hurt.check(time.monotonic(), expected=hurt.count - 4)
    assert all(hurt.sink.refused[address] == 1 for address in never), "an address that said never was tried again"
    hurt.sink.after_data = lambda _: "250 taken"
    return report


def undisturbed(hurt: World, *, hurry: bool = False) -> Report:
    """The workers alone; with `hurry` whatever waits for a later try is tried at once."""
    began = time.monotonic()
    hurt.start("worker")
    if hurry:
        hurt.wait_for_mails(hurt.count - 1)
        time.sleep(1)
        hurt.hurry()
    return hurt.check(began)


def pages_while_mail_waits(hurt: World) -> tuple[float, float]:
    """The 95th percentile of reading a vehicle, alone and while the worker waits for a mail server's greeting."""
    http = Http(hurt.serve_web(), hurt.load["key"])
    path = f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/"
    _wait_for_web(http, path)
    quiet = _p95(http, path)
    hurt.start("worker")
    hurt.wait(lambda: hurt.sink.connections > 0, PATIENCE_SECONDS, "the worker to call the mail server")
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

    wait_for(answers, PATIENCE_SECONDS, "the web server to answer")


class Writer:
    """Posts odometer readings one after the other until it is told to stop; keeps each answer."""

    def __init__(self, http: Http, hurt: World) -> None:
        self.http, self.answers, self.confirmed = http, [], []  # type: ignore[var-annotated]
        self.path = f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/{hurt.load['vehicle']}/odometer/"
        # Each writer of an installation goes on where the one before it stopped: no two write the same.
        self.since = self.km = hurt.km
        self.hurt, self._stop = hurt, threading.Event()
        self._thread = threading.Thread(target=self._run)

    def write(self) -> tuple[int, str, float]:
        """One reading; status, media type and how long it took."""
        self.km = self.hurt.km = self.km + 1
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


def _stored_km(hurt: World, since: int) -> set[float]:
    found = {float(km) for (km,) in hurt.query("SELECT shown_km FROM fleet_odometerreading")}
    return {km for km in found if km > since}


def broker_gone(hurt: World, redis: OwnRedis, injury: str, worker: str) -> tuple[Report, Answers]:
    """Redis killed and back empty, or stopped for a while, in the middle of mails and writes."""
    http = Http(hurt.serve_web(), hurt.load["key"])
    _wait_for_web(http, f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/?limit=1")
    hurt.start(worker)
    hurt.wait_for_mails(3)
    # kombu 5.7 ends some workers whose Redis went away (an AttributeError in its `_connparams`), at once or a while
    # later: whoever runs workers starts them again, as the compose file does.
    hurt.supervised = True
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


def database_gone(hurt: World, cluster: OwnPostgres, worker: str) -> DatabaseGone:
    """An immediate stop in the middle of mails and writes, and back after three seconds."""
    http = Http(hurt.serve_web(), hurt.load["key"])
    _wait_for_web(http, f"/api/v1/fleets/{hurt.load['fleet']}/vehicles/?limit=1")
    hurt.start(worker)
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
        _stored_km(hurt, writer.since),
        [(status, kind) for status, kind, _ in down],
        max(seconds for *_, seconds in down),
        first_after,
    )


def leaping_clock(hurt: World, worker: str) -> Report:
    """A running worker whose clock leaps 25 hours ahead, back to two hours ago, and to the right time again."""
    hurt.start(worker)
    hurt.wait_for_mails(hurt.count // 4)
    _set_clock(hurt, worker, 25 * 3600)
    hurt.wait_for_mails(hurt.count)
    _set_clock(hurt, worker, -2 * 3600)
    time.sleep(3)
    _set_clock(hurt, worker, 0)
    report = hurt.check(time.monotonic())
    _still_ticks(hurt)
    return report


def _set_clock(hurt: World, worker: str, offset_seconds: float) -> None:
    """Makes the clock of a worker and all its children leap to so many seconds from the real time."""
    (hurt.data / "clock").write_text(str(offset_seconds), encoding="ascii")
    os.killpg(hurt.processes[worker].pid, LEAP)


def _still_ticks(hurt: World) -> None:
    """A mail that is to be sent again is, by the next tick and nothing else."""
    before = hurt.sink.total
    hurt.query(
        "UPDATE scheduling_letter SET state = 'waiting', not_before = '2020-01-01 00:00:00', claimed_until = NULL "
        "WHERE id = (SELECT id FROM scheduling_letter LIMIT 1)"
    )
    hurt.wait(lambda: hurt.sink.total > before, 60, "a tick after the clock was put back")
