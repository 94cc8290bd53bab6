"""An installation that can be hurt: its processes, its broker, its database, its mail server, and the checker."""

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import psycopg

from fleetcare.support import record_triggers
from tests.system.chaos.sink import Sink
from tests.system.conftest import ROOT, free_port, wait_for

LEASE_SECONDS = 6.0
TICK_SECONDS = 1.0
PATIENCE_SECONDS = 240.0
"""For a machine that does much else beside; alone each wait takes seconds."""


@dataclass(frozen=True)
class Report:
    """What the checker found of those who should each have got one mail, and of those who should have got none."""

    expected: int
    lost: int
    duplicated: int
    unexpected: int
    recovered_seconds: float

    def line(self, name: str) -> str:
        return (
            f"{name:<44} of {self.expected}: lost {self.lost}, duplicated {self.duplicated}, "
            f"unexpected {self.unexpected}, recovered after {self.recovered_seconds:.1f} s"
        )


@dataclass
class World:
    """One installation. `stack` is "embedded" (SQLite, queue in files) or "servers" (PostgreSQL, Redis)."""

    stack: str
    data: Path
    sink: Sink
    environment: dict[str, str]
    processes: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)
    load: dict[str, Any] = field(default_factory=dict)
    count: int = 0
    began: float = 0.0
    web: str = ""
    km: int = 10_000
    """The last reading that was written to the spare vehicle."""
    commands: dict[str, list[str]] = field(default_factory=dict)
    supervised: bool = False
    """Whether a worker that ends by itself is started again, as `restart` of the compose file does."""
    restarts: list[str] = field(default_factory=list)

    def fill(self, count: int) -> None:
        self.count, self.load = count, self.ask("fill", str(count))

    def ask(self, *arguments: str) -> dict[str, Any]:
        """Runs `load` in this installation's own interpreter."""
        done = subprocess.run(
            [sys.executable, "-m", "tests.system.chaos.load", *arguments],
            cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=200, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr[-3000:]
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    def asking(self, *arguments: str) -> subprocess.Popen[bytes]:
        """The same, going on beside."""
        command = [sys.executable, "-m", "tests.system.chaos.load", *arguments]
        return subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=subprocess.DEVNULL)

    def query(self, sql: str) -> list[Any]:
        """Asks the database past everything else, or changes it."""
        url = self.environment.get("DATABASE_URL")
        line: Any = psycopg.connect(url) if url else sqlite3.connect(self.data / "fleetcare.sqlite3", timeout=20)
        if not url:
            # The embedded database's own record of who wrote what asks its connection for these.
            record_triggers.register(SimpleNamespace(vendor="sqlite", connection=line))  # type: ignore[arg-type]
        with contextlib.closing(line), line:
            cursor = line.execute(sql)
            return list(cursor.fetchall()) if cursor.description else []

    def told(self) -> dict[str, Any]:
        """What the database says: rows, and letters by state."""
        states = [state for (state,) in self.query("SELECT state FROM scheduling_letter")]
        ((deliveries,),) = self.query("SELECT COUNT(*) FROM scheduling_delivery")
        return {"deliveries": deliveries, "letters": len(states), "states": dict(Counter(states))}

    def wave(self) -> None:
        """Begins anew with the same readers: nobody was told anything yet. Nothing may be under way."""
        now = "CURRENT_TIMESTAMP"
        self.query("DELETE FROM scheduling_delivery")
        self.query("DELETE FROM scheduling_letter")
        self.sink.forget()
        self.query(f"UPDATE scheduling_dueitem SET changed_at = {now}")  # noqa: S608 - a constant
        self.query("UPDATE scheduling_reminderchoice SET last_slot_on = NULL, swept_on = NULL")
        self.began = time.monotonic()

    def hurry(self) -> None:
        """Lets letters that wait for a later try be tried now, as if the time had gone by."""
        self.query("UPDATE scheduling_letter SET not_before = '2020-01-01 00:00:00' WHERE state = 'waiting'")

    def start(self, name: str, *, beat: bool = True) -> None:
        """A worker with two children at the head of its own process group, unless it runs; with `beat` it ticks."""
        if name in self.processes:
            return
        options = ["--pool", "prefork", "--concurrency", "2", "--hostname", f"{name}@%h"]
        quiet = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "WARNING"]
        ticking = ["--beat", "--schedule", str(self.data / f"beat-{name}")] if beat else []
        command = [
            sys.executable,
            "-m",
            "tests.system.chaos.hurtable",
            "--app",
            "fleetcare.config",
            "worker",
            *options,
            *quiet,
            *ticking,
        ]
        self._run(name, command)

    def serve_web(self) -> str:
        """The address of a web server; started, unless it runs."""
        if "web" in self.processes:
            return self.web
        port = free_port()
        self.web = f"http://127.0.0.1:{port}"
        sizes = ["--worker-class", "gthread", "--workers", "1", "--threads", "4", "--graceful-timeout", "25"]
        where = ["--bind", f"127.0.0.1:{port}", "--no-control-socket"]
        self._run("web", [sys.executable, "-m", "gunicorn", "fleetcare.config.wsgi:application", *where, *sizes])
        return self.web

    def _run(self, name: str, command: list[str]) -> None:
        self.commands[name] = command
        with (self.data / f"{name}.log").open("ab") as log:
            self.processes[name] = subprocess.Popen(
                command, cwd=ROOT, env=self.environment, stdout=log, stderr=log, start_new_session=True
            )

    def log(self, name: str) -> str:
        return (self.data / f"{name}.log").read_text(errors="replace")

    def kill_tree(self, name: str) -> None:
        """As a machine that loses its power: no word, no child left."""
        process = self.processes.pop(name)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait(10)

    def children(self, name: str) -> list[int]:
        listed = subprocess.run(
            ["pgrep", "-P", str(self.processes[name].pid)], capture_output=True, text=True, check=False
        )
        return [int(pid) for pid in listed.stdout.split()]

    def end(self) -> None:
        for name in list(self.processes):
            with contextlib.suppress(ProcessLookupError):
                self.kill_tree(name)

    def wait_for_mails(self, at_least: int, seconds: float = PATIENCE_SECONDS) -> None:
        self.wait(lambda: self.sink.total >= at_least, seconds, f"{at_least} mails")

    def wait(self, condition: Callable[[], Any], seconds: float, what: str) -> Any:
        """Polls until the condition holds, but not for a process that has ended by itself; fails with the logs."""

        def holds() -> Any:
            dead = [name for name, process in self.processes.items() if process.poll() is not None]
            assert self.supervised or not dead, f"{dead} ended"
            for name in dead:
                self.restarts.append(name)
                self._run(name, self.commands[name])
            return condition()

        try:
            return wait_for(holds, seconds, what)
        except AssertionError as error:
            raise AssertionError(f"{error}; {self._logs()}") from error

    def _logs(self) -> str:
        return "\n".join(f"{name}: {self.log(name)[-1500:]}" for name in self.processes)

    def check(self, since: float, seconds: float = PATIENCE_SECONDS, *, expected: int | None = None) -> Report:
        """Waits until everybody who should has got their mail and the workers rest, then counts."""
        wanted = self.count if expected is None else expected
        self.wait(lambda: len(self.sink.taken) >= wanted, seconds, f"{wanted} readers")
        recovered = time.monotonic() - since
        rest = self.settled()
        people = {f"person{number}@chaos.example" for number in range(self.count)}
        got = self.sink.taken
        assert rest["deliveries"] == rest["letters"] == self.count, rest
        assert all(len(ids) == 1 for ids in self.sink.ids.values()), "a repeat carried another Message-ID"
        return Report(
            wanted,
            len([person for person in people if not got[person]]) - (self.count - wanted),
            sum(count - 1 for count in got.values() if count > 1),
            len(set(got) - people),
            recovered,
        )

    def settled(self, seconds: float = PATIENCE_SECONDS) -> dict[str, Any]:
        """What the database says once no letter waits to be sent any more."""

        def rests() -> dict[str, Any] | None:
            found = self.told()
            return None if found["states"].get("waiting") else found

        found: dict[str, Any] = self.wait(rests, seconds, "the letters to be settled")
        # One more round of ticks: whatever would be sent twice would be sent now.
        time.sleep(1.5 * TICK_SECONDS)
        return found


