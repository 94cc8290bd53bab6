"""When something is due: the earlier of a date and a distance, with the range that the forecast of use leaves.

Days are numbers counted from any fixed day (here: `date.toordinal`), NaN where there is none.
"""

from dataclasses import dataclass
from datetime import date
from enum import IntEnum

import numpy as np

from fleetcare.kernel.dates import add_months
from scheduling.core.types import BoolArray, FloatArray, IntArray

SOON_DAYS = 30


class State(IntEnum):
    """How near a due item is; a larger value is more pressing."""

    LATER = 0
    SOON = 1
    DUE = 2
    OVERDUE = 3

    @property
    def word(self) -> str:
        """The word used in the API, on pages and in mails."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Forecast:
    """The days on which the odometer is expected to reach each due distance, shape (K,), NaN where there is none."""

    early_day: FloatArray
    likely_day: FloatArray
    late_day: FloatArray


@dataclass(frozen=True, slots=True)
class Due:
    """Shape (K,); days are NaN where neither date nor distance is given."""

    day: FloatArray
    earliest_day: FloatArray
    latest_day: FloatArray
    by_distance: BoolArray
    """The distance is expected to be reached before the date."""
    state: IntArray


def due_states(
    due_day: FloatArray,
    due_km: FloatArray,
    odometer_km: FloatArray,
    forecast: Forecast,
    today: float,
    soon_days: float | FloatArray = SOON_DAYS,
) -> Due:
    """The earlier of date and distance, and how near it is; arrays of shape (K,), NaN for what is not given.

    Overdue: the date has passed, or the odometer has. Due: the day has come, or by the forecast may have. Soon: it may
    come within `soon_days`. A distance already driven was reached today at the latest.
    """
    reached = odometer_km >= due_km
    early, likely, late = (
        np.where(reached, np.fmin(each, today), each)
        for each in (forecast.early_day, forecast.likely_day, forecast.late_day)
    )
    day, earliest, latest = (np.fmin(due_day, each) for each in (likely, early, late))
    overdue = (today > due_day) | (odometer_km > due_km)
    near = [overdue, reached | (earliest <= today), earliest <= today + soon_days]
    state = np.select(near, [State.OVERDUE, State.DUE, State.SOON], default=State.LATER)
    by_distance = (likely < due_day) | (np.isnan(due_day) & ~np.isnan(likely))
    return Due(day, earliest, latest, by_distance, state.astype(np.int64))


def next_point(
    done_day: int | None, done_km: float | None, every_months: int | None, every_km: float | None
) -> tuple[float, float]:
    """When a service rule falls due after it was last done: day number and distance, NaN for what is not known.

    Months are calendar months (the 31st plus a month is the last of the next); for a rule never yet done hand in the
    day and the distance from which it counts.
    """
    day = km = float("nan")
    if done_day is not None and every_months is not None:
        day = float(add_months(date.fromordinal(done_day), every_months).toordinal())
    if done_km is not None and every_km is not None:
        km = done_km + every_km
    return day, km
