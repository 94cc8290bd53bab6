"""Flat records of many owners, laid out as blocks: of equally many records, or of about as many with padding."""

from collections.abc import Iterator

import numpy as np

from inspections.core.types import BoolArray, IntArray


def equal_blocks(owner: IntArray, owners: int, most: int) -> Iterator[tuple[IntArray, IntArray]]:
    """Owners with equally many records, and where these lie.

    `owner` holds each record's owner, sorted; `most` keeps the last so many of an owner. Yields pairs of owners,
    shape (S,), and record indices, shape (S, n), in the records' order; every owner comes once, n may be 0.
    """
    count = np.bincount(owner, minlength=owners)
    end = np.cumsum(count)
    count = np.minimum(count, most)
    for size in np.unique(count):
        chosen = np.flatnonzero(count == size)
        yield chosen, end[chosen][:, None] - size + np.arange(size)


def padded_blocks(
    owner: IntArray, owners: int, *, most: int, size: int
) -> Iterator[tuple[IntArray, IntArray, BoolArray]]:
    """Owners with about equally many records, at most `size` at a time, those without any left out.

    Yields owners, shape (S,), record indices, shape (S, n), and which of these are real, shape (S, n); the rest, at
    the end of a row, repeat its first. For loops over records whose cost hardly depends on how many owners go along.
    """
    count = np.bincount(owner, minlength=owners)
    end = np.cumsum(count)
    count = np.minimum(count, most)
    busy = np.argsort(count, kind="stable")[int((count == 0).sum()) :]
    for chosen in chunks(busy, size):
        begin = (end - count)[chosen][:, None]
        place = np.arange(count[chosen].max())
        real = place < count[chosen][:, None]
        yield chosen, begin + np.where(real, place, 0), real


def chunks(index: IntArray, size: int) -> Iterator[IntArray]:
    """An index array in pieces of at most `size`, small enough to stay in the processor's cache."""
    for start in range(0, len(index), size):
        yield index[start : start + size]