def environment(data: Path, sink: Sink, **more: str) -> dict[str, str]:
    kept = {
        name: value for name, value in os.environ.items() if not name.startswith(("DATABASE_", "FLEETCARE_", "BROKER_"))
    }
    return {
        **kept,
        "DJANGO_SETTINGS_MODULE": "fleetcare.config.settings",
        "FLEETCARE_DATA": str(data),
        "FLEETCARE_BELL": "broker",
        "EMAIL_URL": f"smtp://127.0.0.1:{sink.port}",
        "TICK_SECONDS": str(TICK_SECONDS),
        "DELIVERY_LEASE_SECONDS": str(LEASE_SECONDS),
        "LOG_LEVEL": "WARNING",
        "WEBHOOKS_ALLOW_LOCAL": "true",
        **more,
    }


class OwnRedis:
    """A broker of this test's own, so that it can be killed and stopped."""

    def __init__(self, data: Path) -> None:
        self.port, self.data = free_port(), data
        self.process: subprocess.Popen[bytes] | None = None

    @classmethod
    def is_possible(cls) -> bool:
        return shutil.which("redis-server") is not None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        options = ["--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        self.process = subprocess.Popen(
            ["redis-server", *options, "--dir", str(self.data)], stdout=subprocess.DEVNULL, start_new_session=True
        )
        wait_for(self._answers, 20, "Redis to answer")

    def _answers(self) -> bool:
        done = subprocess.run(["redis-cli", "-p", str(self.port), "ping"], capture_output=True, check=False)
        return done.stdout.strip() == b"PONG"

    def signal(self, number: int) -> None:
        assert self.process is not None
        self.process.send_signal(number)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None


