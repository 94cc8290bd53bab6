"""What there is to repair now, by the backlog."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from inspections.core.types import IntArray
from inspections.services.history import Batch
from scheduling.core.keep_or_replace import Span
from scheduling.core.types import BacklogItem
from scheduling.services.ranking import ranked

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Bill:
    """What there is to repair now."""

    items: Sequence[BacklogItem]
    renewed: IntArray
    """Rows of the batch's cells that are new afterwards."""
    mended: IntArray
    """Rows that are put right and keep their age."""

    @property
    def count(self) -> int:
        """How many jobs."""
        return len(self.items)

    @property
    def span(self) -> Span:
        """All jobs together; four in five such bills: single surprises cancel out in part."""
        likely = sum(item.cost_now_minor for item in self.items)
        below = sum((item.cost_now_minor - item.cost_range_minor[0]) ** 2 for item in self.items) ** 0.5
        above = sum((item.cost_range_minor[1] - item.cost_now_minor) ** 2 for item in self.items) ** 0.5
        return Span(max(likely - below, 0.0), float(likely), likely + above)

    def told(self, batch: Batch) -> list[Json]:
        """The jobs as the API tells them."""
        jobs = batch.catalogue.jobs
        return [
            {"job": item.job, "title": jobs[item.job].job.title, "positions": list(item.positions)}
            for item in self.items
        ]


def bill_of(batch: Batch) -> Bill:
    """The jobs worth doing now on the one vehicle of a batch."""
    ranking = ranked(batch)
    items = ranking.of(0).items if ranking else ()
    renews = [(item, ranking.options[item.option].work.renews) for item in items] if ranking else []
    new = {cell for item, is_new in renews if is_new for cell in item.cells}
    mended = {cell for item, is_new in renews if not is_new for cell in item.cells} - new
    return Bill(items, np.array(sorted(new), dtype=np.int64), np.array(sorted(mended), dtype=np.int64))
