"""Web, worker and clock in one command, over the embedded queue; they start together and stop together."""

import errno
import os
import signal
import socket
import subprocess
import sys
import time
from argparse import ArgumentParser
from dataclasses import dataclass
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

_LOOK_EVERY_SECONDS = 0.2
_WEB_STOPS_WITHIN_SECONDS = 30.0
_WORKER_STOPS_WITHIN_SECONDS = 60.0
_WEB_LETS_REQUESTS_END_SECONDS = 25
_REAL_PORTS = range(1, 65_536)


@dataclass(frozen=True, slots=True)
class Child:
    """A program that was started, at the head of its own process group."""

    name: str
    process: subprocess.Popen[bytes]
    stops_within_seconds: float

    @property
    def is_alive(self) -> bool:
        """Whether it still runs; collects it if it has ended."""
        return self.process.poll() is None


class Command(BaseCommand):
    help = "Serves the pages and the API together with a worker; needs no broker. Ctrl-C or SIGTERM ends it all."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen at (default: this machine only)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen at (default 8000)")

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        refuse_taken_port(host, port)
        call_command("migrate", interactive=False, verbosity=0)
        # Before the children are there: a signal that comes while they start must stop them too.
        wish = StopWish()
        children: list[Child] = []
        try:
            children.append(_start("web", _web(host, port), _WEB_STOPS_WITHIN_SECONDS))
            children.append(_start("worker", _worker(), _WORKER_STOPS_WITHIN_SECONDS))
            self.stdout.write(f"Serving at {address(host, port)} - stop with Ctrl-C.")
            self.stdout.flush()
            ended = _first_ended(children, wish)
        finally:
            _stop(children)
        if ended is not None:
            raise CommandError(f"The {ended.name} ended by itself with {ended.process.returncode}; stopped the rest.")


class StopWish:
    """Notes that somebody asked to stop. A plain flag: a handler must not wait for any lock."""

    def __init__(self) -> None:
        self.is_there = False
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, self._note)

    def _note(self, number: int, frame: FrameType | None) -> None:
        self.is_there = True


def address(host: str, port: int) -> str:
    """Where to point a browser."""
    return f"http://{_bracketed(host)}:{port}/"


def refuse_taken_port(host: str, port: int) -> None:
    """Raises CommandError with a plain sentence where nothing can listen at this host and port."""
    if port not in _REAL_PORTS:
        raise CommandError(f"A port lies between 1 and 65535; {port} does not.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        socket.create_server((host, port), family=family).close()
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            raise CommandError(f"Port {port} at {host} is in use; stop what listens there or give --port.") from error
        raise CommandError(f"Cannot listen at {host}, port {port}: {error.strerror or error}.") from error


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _web(host: str, port: int) -> list[str]:
    bind = f"{_bracketed(host)}:{port}"
    # Preloaded: both processes share the memory of what was loaded once, and it is loaded once.
    size = ["--worker-class", "gthread", "--workers", "2", "--threads", "4", "--preload"]
    rest = ["--no-control-socket", "--graceful-timeout", str(_WEB_LETS_REQUESTS_END_SECONDS)]
    return ["gunicorn", "fleetcare.config.wsgi:application", "--bind", bind, *size, *rest]


def _worker() -> list[str]:
    # Children of their own: a task that hangs or dies is ended and counted without taking the worker with it. Two, so
    # that a mail server which does not answer holds up no assessment. `--beat` ticks in a process of its own.
    options = ["--pool", "prefork", "--concurrency", "2", "--beat"]
    options += ["--schedule", str(settings.CELERY_BEAT_SCHEDULE_FILENAME)]
    quiet = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "WARNING"]
    return ["celery", "--app", "fleetcare.config", "worker", *options, *quiet]


def _start(name: str, module: list[str], stops_within_seconds: float) -> Child:
    process = subprocess.Popen(  # noqa: S603 - fixed programs of this environment
        [sys.executable, "-m", *module],
        cwd=settings.BASE_DIR,
        env={**os.environ, "FLEETCARE_BELL": "broker"},
        stdin=subprocess.DEVNULL,
        # A group of its own: Ctrl-C reaches only this process, which stops the children in order.
        start_new_session=True,
    )
    return Child(name, process, stops_within_seconds)


def _first_ended(children: list[Child], wish: StopWish) -> Child | None:
    """Waits until a child ends by itself, or returns None once somebody wishes to stop."""
    while not wish.is_there:
        ended = next((child for child in children if not child.is_alive), None)
        if ended is not None:
            return ended
        time.sleep(_LOOK_EVERY_SECONDS)
    return None


def _stop(children: list[Child]) -> None:
    """Asks all at once, waits for each as long as it may take, then ends what is left of its group."""
    asked_at = time.monotonic()
    for child in children:
        if child.is_alive:
            child.process.terminate()
    for child in children:
        left_seconds = asked_at + child.stops_within_seconds - time.monotonic()
        try:
            child.process.wait(max(left_seconds, 0.0))
        except subprocess.TimeoutExpired:
            sys.stderr.write(f"The {child.name} did not stop within {child.stops_within_seconds:.0f} s; ended it.\n")
        _end_group(child)


def _end_group(child: Child) -> None:
    try:
        os.killpg(child.process.pid, signal.SIGKILL)
    except ProcessLookupError:
        return
    finally:
        child.process.wait()
