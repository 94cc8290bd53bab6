"""Optimistic writes: the version is raised in the UPDATE's own condition, so that no change is lost."""

from collections.abc import Iterable
from typing import Any

from django.db import models
from django.db.models import F

from fleetcare.kernel.errors import StaleWrite


def store(row: models.Model, fields: Iterable[str]) -> None:
    """Saves the named fields of a versioned row; raises StaleWrite if somebody else saved it since it was read."""
    values: dict[str, Any] = {name: getattr(row, name) for name in fields}
    mine = type(row)._default_manager.filter(pk=row.pk, version=row.version)  # type: ignore[attr-defined]  # noqa: SLF001
    if not mine.update(version=F("version") + 1, **values):
        raise StaleWrite("It was changed since you read it; read it again and repeat the change.")
    row.version += 1  # type: ignore[attr-defined]


def etag(version: int) -> str:
    """A strong validator (RFC 9110) of a versioned row."""
    return f'"{version}"'


def require_match(header: str | None, version: int) -> None:
    """Honours If-Match; raises StaleWrite when none of its tags is the row's. Without the header nothing is checked."""
    if header is None or header.strip() == "*":
        return
    if etag(version) not in {tag.strip() for tag in header.split(",")}:
        raise StaleWrite("It was changed since you read it; read it again and repeat the change.")
