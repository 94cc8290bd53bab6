"""New ids for rows that come from elsewhere, in the same order as the old ones: ids decide between equals."""

import re
import secrets
import uuid
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

_TIME_BITS = 80
"""Below the time of a version 7 id (RFC 9562)."""
_FREE_BITS = 74
_ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def fresh_ids(old: Iterable[uuid.UUID]) -> dict[uuid.UUID, uuid.UUID]:
    """A new id for each old one, none ever given out before, sorted as the old ones are.

    The first 48 bits, which tell the time in ids of ours, stay; the rest is random.
    """
    found: dict[uuid.UUID, uuid.UUID] = {}
    for stamp, group in groupby(sorted(set(old)), key=lambda key: key.int >> _TIME_BITS):
        mine = list(group)
        tails: set[int] = set()
        while len(tails) < len(mine):
            tails.add(secrets.randbits(_FREE_BITS))
        for key, tail in zip(mine, sorted(tails), strict=True):
            found[key] = _version_7(stamp, tail)
    return found


def _version_7(stamp: int, tail: int) -> uuid.UUID:
    high, low = tail >> 62, tail & ((1 << 62) - 1)
    return uuid.UUID(int=stamp << _TIME_BITS | 0x7 << 76 | high << 64 | 0b10 << 62 | low)


def with_fresh_ids(value: Any, known: Mapping[str, str]) -> Any:
    """The same plain structure with every known id replaced, also among keys and in the middle of a text.

    Some texts name their source by an id ("follow-up:<id>:road-test").
    """
    if isinstance(value, str):
        return _ID.sub(lambda found: known.get(found[0], found[0]), value)
    if isinstance(value, dict):
        return {with_fresh_ids(key, known): with_fresh_ids(each, known) for key, each in value.items()}
    if isinstance(value, list):
        return [with_fresh_ids(each, known) for each in value]
    return value
