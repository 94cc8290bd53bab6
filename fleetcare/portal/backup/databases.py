"""The two databases: a consistent copy while others write, and the way back into an empty one."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder
from psycopg import sql

from fleetcare.fleet.services.auditing import begin_recording
from fleetcare.portal.backup.manifest import BrokenBackup, Table, kept_tables, table_of
from fleetcare.support.record_triggers import remove

SQLITE_NAME = "database.sqlite3"
TABLES = "tables"
_MIGRATIONS = MigrationRecorder.Migration._meta.db_table  # noqa: SLF001
_PIECE_ROWS = 2_000


def applied_migrations() -> list[str]:
    """What the schema is, by the migrations that made it."""
    return sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations())


def write_database(folder: Path) -> dict[str, Table]:
    """A copy of one moment; nobody waits for it. Returns what each table held at that moment."""
    if connection.vendor == "sqlite":
        return _write_sqlite(folder / SQLITE_NAME)
    (folder / TABLES).mkdir()
    return _write_postgres(folder / TABLES)


def restore_database(folder: Path) -> None:
    """Fills the empty database; either all of it or nothing."""
    if connection.vendor == "sqlite":
        _restore_sqlite(folder / SQLITE_NAME)
    else:
        _restore_postgres(folder / TABLES)


def live_tables() -> dict[str, Table]:
    """What each table holds now, at one moment."""
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        raw = connection.connection
        return {name: table_of(_rows(raw, name, columns)) for name, columns in kept_tables().items()}


def check_copy(folder: Path, tables: dict[str, Table]) -> None:
    """Raises BrokenBackup where a copy is damaged inside."""
    if connection.vendor != "sqlite":
        for name, table in tables.items():
            with (folder / TABLES / name).open("rb") as file:
                if sum(1 for _ in file) != table.rows:
                    raise BrokenBackup(f"{name} has not as many rows as when it was written.")
        return
    with contextlib.closing(sqlite3.connect(f"file:{folder / SQLITE_NAME}?mode=ro", uri=True)) as copy:
        ((verdict,),) = copy.execute("PRAGMA integrity_check")
        if verdict != "ok":
            raise BrokenBackup(f"{SQLITE_NAME} is damaged: {verdict}")
        if _sqlite_tables(copy) != tables:
            raise BrokenBackup(f"{SQLITE_NAME} does not hold what the manifest says.")


def _rows(raw: Any, name: str, columns: list[str]) -> Iterator[tuple[Any, ...]]:
    if connection.vendor == "postgresql":
        # As text, so that a value is the same bytes on the way out and on the way back.
        listed = ", ".join(f'"{column}"::text' for column in columns)
        with raw.cursor(name="backup") as cursor:
            cursor.itersize = _PIECE_ROWS
            cursor.execute(f'SELECT {listed} FROM "{name}"')  # noqa: S608 - names of our own tables
            yield from cursor
    else:
        # The sign makes each a value without a declared kind, which our own connection would turn into Python's.
        listed = ", ".join(f'+"{column}"' for column in columns)
        yield from raw.execute(f'SELECT {listed} FROM "{name}"')  # noqa: S608 - names of our own tables


def _write_sqlite(path: Path) -> dict[str, Table]:
    connection.ensure_connection()
    source: sqlite3.Connection = connection.connection
    with contextlib.closing(sqlite3.connect(path)) as target:
        # All pages in one step: a copy in several begins anew whenever somebody writes in between.
        source.backup(target, pages=-1)
        # A single file, without a log beside it.
        target.execute("PRAGMA journal_mode=DELETE")
        return _sqlite_tables(target)


def _sqlite_tables(copy: sqlite3.Connection) -> dict[str, Table]:
    return {name: table_of(_rows(copy, name, columns)) for name, columns in kept_tables().items()}


def _restore_sqlite(path: Path) -> None:
    connection.ensure_connection()
    with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as source:
        source.backup(connection.connection)
    # What this connection knew of the tables before is no longer so.
    connection.close()


def _write_postgres(folder: Path) -> dict[str, Table]:
    found = {}
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        raw = connection.connection
        for name, columns in kept_tables().items():
            found[name] = table_of(_rows(raw, name, columns))
            with (
                (folder / name).open("wb") as file,
                raw.cursor() as line,
                line.copy(_copy("TO STDOUT", name, columns)) as copy,
            ):
                for piece in copy:
                    file.write(piece)
    return found


@transaction.atomic
def _restore_postgres(folder: Path) -> None:
    tables = kept_tables()
    remove(connection)
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")
        # What migrations put in themselves, for example content types, comes from the backup.
        cursor.execute("TRUNCATE " + ", ".join(f'"{name}"' for name in tables))
    raw = connection.connection
    for name, columns in tables.items():
        with (
            raw.cursor() as line,
            line.copy(_copy("FROM STDIN", name, columns)) as copy,
            (folder / name).open("rb") as file,
        ):
            while piece := file.read(1 << 20):
                copy.write(piece)
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), apps.get_models(include_auto_created=True)):
            cursor.execute(statement)
    begin_recording(using=connection.alias)


def _copy(direction: str, name: str, columns: list[str]) -> sql.Composed:
    listed = sql.SQL(", ").join(sql.Identifier(column) for column in columns)
    return sql.SQL("COPY {} ({}) " + direction).format(sql.Identifier(name), listed)
