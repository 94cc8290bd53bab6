"""What a backup holds and by what it is known to be whole: hashes of files, counts and hashes of tables."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

from django.apps import apps

FORMAT, VERSION = "fleetcare-backup", 1
NAME = "manifest.json"
_PIECE_BYTES = 1 << 20


class BrokenBackup(Exception):
    """The backup is not whole, or not for this version; the sentence says what."""


@dataclass(frozen=True, slots=True)
class Table:
    """What a table held."""

    rows: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """The whole of a backup."""

    made_at: str
    database: str
    """"sqlite" or "postgresql": a backup goes back into the same kind of database."""
    migrations: list[str]
    tables: dict[str, Table]
    files: dict[str, str]
    """SHA-256 by the file's place in the backup."""
    lost: list[str]
    """Files that came and went while the backup was made."""

    def write(self, folder: Path) -> None:
        """Stores it; last of all, so that a backup without one is known to be unfinished."""
        body = {"format": FORMAT, "version": VERSION, **asdict(self)}
        (folder / NAME).write_text(json.dumps(body, indent=1, sort_keys=True), encoding="utf-8")


def read(folder: Path) -> Manifest:
    """Raises BrokenBackup where there is none of ours."""
    try:
        body: dict[str, Any] = json.loads((folder / NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BrokenBackup(f"{folder} holds no {NAME}: it is no backup, or one that was not finished.") from error
    if (body.pop("format", None), body.pop("version", None)) != (FORMAT, VERSION):
        raise BrokenBackup(f"{folder} is of another kind or a newer version of fleetcare.")
    tables = {name: Table(**table) for name, table in body.pop("tables").items()}
    return Manifest(tables=tables, **body)


def file_sha256(path: Path) -> str:
    """The hash of a file of any size."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_PIECE_BYTES):
            digest.update(piece)
    return digest.hexdigest()


def check_files(folder: Path, manifest: Manifest) -> None:
    """Raises BrokenBackup unless every file is there with the bytes that were written."""
    for name, sha256 in manifest.files.items():
        path = folder / name
        if not path.is_file() or file_sha256(path) != sha256:
            raise BrokenBackup(f"{name} is missing or has changed since the backup was made.")


def kept_tables() -> dict[str, list[str]]:
    """Every table that is backed up, with its columns, the key first."""
    models = [*apps.get_models(include_auto_created=True)]
    tables = {}
    for model in models:
        meta = model._meta  # noqa: SLF001 - Django's own name for its public part
        if meta.managed and not meta.proxy:
            columns = [str(field.column) for field in meta.local_concrete_fields]
            key = str(meta.pk.column)
            tables[meta.db_table] = [key, *sorted(set(columns) - {key})]
    return dict(sorted(tables.items()))


def table_of(rows: Iterable[tuple[Any, ...]]) -> Table:
    """Count and hash of rows, in whatever order they come."""
    count, total = 0, 0
    for row in rows:
        text = json.dumps([_plain(value) for value in row], ensure_ascii=False, sort_keys=True)
        # Added up, so that the order in which a database happens to give rows makes no difference.
        total += int.from_bytes(hashlib.sha256(text.encode()).digest(), "big")
        count += 1
    return Table(count, f"{total % (1 << 256):064x}")


def _plain(value: Any) -> Any:
    if isinstance(value, memoryview | bytes):
        return bytes(value).hex()
    if isinstance(value, datetime | date | timedelta | Decimal | UUID):
        return str(value)
    return value


def differences(one: Mapping[str, Table], other: Mapping[str, Table]) -> Iterator[str]:
    """Tables that are not the same in both, with their counts."""
    for name in sorted(one.keys() | other.keys()):
        here, there = one.get(name), other.get(name)
        if here != there:
            yield f"{name}: {here.rows if here else 'none'} and {there.rows if there else 'none'} rows"
