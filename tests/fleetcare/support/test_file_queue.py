"""The embedded broker among broken files, removed folders, and many processes at once."""

import json
import logging
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from kombu import Connection, Consumer, Exchange, Queue

_QUEUE = Queue("bells", Exchange("bells"), routing_key="bells")
_MESSAGES, _WRITERS, _READERS = 1_000, 3, 2

_WRITE = """
import sys
from tests.fleetcare.support.test_file_queue import connected, publish
with connected(sys.argv[1]) as line:
    for number in range(int(sys.argv[2]), int(sys.argv[3])):
        publish(line, number)
"""
_READ = """
import sys
from tests.fleetcare.support.test_file_queue import connected, take
with connected(sys.argv[1]) as line:
    print(*take(line, 60.0, last="end"))
"""


def connected(folder: Path | str) -> Connection:
    places = {"data_folder_in": "messages", "data_folder_out": "messages", "processed_folder": "processed"}
    options = {key: str(Path(folder) / name) for key, name in {**places, "control_folder": "control"}.items()}
    return Connection(
        "filesystem://",
        transport="fleetcare.support.file_queue:Transport",
        transport_options={**options, "polling_interval": 0.01},
    )


def publish(line: Connection, content: object) -> None:
    line.Producer().publish(content, exchange=_QUEUE.exchange, routing_key="bells", declare=[_QUEUE], serializer="json")


def take(line: Connection, seconds: float = 0.05, last: object = None) -> list[Any]:
    """What comes, until nothing has come for so long, or the last."""
    found: list[Any] = []

    def heard(body: Any, message: Any) -> None:
        found.append(body)
        message.ack()

    with Consumer(line, queues=[_QUEUE], callbacks=[heard]):
        while last is None or last not in found[-1:]:
            try:
                line.drain_events(timeout=seconds)
            except TimeoutError:
                break
    return found


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Connection]:
    with connected(tmp_path) as made:
        yield made


def test_what_is_put_is_taken_once_and_in_order(line: Connection, tmp_path: Path) -> None:
    for number in range(5):
        publish(line, number)
    assert take(line) == [0, 1, 2, 3, 4]
    assert take(line) == []
    assert [file for file in tmp_path.rglob("*") if file.suffix in {".msg", ".unfinished"}] == []


_SOUND = {
    "body": "MQ==",
    "headers": {},
    "content-type": "application/json",
    "content-encoding": "utf-8",
    "properties": {
        "body_encoding": "base64",
        "delivery_tag": "a",
        "delivery_info": {"exchange": "bells", "routing_key": "bells"},
    },
}


def _without(*path: str, put: Any = None) -> bytes:
    document: Any = json.loads(json.dumps(_SOUND))
    inner = document
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = put
    return json.dumps(document).encode()


_BROKEN = {
    "empty": b"",
    "half": json.dumps(_SOUND).encode()[:70],
    "garbage": bytes(range(256)),
    "a number": b"42",
    "a list": b"[]",
    "another document": b"{}",
    "a body that cannot be decoded": _without("body", put="a"),
    "no properties": _without("properties", put=None),
    "no number": _without("properties", "delivery_tag", put=[1]),
    "no way": _without("properties", "delivery_info", put={}),
    "strange headers": _without("headers", put=[1]),
}


@pytest.mark.parametrize("broken", list(_BROKEN.values()), ids=list(_BROKEN))
def test_a_broken_message_is_set_aside_with_a_warning_and_the_next_is_taken(
    line: Connection, tmp_path: Path, broken: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.WARNING)
    publish(line, "first")
    (tmp_path / "messages" / "0_broken.bells.msg").write_bytes(broken)
    assert take(line) == ["first"]
    assert [record.levelname for record in caplog.records if "0_broken.bells.msg" in record.message] == ["WARNING"]
    (aside,) = (tmp_path / "processed" / "broken").iterdir()
    assert aside.read_bytes() == broken


def test_the_sound_message_that_the_broken_ones_are_made_of_is_taken(line: Connection, tmp_path: Path) -> None:
    (tmp_path / "messages").mkdir()
    (tmp_path / "messages" / "0_sound.bells.msg").write_bytes(json.dumps(_SOUND).encode())
    assert take(line) == [1]


def test_what_is_no_message_of_the_queue_is_left_alone(line: Connection, tmp_path: Path) -> None:
    publish(line, "first")
    foreign = [tmp_path / "messages" / name for name in ("notes.txt", "x.bells.msg.unfinished", "1_a.others.msg", "b")]
    for file in foreign:
        file.write_text("{")
    (tmp_path / "messages" / "0_folder.bells.msg").mkdir()
    assert take(line) == ["first"]
    assert all(file.read_text() == "{" for file in foreign)


def test_removed_folders_and_a_broken_table_are_made_again(line: Connection, tmp_path: Path) -> None:
    publish(line, "first")
    assert take(line) == ["first"]
    (tmp_path / "control" / "bells.exchange").write_text("[[")
    publish(line, "second")
    assert take(line) == ["second"]
    for file in sorted(tmp_path.rglob("*"), reverse=True):
        file.rmdir() if file.is_dir() else file.unlink()
    publish(line, "third")
    assert take(line) == ["third"]


def test_a_message_that_cannot_be_written_is_the_writers_fault_to_handle(line: Connection, tmp_path: Path) -> None:
    publish(line, "first")
    take(line)
    (tmp_path / "messages").rmdir()
    (tmp_path / "messages").write_text("a file where the folder was")
    with pytest.raises(OSError, match="messages"):
        publish(line, "second")


@pytest.mark.slow
@pytest.mark.system
def test_writers_and_readers_at_once_lose_and_double_nothing(tmp_path: Path) -> None:
    with connected(tmp_path) as line:
        take(line)
    readers = [_python(_READ, tmp_path) for _ in range(_READERS)]
    bounds = [round(number * _MESSAGES / _WRITERS) for number in range(_WRITERS + 1)]
    writers = [_python(_WRITE, tmp_path, low, high) for low, high in pairwise(bounds)]
    # All the while somebody throws in what is no message.
    for number in range(50):
        (tmp_path / "messages" / f"{number}_empty.bells.msg").write_bytes(b"")
        time.sleep(0.01)
    for process in writers:
        assert not process.communicate(timeout=90)[1]
        assert process.returncode == 0
    with connected(tmp_path) as line:
        for _ in readers:
            publish(line, "end")
    taken: Counter[str] = Counter()
    for process in readers:
        out, errors = process.communicate(timeout=90)
        assert process.returncode == 0, errors
        taken.update(out.split())
    assert taken == Counter(map(str, range(_MESSAGES))) + Counter(end=len(readers))


def _python(code: str, *arguments: object) -> subprocess.Popen[str]:
    words = [sys.executable, "-c", code, *map(str, arguments)]
    root = Path(__file__).parents[3]
    return subprocess.Popen(words, cwd=root, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
