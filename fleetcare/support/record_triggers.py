"""Triggers that record every write to a table, in the write's own transaction, whichever way the write comes.

SQLite asks this process who is doing it, by functions of the connection. PostgreSQL is told in a comment before each
writing statement, which the trigger reads back: nothing stays behind on a connection that the next request uses.
"""

# Statements are put together from names of our own tables and columns only.
# ruff: noqa: S608

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils import timezone

from fleetcare.kernel.ids import new_id
from fleetcare.support.doing import current

MASK = "•"
"""Stands for a value that is not kept: that it changed is told, what it was is not."""
_PREFIX = "recorded_"
_WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE|WITH)\b", re.IGNORECASE)
_COLUMNS = "id, fleet_id, at, actor, address, request_id, action, what, subject_id, before, after"


@dataclass(frozen=True, slots=True)
class Recorded:
    """A table whose writes are recorded: the columns told, those of them masked, and on which events.

    `fleet` is the column that says whose row it is.
    """

    label: str
    table: str
    columns: tuple[str, ...]
    masked: frozenset[str] = frozenset()
    events: tuple[str, ...] = ("INSERT", "UPDATE", "DELETE")
    fleet: str = "fleet_id"


def register(connection: BaseDatabaseWrapper, **_: Any) -> None:
    """Lets a fresh connection say who is doing what; for Django's signal of a new connection."""
    if connection.vendor == "sqlite":
        answers: dict[str, Callable[[], Any]] = {
            "recorded_id": lambda: new_id().hex,
            "recorded_at": lambda: timezone.now().replace(tzinfo=None).isoformat(" ", "microseconds"),
            "recorded_actor": lambda: current().actor,
            "recorded_address": lambda: current().address,
            "recorded_request": lambda: current().request_id,
            "recorded_erasing": lambda: int(current().is_erasing),
        }
        for name, answer in answers.items():
            connection.connection.create_function(name, 0, answer)
    elif connection.vendor == "postgresql" and _said_first not in connection.execute_wrappers:
        connection.execute_wrappers.append(_said_first)


def _said_first(execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
    if isinstance(sql, str) and _WRITES.match(sql):
        doing = current()
        said = {"actor": doing.actor, "address": doing.address, "request": doing.request_id}
        if doing.is_erasing:
            said["erasing"] = "yes"
        sql = f"/* {base64.b64encode(json.dumps(said).encode()).decode()} */ {sql}"
    return execute(sql, params, many, context)


def install(connection: BaseDatabaseWrapper, entries: str, tables: Iterable[Recorded]) -> None:
    """Makes the triggers that are wanted, and drops older ones; `entries` is the table that is written to."""
    wanted = _wanted(connection.vendor, entries, tables)
    there = dict(_there(connection))
    with connection.cursor() as cursor:
        for name in there.keys() - wanted.keys():
            cursor.execute(_dropped(connection.vendor, name, there[name]))
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTIONS.format(entries=entries))
        for name in wanted.keys() - there.keys():
            cursor.execute(wanted[name])


def remove(connection: BaseDatabaseWrapper) -> None:
    """Drops the triggers: SQLite changes no table that a trigger names."""
    with connection.cursor() as cursor:
        for name, table in _there(connection):
            cursor.execute(_dropped(connection.vendor, name, table))


def _there(connection: BaseDatabaseWrapper) -> list[tuple[str, str]]:
    found = {
        "sqlite": "SELECT name, tbl_name FROM sqlite_master"
        " WHERE type = 'trigger' AND name LIKE 'recorded!_%' ESCAPE '!'",
        "postgresql": "SELECT tgname, tgrelid::regclass::text FROM pg_trigger"
        " WHERE NOT tgisinternal AND tgname LIKE 'recorded!_%' ESCAPE '!'",
    }
    with connection.cursor() as cursor:
        cursor.execute(found[connection.vendor])
        return list(cursor.fetchall())


def _dropped(vendor: str, name: str, table: str) -> str:
    return f'DROP TRIGGER "{name}"' if vendor == "sqlite" else f'DROP TRIGGER "{name}" ON {table}'


def _wanted(vendor: str, entries: str, tables: Iterable[Recorded]) -> dict[str, str]:
    make, keep = (_sqlite, _sqlite_kept) if vendor == "sqlite" else (_postgres, _postgres_kept)
    bodies = [make(entries, each, event) for each in tables for event in each.events] + keep(entries)
    named = {}
    for body in bodies:
        # The name holds what the trigger does, so that a changed one is seen to be another.
        name = _PREFIX + hashlib.sha256((body + _POSTGRES_FUNCTIONS).encode()).hexdigest()[:20]
        named[name] = body.replace("CREATE TRIGGER", f'CREATE TRIGGER "{name}"', 1)
    return named


_ACTIONS = {"INSERT": "created", "UPDATE": "changed", "DELETE": "deleted"}


def _sqlite(entries: str, each: Recorded, event: str) -> str:
    row = "OLD" if event == "DELETE" else "NEW"
    before = "NULL" if event == "INSERT" else _sqlite_values(each, "OLD", is_change=event == "UPDATE")
    after = "NULL" if event == "DELETE" else _sqlite_values(each, "NEW", is_change=event == "UPDATE")
    differs = " OR ".join(f"OLD.{name} IS NOT NEW.{name}" for name in each.columns)
    # Of the told columns only: whoever mends others by hand need not bring our functions along.
    only = f" OF {', '.join(each.columns)}" if event == "UPDATE" else ""
    when = "NOT recorded_erasing()" + (f" AND ({differs})" if event == "UPDATE" else "")
    return (
        f"CREATE TRIGGER AFTER {event}{only} ON {each.table} WHEN {when} BEGIN INSERT INTO {entries} ({_COLUMNS})"
        f" VALUES (recorded_id(), {row}.{each.fleet}, recorded_at(), recorded_actor(), recorded_address(),"
        f" recorded_request(), '{_ACTIONS[event]}', '{each.label}', {row}.id, {before}, {after}); END"
    )


