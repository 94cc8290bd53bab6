"""Odometer readings of a whole file against each other and against what is stored: which ones contradict."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

MOST_KM = Decimal(5_000_000)
MOST_KM_A_DAY = Decimal(2_000)
"""Nobody drives further in a day; common practice, no source. The same as for a reading entered by hand."""


@dataclass(frozen=True, slots=True, order=True)
class Stored:
    """A reading that is stored: the day, the distance in all, and what the dial showed."""

    read_on: date
    total_km: Decimal
    shown_km: Decimal

    @property
    def offset_km(self) -> Decimal:
        """What replaced odometers had counted."""
        return self.total_km - self.shown_km


@dataclass(frozen=True, slots=True)
class Candidate:
    """A reading of the file, by the number of its row."""

    row: int
    read_on: date
    shown_km: Decimal


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Why a row is not believed: a stable code and a sentence."""

    row: int
    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Placed:
    """A row whose reading fits, with its distance in all."""

    row: int
    read_on: date
    shown_km: Decimal
    total_km: Decimal


def placed(stored: Sequence[Stored], candidates: Sequence[Candidate]) -> tuple[list[Placed], list[Contradiction]]:
    """The candidates of one vehicle that fit, in the order of the road, and why the others do not.

    What is stored is believed. Among the candidates as many as possible are: of two that contradict each other the
    one that contradicts more of the others is wrong (longest non-decreasing subsequence).
    """
    known = sorted(stored)
    days = [each.read_on for each in known]
    wrong: list[Contradiction] = []
    sound: list[Placed] = []
    for candidate in candidates:
        place = _with_total(known, days, candidate)
        fault = _against_stored(known, days, place)
        if fault:
            wrong.append(fault)
        else:
            sound.append(place)
    sound.sort(key=lambda each: (each.read_on, each.total_km))
    chain, out = _longest(sound)
    wrong += [_backwards(each, chain) for each in out]
    fitting, jumps = _without_jumps(known, chain)
    return fitting, wrong + jumps


def _with_total(known: Sequence[Stored], days: Sequence[date], candidate: Candidate) -> Placed:
    """A reading goes on from the one stored before it, so that replaced odometers are counted."""
    at = bisect_right(days, candidate.read_on)
    neighbour = known[at - 1] if at else known[0] if known else None
    offset = neighbour.offset_km if neighbour else Decimal(0)
    return Placed(candidate.row, candidate.read_on, candidate.shown_km, candidate.shown_km + offset)


def _against_stored(known: Sequence[Stored], days: Sequence[date], place: Placed) -> Contradiction | None:
    if not 0 <= place.shown_km <= MOST_KM:
        return Contradiction(place.row, "range", "A distance from 0 to 5,000,000 km.")
    earlier, later = bisect_left(days, place.read_on), bisect_right(days, place.read_on)
    before = known[earlier - 1] if earlier else None
    after = known[later] if later < len(known) else None
    if before and place.total_km < before.total_km:
        sentence = f"The odometer would run backwards: {_km(before)} is stored."
        return Contradiction(place.row, "runs-backwards", sentence)
    if after and place.total_km > after.total_km:
        sentence = f"The odometer would run backwards later: {_km(after)} is stored."
        return Contradiction(place.row, "runs-backwards", sentence)
    return None


def _km(reading: Stored | Placed) -> str:
    return f"{reading.shown_km.normalize():f} km on {reading.read_on.isoformat()}"


def _longest(places: Sequence[Placed]) -> tuple[list[Placed], list[Placed]]:
    """A longest run that never goes backwards (patience sorting, Fredman 1975), and what is not in it."""
    tails: list[Decimal] = []
    tail_at: list[int] = []
    before: list[int] = []
    for index, place in enumerate(places):
        length = bisect_right(tails, place.total_km)
        before.append(tail_at[length - 1] if length else -1)
        tails[length : length + 1] = [place.total_km]
        tail_at[length : length + 1] = [index]
    kept: set[int] = set()
    index = tail_at[-1] if tail_at else -1
    while index >= 0:
        kept.add(index)
        index = before[index]
    forward = _forward(places)
    # Where several runs are as long, the one that believes the earlier reading.
    kept = kept if len(kept) > len(forward) else forward
    chain = [place for at, place in enumerate(places) if at in kept]
    return chain, [place for at, place in enumerate(places) if at not in kept]


def _forward(places: Sequence[Placed]) -> set[int]:
    """Those that are not below any before them."""
    highest, kept = Decimal(-1), set()
    for index, place in enumerate(places):
        if place.total_km >= highest:
            highest = place.total_km
            kept.add(index)
    return kept


def _backwards(place: Placed, chain: Sequence[Placed]) -> Contradiction:
    """Names the row of the file that a reading contradicts."""
    days = [each.read_on for each in chain]
    at = bisect_right(days, place.read_on)
    before = [each for each in chain[max(at - 1, 0) : at] if each.total_km > place.total_km]
    other = before[0] if before else chain[min(at, len(chain) - 1)]
    sentence = f"The odometer would run backwards: row {other.row} says {_km(other)}."
    return Contradiction(place.row, "runs-backwards", sentence)


def _without_jumps(known: Sequence[Stored], chain: Sequence[Placed]) -> tuple[list[Placed], list[Contradiction]]:
    """A reading too far from the one before it is a typing error."""
    fitting: list[Placed] = []
    wrong: list[Contradiction] = []
    days = [each.read_on for each in known]
    for place in chain:
        at = bisect_left(days, place.read_on)
        before: Stored | Placed | None = known[at - 1] if at else None
        if fitting and (before is None or fitting[-1].read_on >= before.read_on):
            before = fitting[-1]
        if before and place.total_km - before.total_km > MOST_KM_A_DAY * ((place.read_on - before.read_on).days + 1):
            sentence = f"Too far since the reading before, {_km(before)}: a typing error?"
            wrong.append(Contradiction(place.row, "jumps", sentence))
        else:
            fitting.append(place)
    return fitting, wrong
