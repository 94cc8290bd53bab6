"""The order of a fleet's jobs: before driving first, then by worth for cost, whatever vehicle they belong to.

Never a job ahead of the one of its vehicle that opens its access: each counts with the least worth of its vehicle's
list up to it. Equals stand in the order of the vehicles' keys, then of the vehicles' own ranks.
"""

import uuid
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.types import IntArray

Worth = float | None
"""Worth for cost as it is stored beside a list; None where the job is to be done before driving."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a job stands, whatever is added or taken away around it."""

    worth: Worth
    vehicle: uuid.UUID
    rank: int
    """In its vehicle's list, from 0."""


def counted_worths(jobs: Iterable[tuple[bool, float]]) -> list[Worth]:
    """What each job of one vehicle's list counts with, from (before driving, worth for cost) in the order of ranks."""
    least, counted = np.inf, []
    for before_driving, worth in jobs:
        least = least if before_driving else min(worth, least)
        counted.append(None if before_driving else least)
    return counted


class FleetOrder:
    """The lists of many vehicles as one; `vehicles` ascending, `worths` as from `counted_worths`."""

    def __init__(self, vehicles: Sequence[uuid.UUID], worths: Sequence[Sequence[Worth]]) -> None:
        lengths = np.fromiter((len(each) for each in worths), np.int64, len(worths))
        flat = [worth for each in worths for worth in each]
        self._vehicles = vehicles
        self._vehicle: IntArray = np.repeat(np.arange(len(vehicles)), lengths)
        self._rank: IntArray = np.arange(len(flat)) - np.repeat(np.cumsum(lengths) - lengths, lengths)
        self._worth = np.array([np.inf if worth is None else worth for worth in flat], dtype=np.float64)
        # They come vehicle by vehicle and rank by rank, which is how equals stand.
        self._order = np.argsort(-self._worth, kind="stable")

    def __len__(self) -> int:
        return len(self._order)

    def after(self, place: Place | None, limit: int) -> tuple[int, list[Place]]:
        """How many jobs come up to `place` (none: from the first), and the next `limit` of them."""
        start = 0 if place is None else self._up_to(place)
        chosen = self._order[start : start + limit].tolist()
        return start, [self._place(job) for job in chosen]

    def _place(self, job: int) -> Place:
        worth = float(self._worth[job])
        vehicle = self._vehicles[int(self._vehicle[job])]
        return Place(None if np.isinf(worth) else worth, vehicle, int(self._rank[job]))

    def _up_to(self, place: Place) -> int:
        worth = np.inf if place.worth is None else place.worth
        at = bisect_left(self._vehicles, place.vehicle)
        there = at < len(self._vehicles) and self._vehicles[at] == place.vehicle
        earlier = self._vehicle < at
        if there:
            earlier |= (self._vehicle == at) & (self._rank <= place.rank)
        return int(((self._worth > worth) | ((self._worth == worth) & earlier)).sum())
