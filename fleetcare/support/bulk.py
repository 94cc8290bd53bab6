"""Many rows into one table by one statement, written once for each number of rows."""

from collections.abc import Sequence
from functools import lru_cache
from itertools import chain
from typing import Any

from django.db import connection, models

ROWS_AT_ONCE = 500
"""Far from the most parameters that either database takes."""


def insert_rows(rows: Sequence[models.Model]) -> None:
    """Stores new rows of one model as they are, without what `bulk_create` asks of every column of every row.

    Call inside a transaction. Every column must hold a value that its field could be read with.
    """
    for start in range(0, len(rows), ROWS_AT_ONCE):
        some = rows[start : start + ROWS_AT_ONCE]
        model = type(some[0])
        columns = [_prepared(field, [row.__dict__[field.attname] for row in some]) for field in _fields(model)]
        with connection.cursor() as cursor:
            sql = _statement(model, len(some), connection.vendor)
            cursor.execute(sql, list(chain.from_iterable(zip(*columns, strict=True))))


def _fields(model: type[models.Model]) -> list[Any]:
    return list(model._meta.concrete_fields)  # noqa: SLF001 - Django's own name for it


@lru_cache(maxsize=256)
def _statement(model: type[models.Model], count: int, vendor: str) -> str:
    quote = connection.ops.quote_name
    fields = _fields(model)
    names = ", ".join(quote(field.column) for field in fields)
    places = ", ".join([f"({', '.join(['%s'] * len(fields))})"] * count)
    table = quote(model._meta.db_table)  # noqa: SLF001 - see above
    return f"INSERT INTO {table} ({names}) VALUES {places}"  # noqa: S608 - names of the model's own columns


_AS_THEY_ARE = frozenset({str, int, float, bool, type(None)})


def _prepared(field: Any, values: list[Any]) -> list[Any]:
    """A column as the driver takes it: plain texts and numbers are that already, and most rows share their fleet."""
    kept: dict[int, Any] = {}
    for value in values:
        if id(value) not in kept:
            kept[id(value)] = value if type(value) in _AS_THEY_ARE else field.get_db_prep_save(value, connection)
    return [kept[id(value)] for value in values]
