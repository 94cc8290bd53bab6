"""Questions asked with every request, written into SQL once and then only filled with values.

Building a query and writing its SQL takes longer than a database needs to answer it. A question is an ordinary
queryset, so that columns, joins and the tenant's condition stand where they always do; here its SQL is kept for each
database, and on PostgreSQL the driver keeps the statement prepared.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model, QuerySet

Question = Callable[..., QuerySet[Any, Any]]
Value = uuid.UUID | str


@dataclass(frozen=True, slots=True)
class _Written:
    """SQL with the places of the values among its parameters, and what turns columns into Python's values."""

    sql: str
    parameters: tuple[Any, ...]
    places: tuple[tuple[int, str], ...]
    converters: tuple[tuple[int, Sequence[Any], Any], ...]


class Prepared:
    """A question with the kinds of its values by name: `Prepared(lambda fleet: ..., fleet=uuid.UUID)`."""

    def __init__(self, question: Question, **kinds: type[uuid.UUID] | type[str]) -> None:
        self._question, self._kinds = question, kinds
        self._written: dict[str, _Written] = {}

    def columns(self, **values: Value) -> list[tuple[Any, ...]]:
        """The rows as the driver gives them: ids and JSON may be text, decimals plain numbers."""
        connection = connections[DEFAULT_DB_ALIAS]
        return _asked(connection, *self._filled(connection, values))

    def values(self, **values: Value) -> list[list[Any]]:
        """The rows with every column turned into what its field holds."""
        connection = connections[DEFAULT_DB_ALIAS]
        rows = [list(row) for row in self.columns(**values)]
        for index, converters, expression in self._of(connection).converters:
            for row in rows:
                for convert in converters:
                    row[index] = convert(row[index], expression, connection)
        return rows

    def _filled(self, connection: BaseDatabaseWrapper, values: dict[str, Value]) -> tuple[str, list[Any]]:
        written = self._of(connection)
        parameters = list(written.parameters)
        for place, name in written.places:
            parameters[place] = _adapted(connection, values[name])
        return written.sql, parameters

    def _of(self, connection: BaseDatabaseWrapper) -> _Written:
        # Tests and commands change the database behind an alias, so that its vendor is what counts.
        found = self._written.get(connection.vendor)
        if found is None:
            found = self._written[connection.vendor] = self._write(connection)
        return found

    def _write(self, connection: BaseDatabaseWrapper) -> _Written:
        stand_ins = {name: _stand_in(kind) for name, kind in self._kinds.items()}
        compiler = self._question(**stand_ins).query.get_compiler(connection=connection)
        sql, parameters = compiler.as_sql()
        name_of = {_adapted(connection, value): name for name, value in stand_ins.items()}
        places = tuple((place, name_of[each]) for place, each in enumerate(parameters) if _is_known(each, name_of))
        if {name for _, name in places} != set(self._kinds):
            raise ValueError("Every value of a prepared question must stand among its parameters.")
        converters = compiler.get_converters([expression for expression, _, _ in compiler.select])
        listed = ((index, tuple(functions), expression) for index, (functions, expression) in converters.items())
        return _Written(sql, tuple(parameters), places, tuple(listed))


def _stand_in(kind: type[uuid.UUID] | type[str]) -> Value:
    return uuid.uuid4() if kind is uuid.UUID else uuid.uuid4().hex


def _is_known(value: Any, name_of: dict[Any, str]) -> bool:
    return isinstance(value, str | uuid.UUID) and value in name_of


def _adapted(connection: BaseDatabaseWrapper, value: Value) -> Any:
    if isinstance(value, str) or connection.features.has_native_uuid_field:
        return value
    return value.hex


def _asked(connection: BaseDatabaseWrapper, sql: str, parameters: list[Any]) -> list[tuple[Any, ...]]:
    # Reading needs nothing of what is said before a write; where queries are counted they go the usual way.
    if connection.vendor == "postgresql" and not connection.queries_logged:
        from psycopg import Cursor

        connection.ensure_connection()
        with connection.wrap_database_errors, Cursor(connection.connection) as cursor:
            return cursor.execute(sql, parameters, prepare=True).fetchall()
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
        return rows


def columns_of(model: type[Model]) -> tuple[str, ...]:
    """Names of all stored columns of a table, in the order of its fields."""
    return tuple(field.attname for field in model._meta.concrete_fields)  # noqa: SLF001 - Django's own name for it


def instance(model: type[Model], columns: Sequence[str], values: Sequence[Any]) -> Any:
    """A stored row from the values of all its columns."""
    return model.from_db(DEFAULT_DB_ALIAS, columns, values)
