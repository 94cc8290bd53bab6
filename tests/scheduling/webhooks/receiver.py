"""A receiver of webhooks on this machine that answers as it is told and keeps what it got."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass
class Receiver:
    """What it got, and how it answers: a status, headers, a body, after some seconds."""

    url: str = ""
    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    after_seconds: float = 0.0
    drip: bool = False
    got: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    at: list[float] = field(default_factory=list)
    """When each came, as the clock on the wall showed it."""


@contextmanager
def receiving(port: int = 0, **answer: Any) -> Iterator[Receiver]:
    receiver = Receiver(**answer)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.at.append(time.time())
            receiver.got.append(({name.lower(): value for name, value in self.headers.items()}, body))
            time.sleep(receiver.after_seconds)
            try:
                self.send_response(receiver.status)
                for name, value in receiver.headers.items():
                    self.send_header(name, value)
                self.end_headers()
                self._answer()
            except OSError:
                return  # the caller had enough

        def _answer(self) -> None:
            if not receiver.drip:
                self.wfile.write(receiver.body)
                return
            for _ in range(200):
                self.wfile.write(b"x")
                self.wfile.flush()
                time.sleep(0.05)

        def log_message(self, *_: Any) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    receiver.url = f"http://127.0.0.1:{server.server_port}/hooks?from=here"
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
