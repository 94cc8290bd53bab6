"""Calendar arithmetic with clamping: the 31st plus a month is the last of the next, 29 February returns to the 28th."""

import calendar
from datetime import date

DAYS_PER_YEAR = 365.25


def add_months(day: date, months: int) -> date:
    """The same day `months` later (or earlier), or the last day of that month where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


def years_between(start: date, end: date) -> float:
    """Elapsed years as a plain number; negative when `end` is earlier."""
    return (end - start).days / DAYS_PER_YEAR
