"""What a fleet's own history says of lives, learned once a year and believed from then on, as the product does it.

Formed like `inspections.services.part_histories` and `inspections.services.lives`, from the benchmark's record instead
of a database. Everything is written down: parts that failed, those worn out (renewed when last seen major or worse)
and those renewed early.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.lives import Lesson
from inspections.core.part_ages import Ending, Histories
from inspections.core.plausible_lives import GREATEST_SCALE, LEAST_SCALE, STAGE_SHARES
from inspections.core.shrinkage import learn_with_common_bias
from inspections.core.types import FloatArray, IntArray
from tests.benchmarks.policy.record import Record
from tests.benchmarks.policy.trade import Trade


@dataclass(frozen=True, slots=True)
class _Life:
    """One part's record; clock readings in km."""

    slot: int
    fitted: float
    first: float
    good: float
    end: float
    ending: Ending
    good_by_look: bool
    bad_by_look: bool


class Memory:
    """Every part that came off, and those in service, of one fleet."""

    def __init__(self, trade: Trade, record: Record) -> None:
        self.trade, self.record = trade, record
        self.began = record.now.copy()
        self.over: list[_Life] = []
        _, major, dangerous = STAGE_SHARES
        record.listeners.append(self._came_off)
        self.warning_km = np.where(trade.measured, 0.0, (major + dangerous) * trade.book.pf_km)

    def _came_off(self, rows: IntArray, at_km: FloatArray, failed: bool) -> None:
        for row, at in zip(rows.tolist(), at_km.tolist(), strict=True):
            worn = Ending.WORN_OUT if self.record.last_grade[row] >= Grade.MAJOR else Ending.RENEWED_EARLY
            self.over += self._lives(row, at, Ending.FAILED if failed else worn)

    def learned(self) -> Trade:
        """The trade with the fleet's own lives where its record is enough."""
        trade, kinds = self.trade, int(self.trade.kind_of.max()) + 1
        of_kind = [int(np.flatnonzero(trade.kind_of == kind)[0]) for kind in range(kinds)]
        lives, _ = learn_with_common_bias(self._histories(), trade.book.life_km[of_kind])
        believed = (lives.lesson == Lesson.LEARNED) & (lives.factor >= LEAST_SCALE) & (lives.factor <= GREATEST_SCALE)
        factor = np.where(believed, lives.factor, 1.0)[trade.kind_of]
        cv = np.where(believed[trade.kind_of], lives.life_cv[trade.kind_of], trade.book.life_cv)
        pf_km = trade.book.pf_km * np.minimum(factor, 1.0)
        return replace(trade, book=replace(trade.book, life_km=trade.book.life_km * factor, life_cv=cv, pf_km=pf_km))

    def _lives(self, row: int, end: float, ending: Ending) -> Iterator[_Life]:
        """The record of a part; one seen bad and later sound must have been renewed unnoticed in between.

        A part that came off the moment it was first met was not watched over any distance, and tells nothing.
        """
        slot, fitted = int(self.record.slot[row]), float(self.record.fitted[row])
        first = float(np.fmax(self.began[row], fitted))
        looks = self.record.looks(np.array([row]))
        clock, served = looks.clock_km.tolist(), (looks.grade < Grade.MAJOR).tolist()
        good = [at for at, well in zip(clock, served, strict=True) if well]
        bad: float | None = None
        for at, well, grade in zip(clock, served, looks.grade.tolist(), strict=True):
            if not well:
                bad = bad or at
            elif grade == Grade.SOUND and bad is not None:
                before = max((each for each in good if first < each < bad), default=first)
                yield _Life(slot, fitted, first, before, bad, Ending.UNKNOWN, before > first, bad_by_look=True)
                fitted, first, bad = np.nan, at, None
        last = max(good, default=first)
        if end <= first:
            return
        if ending == Ending.IN_SERVICE:
            last = end if self.trade.book.pf_km[slot] <= 0.0 else last
            if last <= first:
                return
        yield _Life(slot, fitted, first, last, end, ending, bool(good) and last > first, ending == Ending.WORN_OUT)

    def _histories(self) -> Histories:
        now = self.record.now
        running = [life for row in range(len(now)) for life in self._lives(row, float(now[row]), Ending.IN_SERVICE)]
        lives = [*self.over, *running]
        slot = np.array([life.slot for life in lives])
        fitted, first, good, end = (
            np.array([getattr(life, name) for life in lives]) for name in ("fitted", "first", "good", "end")
        )
        good = np.maximum(good + self.warning_km[slot] * [life.good_by_look for life in lives], first)
        end = np.maximum(end + self.warning_km[slot] * [life.bad_by_look for life in lives], first)
        ending = np.array([life.ending for life in lives])
        end = np.where(ending == Ending.IN_SERVICE, np.maximum(end, good), end)
        ending = np.where((ending == Ending.WORN_OUT) & (good >= end), Ending.FAILED, ending)
        return Histories(self.trade.kind_of[slot], fitted, first, np.minimum(good, end), end, ending)
