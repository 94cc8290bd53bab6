"""The scheduler's clock: it only ticks, and goes on ticking when the machine's clock was put back."""

from datetime import timedelta
from typing import Any

from celery.beat import PersistentScheduler

_PUT_BACK = timedelta(seconds=2)


class SteadyScheduler(PersistentScheduler):
    """Beat waits until the clock has come again to where it ran last: hours of silence after a clock was corrected."""

    def tick(self, *args: Any, **kwargs: Any) -> float:
        """One round; entries that ran in what is now the future count as having run just now."""
        now = self.app.now()
        for entry in self.schedule.values():
            if entry.last_run_at is not None and entry.last_run_at > now + _PUT_BACK:
                entry.last_run_at = now
                # It holds when each entry is next: computed anew.
                self._heap = None
        seconds: float = super().tick(*args, **kwargs)
        return seconds
