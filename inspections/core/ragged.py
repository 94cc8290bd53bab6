"""Flat records of many owners, laid out as blocks of equally many records, so that arrays need no padding."""

from collections.abc import Iterator

import numpy as np

from inspections.core.types import IntArray


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


def chunks(index: IntArray, size: int) -> Iterator[IntArray]:
    """An index array in pieces of at most `size`, small enough to stay in the processor's cache."""
    for start in range(0, len(index), size):
        yield index[start : start + size]
