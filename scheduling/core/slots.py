"""When gathered reminders go out, and when nothing does: on the reader's own clock on the wall.

Wall times only, so that a clock put forward, put back or a day that a country left out needs no rule of its own: what
was due at an hour that never came is due at the first one after it.
"""

import calendar
from datetime import date, datetime, time, timedelta


def last_slot(wall: datetime, rhythm: str, *, hour: int, weekday: int, month_day: int) -> date | None:
    """The latest day whose slot has come by `wall`, the reader's wall time; None for a rhythm that has no slots.

    A slot begins at `hour` (0 to 23): of each day, of each `weekday` (0 is Monday), or of each month's `month_day`
    (1 to 31, or the last day of a month that has no such day).
    """
    day = wall.date() if wall.time() >= time(hour) else wall.date() - timedelta(days=1)
    if rhythm == "daily":
        return day
    if rhythm == "weekly":
        return day - timedelta(days=(day.weekday() - weekday) % 7)
    if rhythm == "monthly":
        this = _in_month(day.year, day.month, month_day)
        return this if this <= day else _in_month(*divmod_month(day.year * 12 + day.month - 2), month_day)
    return None


def divmod_month(months: int) -> tuple[int, int]:
    """Year and month (1 to 12) of a count of months since year 0."""
    return months // 12, months % 12 + 1


def _in_month(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, calendar.monthrange(year, month)[1]))


def is_quiet(wall: time, from_hour: int, to_hour: int) -> bool:
    """Whether nothing is to be sent at this wall time; equal hours mean that there are no quiet ones."""
    if from_hour <= to_hour:
        return from_hour <= wall.hour < to_hour
    return wall.hour >= from_hour or wall.hour < to_hour