class OwnPostgres:
    """A database cluster of this test's own, so that it can be stopped in the middle of everything."""

    def __init__(self) -> None:
        # Not below the test's folder: the database's own user could not get there.
        self.home = Path(tempfile.mkdtemp(prefix="fleetcare-chaos-"))
        self.port, self.folder = free_port(), self.home / "cluster"
        programs = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
        self.programs = programs[-1] if programs else Path("/nowhere")

    @classmethod
    def is_possible(cls) -> bool:
        return bool(list(Path("/usr/lib/postgresql").glob("*/bin/initdb"))) and shutil.which("su") is not None

    @property
    def url(self) -> str:
        return f"postgres://postgres@127.0.0.1:{self.port}/postgres"

    def create(self) -> None:
        if os.getuid() == 0:
            # It refuses to run as root.
            shutil.chown(self.home, "postgres")
        self._do(f"{self.programs}/initdb -D {self.folder} -U postgres --auth=trust -E UTF8 --no-sync")

    def start(self) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder}"
        self._do(f"{self.programs}/pg_ctl -D {self.folder} -w -l {self.folder}/log -o '{options}' start")

    def stop(self, how: str = "immediate") -> None:
        self._do(f"{self.programs}/pg_ctl -D {self.folder} -w -m {how} stop")

    def remove(self) -> None:
        with contextlib.suppress(AssertionError):
            self.stop()
        shutil.rmtree(self.home, ignore_errors=True)

    def _do(self, command: str) -> None:
        words = ["su", "postgres", "-c", command] if os.getuid() == 0 else ["sh", "-c", command]
        done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60)
        assert done.returncode == 0, done.stdout + done.stderr


@contextlib.contextmanager
def world(stack: str, data: Path, sink: Sink, **more: str) -> Iterator[World]:
    made = World(stack, data, sink, environment(data, sink, **more))
    try:
        yield made
    finally:
        made.end()