def _sqlite_values(each: Recorded, row: str, *, is_change: bool) -> str:
    pairs = []
    for name in each.columns:
        masked = f"CASE WHEN COALESCE({row}.{name}, '') = '' THEN {row}.{name} ELSE '{MASK}' END"
        value = masked if name in each.masked else f"{row}.{name}"
        only = f" WHERE OLD.{name} IS NOT NEW.{name}" if is_change else ""
        pairs.append(f"SELECT '{name}' AS k, {value} AS v{only}")
    return f"(SELECT json_group_object(k, v) FROM ({' UNION ALL '.join(pairs)}))"


def _sqlite_kept(entries: str) -> list[str]:
    refuse = "BEGIN SELECT RAISE(ABORT, 'records are not changed'); END"
    return [
        f"CREATE TRIGGER BEFORE UPDATE ON {entries} {refuse}",
        f"CREATE TRIGGER BEFORE DELETE ON {entries} WHEN NOT recorded_erasing() {refuse}",
    ]


_TRANSITIONS = {
    "INSERT": "REFERENCING NEW TABLE AS new_rows",
    "UPDATE": "REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows",
    "DELETE": "REFERENCING OLD TABLE AS old_rows",
}


def _postgres(entries: str, each: Recorded, event: str) -> str:
    told, masked = ",".join(each.columns), ",".join(sorted(each.masked))
    return (
        f"CREATE TRIGGER AFTER {event} ON {each.table} {_TRANSITIONS[event]} FOR EACH STATEMENT"
        f" EXECUTE FUNCTION fleetcare_record_{event.lower()}('{each.label}', '{each.fleet}', '{told}', '{masked}')"
    )


def _postgres_kept(entries: str) -> list[str]:
    return [
        f"CREATE TRIGGER BEFORE UPDATE OR DELETE ON {entries} FOR EACH STATEMENT"
        " EXECUTE FUNCTION fleetcare_keep_records()"
    ]


def _postgres_function(event: str, source: str, ids: str, before: str, after: str) -> str:
    # One statement for all rows of the write. Doubled braces are for the name of the table.
    return f"""
CREATE OR REPLACE FUNCTION fleetcare_record_{event}() RETURNS trigger LANGUAGE plpgsql AS $body$
DECLARE
  said jsonb := fleetcare_doing();
  told text[] := string_to_array(TG_ARGV[2], ',');
  masked text[] := string_to_array(TG_ARGV[3], ',');
BEGIN
  IF said ? 'erasing' THEN RETURN NULL; END IF;
  INSERT INTO {{entries}} ({_COLUMNS})
  SELECT gen_random_uuid(), ({ids}->>TG_ARGV[1])::uuid, clock_timestamp(), said->>'actor', said->>'address',
    said->>'request', '{_ACTIONS[event.upper()]}', TG_ARGV[0], ({ids}->>'id')::uuid, {before}, {after}
  FROM {source};
  RETURN NULL;
END $body$;
"""


_POSTGRES_FUNCTIONS = (
    """
CREATE OR REPLACE FUNCTION fleetcare_doing() RETURNS jsonb LANGUAGE sql STABLE AS $body$
  SELECT COALESCE(
    convert_from(
      decode(substring(left(current_query(), 1000) from '^/\\* ([A-Za-z0-9+/=]+) \\*/'), 'base64'), 'UTF8')::jsonb,
    '{{"actor": "database", "address": "", "request": ""}}'::jsonb)
$body$;
CREATE OR REPLACE FUNCTION fleetcare_told(whole jsonb, other jsonb, told text[], masked text[]) RETURNS jsonb
LANGUAGE sql IMMUTABLE AS $body$
  SELECT jsonb_object_agg(key,
    CASE WHEN key = ANY(masked) AND value NOT IN ('null'::jsonb, '""'::jsonb) THEN '"•"'::jsonb ELSE value END)
  FROM jsonb_each(whole) WHERE key = ANY(told) AND (other IS NULL OR other->key IS DISTINCT FROM value)
$body$;
CREATE OR REPLACE FUNCTION fleetcare_keep_records() RETURNS trigger LANGUAGE plpgsql AS $body$
BEGIN
  IF TG_OP = 'DELETE' AND fleetcare_doing() ? 'erasing' THEN RETURN NULL; END IF;
  RAISE EXCEPTION 'records are not changed' USING ERRCODE = 'integrity_constraint_violation';
END $body$;
"""
    + _postgres_function(
        "insert",
        "(SELECT to_jsonb(r) AS n FROM new_rows r) AS each",
        "n",
        "NULL",
        "fleetcare_told(n, NULL, told, masked)",
    )
    + _postgres_function(
        "delete",
        "(SELECT to_jsonb(r) AS o FROM old_rows r) AS each",
        "o",
        "fleetcare_told(o, NULL, told, masked)",
        "NULL",
    )
    + _postgres_function(
        "update",
        "(SELECT to_jsonb(a) AS o, to_jsonb(b) AS n FROM old_rows a JOIN new_rows b USING (id)) AS each"
        " WHERE fleetcare_told(o, n, told, masked) IS NOT NULL",
        "n",
        "fleetcare_told(o, n, told, masked)",
        "fleetcare_told(n, o, told, masked)",
    )
)
