"""Optimistic writes: the version is raised in the UPDATE's own condition, so that no change is lost."""

import re
from collections.abc import Iterable
from typing import Any

from django.db import models
from django.db.models import F

from fleetcare.kernel.errors import DomainError, StaleWrite

_TAG = re.compile(r'"(\d+)(?:-[0-9a-f]+)?"')
"""A version, and what the API adds to it: the digest of the body that was read."""


class MatchRequired(DomainError):
    """The whole of a stored thing is to be replaced unseen (RFC 6585). Remedy: read it and send its ETag."""

    code = "match-required"
    status = 428
    title = "Say which state this replaces"


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
    found = (_TAG.fullmatch(tag.strip()) for tag in header.split(","))
    if str(version) not in {tag[1] for tag in found if tag}:
        raise StaleWrite("It was changed since you read it; read it again and repeat the change.")
