"""Slots of gathered mails and quiet hours, on the reader's own wall."""

from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.slots import is_quiet, last_slot

# Wall times have no zone.
# ruff: noqa: DTZ001

WALLS = st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1))
DAYS = {"hour": 7, "weekday": 3, "month_day": 31}


@pytest.mark.parametrize(
    ("wall", "rhythm", "slot"),
    [
        (datetime(2026, 6, 18, 6, 59), "daily", date(2026, 6, 17)),
        (datetime(2026, 6, 18, 7, 0), "daily", date(2026, 6, 18)),
        (datetime(2026, 6, 18, 6, 59), "weekly", date(2026, 6, 11)),  # the 18th is a Thursday
        (datetime(2026, 6, 18, 7, 0), "weekly", date(2026, 6, 18)),
        (datetime(2026, 6, 24, 23, 0), "weekly", date(2026, 6, 18)),
        (datetime(2026, 3, 1, 12, 0), "monthly", date(2026, 2, 28)),
        (datetime(2028, 2, 29, 7, 0), "monthly", date(2028, 2, 29)),
        (datetime(2028, 2, 29, 6, 0), "monthly", date(2028, 1, 31)),
        (datetime(2026, 1, 1, 0, 0), "monthly", date(2025, 12, 31)),
        (datetime(2026, 4, 30, 7, 0), "monthly", date(2026, 4, 30)),
        (datetime(2026, 4, 30, 7, 0), "never", None),
    ],
)
def test_the_latest_slot_that_has_come(wall: datetime, rhythm: str, slot: date | None) -> None:
    assert last_slot(wall, rhythm, **DAYS) == slot


@given(
    wall=WALLS,
    rhythm=st.sampled_from(["daily", "weekly", "monthly"]),
    hour=st.integers(0, 23),
    weekday=st.integers(0, 6),
    month_day=st.integers(1, 31),
)
def test_a_slot_never_lies_ahead_is_never_missed_and_never_goes_back(
    wall: datetime, rhythm: str, hour: int, weekday: int, month_day: int
) -> None:
    days = {"hour": hour, "weekday": weekday, "month_day": month_day}
    slot = last_slot(wall, rhythm, **days)
    assert slot is not None
    assert datetime.combine(slot, time(hour)) <= wall
    longest = {"daily": 1, "weekly": 7, "monthly": 31}[rhythm]
    assert wall - datetime.combine(slot, time(hour)) < timedelta(days=longest)
    later = last_slot(wall + timedelta(hours=1), rhythm, **days)
    assert later is not None
    assert later >= slot


@pytest.mark.parametrize(
    ("hour", "from_hour", "to_hour", "quiet"),
    [
        (20, 21, 6, False), (21, 21, 6, True), (0, 21, 6, True), (5, 21, 6, True), (6, 21, 6, False),
        (12, 12, 14, True), (14, 12, 14, False), (3, 0, 0, False), (23, 22, 22, False),
    ],
)  # fmt: skip
def test_quiet_hours_go_over_midnight_and_equal_ones_are_none(
    hour: int, from_hour: int, to_hour: int, quiet: bool
) -> None:
    assert is_quiet(time(hour, 59), from_hour, to_hour) is quiet
