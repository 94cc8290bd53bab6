"""The embedded broker: kombu's queue in files, made to bear writers and readers that meet, and files that are broken.

kombu 5.7 opens a message under the name that readers look for and writes it afterwards: a reader that comes in between
gets an empty file and ends its worker with a JSON error. The same holds for the tables that say which queue an exchange
serves. Here every file appears whole, under its name, by one rename in its folder; what cannot be understood is set
aside with a warning; and folders or tables that somebody removed are made again.
"""

import fcntl
import logging
import os
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import filesystem
from kombu.transport.filesystem import exchange_queue_t
from kombu.utils.json import dumps, loads

log = logging.getLogger(__name__)

Row = tuple[str, str, str]
"""Of an exchange's table: routing key, pattern, queue."""
_BROKEN = "broken"
_MESSAGE_FIELDS = frozenset({"body", "properties"})


class Channel(filesystem.Channel):
    """A queue is a folder of messages; taking one is renaming it, which only one reader can."""

    def _put(self, queue: str, payload: Any, **_: Any) -> None:  # type: ignore[override] # its stubs disagree
        _write_whole(_folder(self.data_folder_out), f"{time.time_ns()}_{uuid.uuid4()}.{queue}.msg", dumps(payload))

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        folder, done = Path(self.data_folder_in), _folder(self.processed_folder)
        for name in self._messages(queue):
            taken = done / name
            try:
                (folder / name).rename(taken)
            except FileNotFoundError:
                # Another reader was faster.
                continue
            payload = self._understood(taken)
            if payload is not None:
                taken.unlink(missing_ok=True)
                return payload
        raise Empty

    def _messages(self, queue: str) -> list[str]:
        """Names of the messages of a queue, oldest first; anything else that lies in the folder is not ours."""
        wanted = f"{queue}.msg"
        names = os.listdir(_folder(self.data_folder_in))  # noqa: PTH208 - ten times a second, and there may be thousands
        return sorted(name for name in names if name.partition(".")[2] == wanted)

    def _understood(self, file: Path) -> Any:
        """The message in a file that was taken; one that is none is set aside and None returned."""
        try:
            payload = loads(file.read_text(encoding="utf-8"))
            _check_message(payload)
            self.Message(payload, channel=self)
        except Exception as error:  # noqa: BLE001 - whatever lies there: a worker that dies of it would die of it again
            _set_aside(file, error)
            return None
        return payload

    def _size(self, queue: str) -> int:
        return len(self._messages(queue))

    def _purge(self, queue: str) -> int:
        names = self._messages(queue)
        for name in names:
            (Path(self.data_folder_in) / name).unlink(missing_ok=True)
        return len(names)

    def get_table(self, exchange: str) -> list[Any]:
        """Which queues an exchange serves; as this process knew it where the table is damaged or gone."""
        rows = _rows(self._table(exchange))
        if rows is None:
            rows = self._change(exchange, lambda known: known)
        return [exchange_queue_t(*row) for row in rows]

    def _queue_bind(self, exchange: str, routing_key: str | None, pattern: str | None, queue: str | None) -> None:
        row = (routing_key or "", pattern or "", queue or "")
        self._change(exchange, lambda rows: rows if row in rows else [row, *rows])

    def _delete(self, queue: str, exchange: str, routing_key: str, pattern: str, *_: Any, **__: Any) -> None:
        self._purge(queue)
        row = (routing_key or "", pattern or "", queue or "")
        self._change(exchange, lambda rows: [each for each in rows if each != row])

    def _change(self, exchange: str, changed: Callable[[list[Row]], list[Row]]) -> list[Row]:
        """Replaces an exchange's table by what it shall be, one process at a time; returns its rows."""
        file = self._table(exchange)
        with _alone(_folder(file.parent) / "lock"):
            rows = _rows(file)
            after = changed(self._bound_here(exchange) if rows is None else rows)
            if after != (rows or []):
                _write_whole(file.parent, file.name, dumps(after))
        return after

    def _bound_here(self, exchange: str) -> list[Row]:
        """The rows of an exchange's table that this process has asked for."""
        state: Any = self.state
        kind: Any = self.typeof(exchange)
        bound = [(queue, key, more) for (queue, name, key), more in state.bindings.items() if name == exchange]
        ways = [kind.prepare_bind(queue, exchange, key, more) for queue, key, more in bound]
        return [(key or "", pattern or "", queue or "") for key, pattern, queue in ways]

    def _table(self, exchange: str) -> Path:
        file: Path = super()._exchange_file(exchange)  # type: ignore[misc]
        return file


class Transport(filesystem.Transport):
    """kombu's transport `filesystem://` with the channel above."""

    Channel = Channel


def _folder(path: str | Path) -> Path:
    """The folder, made if somebody took it away."""
    found = Path(path)
    found.mkdir(parents=True, exist_ok=True)
    return found


def _write_whole(folder: Path, name: str, text: str) -> None:
    """Writes a file so that it is either not there or whole; raises OSError where it cannot be written."""
    # The name ends as no message's and no table's does: what a killed writer leaves is nobody's.
    unfinished = folder / f"{uuid.uuid4()}.unfinished"
    try:
        unfinished.write_text(text, encoding="utf-8")
        unfinished.rename(folder / name)
    except OSError:
        unfinished.unlink(missing_ok=True)
        raise


def _set_aside(file: Path, error: Exception) -> None:
    """Puts a file that cannot be used beside the others, to be looked at, and says so."""
    log.warning("set aside %s of the queue: %s: %s", file.name, type(error).__name__, error)
    file.rename(_folder(file.parent / _BROKEN) / f"{time.time_ns()}_{file.name}")


def _rows(file: Path) -> list[Row] | None:
    """The rows of a table, or None where there is none or it is damaged (then it is set aside)."""
    try:
        return [(str(key), str(pattern), str(queue)) for key, pattern, queue in loads(file.read_text(encoding="utf-8"))]
    except FileNotFoundError:
        return None
    except (ValueError, TypeError) as error:
        try:
            _set_aside(file, error)
        except FileNotFoundError:
            log.info("another process has set %s aside", file.name)
        return None


def _check_message(payload: Any) -> None:
    """Raises ValueError where a document lacks what a worker takes for granted in a message."""
    if not isinstance(payload, dict) or not payload.keys() >= _MESSAGE_FIELDS:
        raise ValueError("no message")
    properties = payload["properties"]
    route = properties.get("delivery_info") if isinstance(properties, dict) else None
    if not isinstance(route, dict) or not all(isinstance(route.get(key), str) for key in ("exchange", "routing_key")):
        raise ValueError("a message that does not say where it was sent")
    if not isinstance(properties.get("delivery_tag"), str) or not isinstance(payload.get("headers") or {}, dict):
        raise ValueError("a message without its number or with strange headers")  # noqa: TRY004 - it is no sound file


@contextmanager
def _alone(lock: Path) -> Iterator[None]:
    """Holds a lock that ends with its process, however that ends."""
    with lock.open("a") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        yield
