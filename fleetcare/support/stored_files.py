"""Files beside the database: named at random, whole or not there, outside anything the web server serves."""

import errno
import os
import secrets
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from django.conf import settings
from django.db import transaction

from fleetcare.kernel.errors import NoRoom

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


def fresh_name(folder: str, suffix: str) -> str:
    """A name that nobody can guess and nothing has."""
    return f"{folder}/{secrets.token_hex(16)}{suffix}"


def keep(folder: str, content: bytes | Iterable[bytes], suffix: str) -> str:
    """Stores the bytes, given whole or in pieces, under a fresh random name; returns it (relative to MEDIA_ROOT).

    Raises NoRoom where the disk is full; then nothing of the file is left.
    """
    name = fresh_name(folder, suffix)
    try:
        with written(name) as path, path.open("wb") as file:
            file.writelines([content] if isinstance(content, bytes) else content)
    except OSError as error:
        if error.errno in _FULL:
            raise NoRoom("There is no room left to keep files; nothing was stored.") from error
        raise
    return name


class written:  # noqa: N801 - read as `with written(name) as path`
    """A place to write a file at; it gets its name only when the block ends well, and is gone otherwise."""

    def __init__(self, name: str) -> None:
        self._target = path_of(name)

    def __enter__(self) -> Path:
        self._target.parent.mkdir(parents=True, exist_ok=True)
        handle, text = tempfile.mkstemp(dir=self._target.parent, prefix=".unfinished-")
        os.close(handle)
        self._draft = Path(text)
        return self._draft

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        if kind is None:
            self._draft.replace(self._target)
        else:
            self._draft.unlink(missing_ok=True)


def path_of(name: str) -> Path:
    """Where a kept file lies. Raises ValueError for a name that leads out of the folder of kept files."""
    root = Path(settings.MEDIA_ROOT).resolve()
    path = (root / name).resolve()
    if not path.is_relative_to(root):
        raise ValueError(f"{name!r} lies outside the kept files")
    return path


def content_of(name: str) -> bytes:
    """The bytes kept under the name; raises FileNotFoundError where they are gone."""
    return path_of(name).read_bytes()


def drop(*names: str) -> None:
    """Deletes kept files; one that is gone already is no fault."""
    for name in names:
        path_of(name).unlink(missing_ok=True)


def drop_after_commit(*names: str) -> None:
    """Deletes kept files once the surrounding transaction is stored; a rollback keeps them."""
    transaction.on_commit(lambda: drop(*names))


def sweep(folder: str, is_needed: Callable[[set[str]], set[str]], older_than: float) -> int:
    """Deletes files under a folder that nothing needs, if last written before `older_than` (seconds since 1970).

    `is_needed` takes names and returns those that something refers to. Returns how many went. What a crash or a
    rollback left behind is found here.
    """
    gone = 0
    for names in _batches(folder, older_than):
        idle = names - is_needed(names)
        drop(*idle)
        gone += len(idle)
    return gone


def _batches(folder: str, older_than: float, size: int = 500) -> Iterator[set[str]]:
    root = Path(settings.MEDIA_ROOT).resolve()
    batch: set[str] = set()
    for path in (root / folder).rglob("*"):
        if path.is_file() and path.stat().st_mtime < older_than:
            batch.add(path.relative_to(root).as_posix())
        if len(batch) == size:
            yield batch
            batch = set()
    if batch:
        yield batch
