"""Many calls outside at once, one for each lane: who answers slowly holds up nobody but themselves.

The calls run in threads and touch nothing of ours; rows are claimed and settled by the caller's thread alone, by the
rules of `queue`.
"""

import logging
import time
import uuid
from collections.abc import Callable, Collection
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Generic, TypeVar

from django.db.models import QuerySet
from django.utils import timezone

from scheduling.models.queue import QueuedRow
from scheduling.services.queue import Outcome, claim, settle

log = logging.getLogger(__name__)

AT_ONCE = 8
LOOK_EVERY_SECONDS = 0.2
"""How soon a row that became free during a run is found while others are on their way."""
_GOES_ON_FOR = timedelta(seconds=15)
_LOOK_AHEAD = 50

Row = TypeVar("Row", bound=QueuedRow)
Call = Callable[[], Any]


@dataclass(frozen=True, slots=True)
class Work(Generic[Row]):
    """How rows of one sort are done.

    `ready(now, lanes)` gives the free rows outside these lanes in the order of sending, `lane(row)` names the way a
    row takes. `prepare(row)` returns the call for a thread; `conclude(row, result)` says what came of it, where
    `result` is what the call returned.
    """

    ready: Callable[[datetime, Collection[Any]], QuerySet[Row]]
    lane: Callable[[Row], Any]
    prepare: Callable[[Row], Call]
    conclude: Callable[[Row, Any], Outcome]


@dataclass(slots=True)
class _Run(Generic[Row]):
    work: Work[Row]
    pool: ThreadPoolExecutor
    seen: set[uuid.UUID] = field(default_factory=set)
    blocked: set[Any] = field(default_factory=set)
    waiting: list[Row] = field(default_factory=list)
    under_way: dict[Future[Any], Row] = field(default_factory=dict)
    looked_at: float = 0.0
    done: int = 0

    def look(self) -> None:
        """Finds rows of the lanes that are free, now and then, and whenever there is nothing else to do."""
        idle = not self.waiting and not self.under_way
        if not idle and time.monotonic() - self.looked_at < LOOK_EVERY_SECONDS:
            return
        self.looked_at = time.monotonic()
        rows = self.work.ready(timezone.now(), self._taken())[:_LOOK_AHEAD]
        self.waiting += [row for row in rows if row.pk not in self.seen]
        self.seen.update(row.pk for row in self.waiting)

    def begin(self) -> None:
        """Starts a row in each lane that is free, as far as there are threads."""
        later = []
        for row in self.waiting:
            key = self.work.lane(row)
            if key in self.blocked:
                continue
            if key in self._taken() or len(self.under_way) >= AT_ONCE:
                later.append(row)
            elif claim(row):
                self.under_way[self.pool.submit(self.work.prepare(row))] = row
        self.waiting = later

    def end(self) -> None:
        """Settles what has come back, waiting a moment for something."""
        finished, _ = wait(self.under_way, LOOK_EVERY_SECONDS, FIRST_COMPLETED)
        for each in finished:
            row = self.under_way.pop(each)
            try:
                outcome = self.work.conclude(row, each.result())
            except Exception:
                log.exception("%s %s failed", type(row).__name__, row.pk)
                continue
            self.done += settle(row, outcome)
            if outcome.stop:
                self.blocked.add(self.work.lane(row))

    def _taken(self) -> set[Any]:
        return self.blocked | {self.work.lane(row) for row in self.under_way.values()}


def work_lanes(work: Work[Row], *, until: datetime) -> int:
    """Claims and performs free rows, one at a time in each lane, until there are none or time is up.

    Returns how many came to an outcome. While something is still under way when time is up it goes on for a moment,
    so that nobody else's rows wait for it. A worker that is killed leaves at most one row of each of eight lanes in
    doubt; a fault of ours is logged and counts as an attempt.
    """
    with ThreadPoolExecutor(AT_ONCE, thread_name_prefix="lane") as pool:
        run = _Run(work, pool)
        while True:
            now = timezone.now()
            if now < until or (run.under_way and now < until + _GOES_ON_FOR):
                run.look()
                run.begin()
            if run.under_way:
                run.end()
            elif not run.waiting or now >= until:
                return run.done
