"""Rows of one table in PostgreSQL's binary COPY format, all of one width, as one NumPy array.

Layout: https://www.postgresql.org/docs/current/sql-copy.html (binary format); a numeric is sent as its count of base
10,000 digits, weight, sign, scale and digits (`numeric_send` in src/backend/utils/adt/numeric.c).
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import numpy as np
import orjson
from django.db import connection, models

_SIGNATURE = b"PGCOPY\n\xff\r\n\x00" + bytes(8)
_END = b"\xff\xff"
_DAY_2000 = date(2000, 1, 1).toordinal()
_INSTANT_2000 = datetime(2000, 1, 1, tzinfo=UTC)
_NULL = -1
_BASE = 10_000


def copy_rows(model: type[models.Model], count: int, given: Mapping[str, Any]) -> None:
    """Adds `count` rows; `given` has a value or an array (N,) by column, the rest are the fields' defaults."""
    columns = [field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)]
    parts = [_laid_out(field, given[field.attname] if field.attname in given else _default(field)) for field in columns]
    kinds: list[Any] = [("count", ">i2")]
    for field, (width, part) in zip(columns, parts, strict=True):
        kinds.append((f"{field.column}:width", ">i4"))
        if width != _NULL:
            kinds.append((field.column, part.dtype))
    rows = np.empty(count, dtype=np.dtype(kinds))
    rows["count"] = len(columns)
    for field, (width, part) in zip(columns, parts, strict=True):
        rows[f"{field.column}:width"] = width
        if width != _NULL:
            rows[field.column] = part
    names = ", ".join(connection.ops.quote_name(field.column) for field in columns)
    table = connection.ops.quote_name(model._meta.db_table)
    with connection.cursor() as cursor, cursor.copy(f"COPY {table} ({names}) FROM STDIN (FORMAT BINARY)") as copy:
        copy.write(_SIGNATURE)
        copy.write(rows.tobytes())
        copy.write(_END)


def new_ids(count: int, rng: np.random.Generator) -> np.ndarray[Any, Any]:
    """Random UUIDs of version 4, (N,), 16 bytes each."""
    raw = rng.integers(0, 256, (count, 16), dtype=np.uint8)
    raw[:, 6] = (raw[:, 6] & 0x0F) | 0x40
    raw[:, 8] = (raw[:, 8] & 0x3F) | 0x80
    return raw.view("V16").reshape(count)


def _default(field: models.Field[Any, Any]) -> Any:
    if field.has_default():
        return field.get_default()
    if isinstance(field, models.DateTimeField) and (field.auto_now or field.auto_now_add):
        return datetime.now(UTC)
    if field.null:
        return None
    return ""


def _laid_out(field: models.Field[Any, Any], value: Any) -> tuple[int, Any]:
    """Width in bytes and the big-endian values of a column; the width of nothing is -1."""
    if value is None:
        return _NULL, None
    kind = field.target_field if isinstance(field, models.ForeignKey) else field
    laid_out = _of_kind(kind, value)
    return laid_out.dtype.itemsize, laid_out


def _of_kind(kind: Any, value: Any) -> np.ndarray[Any, Any]:
    if isinstance(kind, models.UUIDField):
        return np.asarray(value if isinstance(value, np.ndarray) else np.void(value.bytes))
    if isinstance(kind, models.JSONField):
        return np.asarray(np.void(b"\x01" + orjson.dumps(value)))
    if isinstance(kind, models.CharField | models.TextField):
        return np.asarray(value.view(f"V{value.dtype.itemsize}") if isinstance(value, np.ndarray) else _text(value))
    if isinstance(kind, models.DecimalField):
        return _numeric(value, kind.decimal_places)
    if isinstance(kind, models.DateTimeField):
        return np.asarray((value - _INSTANT_2000).total_seconds() * 1e6).astype(">i8")
    if isinstance(kind, models.DateField):
        days = value if isinstance(value, np.ndarray) else np.asarray(value.toordinal())
        return (days - _DAY_2000).astype(">i4")
    if isinstance(kind, models.BooleanField):
        return np.asarray(value, dtype=np.uint8)
    if isinstance(kind, models.FloatField):
        return np.asarray(value, dtype=">f8")
    return np.asarray(value, dtype={"smallint": ">i2", "bigint": ">i8"}.get(kind.db_type(connection), ">i4"))


def _text(value: str) -> Any:
    return np.void(value.encode()) if value else np.zeros((), dtype="V0")


def _numeric(value: Any, scale: int) -> np.ndarray[Any, Any]:
    """Whole numbers below 100 million as two digits of base 10,000; others only as one constant below 10,000."""
    if isinstance(value, np.ndarray):
        whole = value.astype(np.int64)
        digits = (
            np.full(len(whole), 2),
            np.ones(len(whole)),
            0 * whole,
            0 * whole + scale,
            whole // _BASE,
            whole % _BASE,
        )
        return np.stack(digits, axis=1).astype(">i2").view("V12").reshape(len(whole))
    whole_part, fraction = divmod(int(Decimal(value) * _BASE), _BASE)
    return np.asarray(np.void(np.array([2, 0, 0, scale, whole_part, fraction], dtype=">i2").tobytes()))
