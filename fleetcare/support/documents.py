"""Columns for large JSON documents: written and read by a fast encoder, stored exactly as Django stores JSON."""

from typing import Any

import orjson
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.fields.json import KeyTransform


def _written(value: Any) -> bytes:
    return orjson.dumps(value, option=orjson.OPT_SERIALIZE_NUMPY)


class DocumentField(models.JSONField):
    """A JSON column whose documents take a tenth of the time; to the database and to migrations it is a JSONField."""

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.JSONField", args, kwargs

    def get_db_prep_value(self, value: Any, connection: BaseDatabaseWrapper, prepared: bool = False) -> Any:
        if not prepared:
            value = self.get_prep_value(value)
        if isinstance(value, models.expressions.BaseExpression):
            return super().get_db_prep_value(value, connection, prepared=True)
        if connection.vendor == "postgresql":
            from psycopg.types.json import Jsonb

            return Jsonb(value, dumps=_written)
        return _written(value).decode()

    def from_db_value(self, value: Any, expression: Any, connection: BaseDatabaseWrapper) -> Any:
        if value is None or (isinstance(expression, KeyTransform) and not isinstance(value, str)):
            return value
        return orjson.loads(value)
