"""A mail server on this machine that keeps what it took, and behaves as badly as it is told."""

import asyncio
import re
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

_MESSAGE_ID = re.compile(rb"^Message-ID:\s*(\S+)", re.IGNORECASE | re.MULTILINE)

Answer = Callable[[str], str]
"""From the recipient's address to the server's words."""


def fine(_: str) -> str:
    return "250 taken"


@dataclass
class Sink:
    """What was taken, by recipient, with the Message-IDs; and how it answers."""

    port: int = 0
    at_recipient: Answer = fine
    after_data: Answer = fine
    takes_seconds: float = 0.0
    greets_after_seconds: float = 0.0
    hangs_up_after: int = 0
    """Cuts the line without a word after it took this many mails, once."""
    taken: Counter[str] = field(default_factory=Counter)
    ids: dict[str, set[str]] = field(default_factory=dict)
    refused: Counter[str] = field(default_factory=Counter)
    arrived: list[float] = field(default_factory=list)
    """When each mail was taken, by the clock that only goes forward."""
    connections: int = 0
    transports: list[Any] = field(default_factory=list, repr=False)

    async def handle_RCPT(  # noqa: N802 - the library calls it so
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: Any
    ) -> str:
        words = self.at_recipient(address)
        if words.startswith("2"):
            envelope.rcpt_tos.append(address)
        else:
            self.refused[address] += 1
        return words

    async def handle_DATA(  # noqa: N802 - the library calls it so
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        await asyncio.sleep(self.takes_seconds)
        (address,) = envelope.rcpt_tos
        words = self.after_data(address)
        if not words.startswith("2"):
            self.refused[address] += 1
            return words
        self.taken[address] += 1
        self.arrived.append(time.monotonic())
        found = _MESSAGE_ID.search(bytes(envelope.content or b""))
        self.ids.setdefault(address, set()).add(found.group(1).decode() if found else "")
        if self.hangs_up_after and self.total == self.hangs_up_after:
            # Taken, but the sender never hears so.
            assert server.transport is not None
            server.transport.abort()
        return words

    def forget(self) -> None:
        """Counts anew."""
        for kept in (self.taken, self.ids, self.refused, self.arrived):
            kept.clear()  # type: ignore[attr-defined]

    @property
    def total(self) -> int:
        return sum(self.taken.values())


class _Server(SMTP):
    sink: Sink

    def connection_made(self, transport: Any) -> None:
        self.sink.connections += 1
        self.sink.transports.append(transport)
        super().connection_made(transport)

    async def _handle_client(self) -> None:
        await asyncio.sleep(self.sink.greets_after_seconds)
        await super()._handle_client()


class _Controller(Controller):
    def factory(self) -> SMTP:
        server = _Server(self.handler, hostname="sink.example", loop=self.loop)
        server.sink = self.handler
        return server


@contextmanager
def sinking(port: int = 0, **behaviour: Any) -> Iterator[Sink]:
    sink = Sink(**behaviour)
    controller = _Controller(sink, hostname="127.0.0.1", port=port or _free_port(), ready_timeout=30)
    # The controller greets itself to see that it runs.
    late, sink.greets_after_seconds = sink.greets_after_seconds, 0.0
    controller.start()
    sink.greets_after_seconds, sink.port, sink.connections = late, controller.port, 0
    try:
        yield sink
    finally:
        # Whoever still holds a line would leave it to the garbage collector, in the middle of another test.
        asyncio.run_coroutine_threadsafe(_hang_up(sink), controller.loop).result(10)
        controller.stop()


async def _hang_up(sink: Sink) -> None:
    for transport in sink.transports:
        transport.abort()
    await asyncio.sleep(0.05)


def _free_port() -> int:
    from tests.system.conftest import free_port

    return free_port()
