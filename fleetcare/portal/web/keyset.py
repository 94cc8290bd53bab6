"""Pages of long lists by where the last one ended, so that what is added meanwhile neither repeats nor hides a row."""

import base64
import binascii
import json
from collections.abc import Sequence
from typing import Any, TypeVar

from fleetcare.kernel.errors import NotFound

_MOST_CHARACTERS = 400
Row = TypeVar("Row")


def cursor(*values: str) -> str:
    """The place after a row, as an address carries it."""
    return base64.urlsafe_b64encode(json.dumps(values).encode()).decode().rstrip("=")


def place(text: str, values: int) -> tuple[str, ...] | None:
    """The values that a cursor was made of; None for the beginning. Raises NotFound for what is no cursor."""
    if not text:
        return None
    try:
        said: Any = json.loads(base64.urlsafe_b64decode(text[:_MOST_CHARACTERS] + "=" * (-len(text) % 4)))
    except (binascii.Error, ValueError) as error:
        raise NotFound from error
    if not (isinstance(said, list) and len(said) == values and all(isinstance(each, str) for each in said)):
        raise NotFound
    return tuple(said)


def cut(rows: Sequence[Row], most: int) -> tuple[Sequence[Row], Row | None]:
    """The rows of a page, and its last one where more follow; ask the database for one more than a page."""
    return (rows[:most], rows[most - 1]) if len(rows) > most else (rows, None)
