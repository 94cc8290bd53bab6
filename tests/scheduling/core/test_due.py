"""Due points: the earlier of date and distance, and how near it is."""

from datetime import date

import numpy as np
import pytest

from scheduling.core.due import Due, Forecast, State, due_states, next_point

TODAY = 1_000.0
NONE = float("nan")


def due(
    *,
    day: float = NONE,
    km: float = NONE,
    odometer: float = 50_000.0,
    forecast: tuple[float, float, float] | None = None,
) -> Due:
    early, likely, late = (np.array([each]) for each in forecast or (NONE, NONE, NONE))
    arrays = (np.array([each]) for each in (day, km, odometer))
    return due_states(*arrays, Forecast(early, likely, late), TODAY)


@pytest.mark.parametrize(
    ("day", "state"),
    [(999.0, State.OVERDUE), (1_000.0, State.DUE), (1_030.0, State.SOON), (1_031.0, State.LATER)],
)
def test_a_date_alone_decides_by_the_days_left(day: float, state: State) -> None:
    found = due(day=day)
    assert found.state[0] == state
    assert found.day[0] == found.earliest_day[0] == found.latest_day[0] == day


@pytest.mark.parametrize(
    ("forecast", "state"),
    [
        ((1_100.0, 1_200.0, 1_400.0), State.LATER),
        ((1_020.0, 1_200.0, 1_400.0), State.SOON),
        ((990.0, 1_200.0, 1_400.0), State.DUE),
    ],
)
def test_a_distance_alone_is_as_near_as_its_earliest_day(forecast: tuple[float, float, float], state: State) -> None:
    found = due(km=60_000.0, forecast=forecast)
    assert found.state[0] == state
    assert (found.earliest_day[0], found.day[0], found.latest_day[0]) == forecast
    assert found.by_distance[0]


def test_the_earlier_of_date_and_distance_counts() -> None:
    found = due(day=1_150.0, km=60_000.0, forecast=(1_100.0, 1_200.0, 1_400.0))
    assert (found.earliest_day[0], found.day[0], found.latest_day[0]) == (1_100.0, 1_150.0, 1_150.0)
    assert not found.by_distance[0]


def test_a_distance_already_driven_is_overdue_whatever_the_forecast() -> None:
    found = due(km=49_000.0, forecast=(1_100.0, 1_200.0, 1_400.0))
    assert found.state[0] == State.OVERDUE
    assert found.day[0] == TODAY


def test_a_distance_reached_on_the_kilometre_is_due() -> None:
    assert due(km=50_000.0, forecast=(1_001.0, 1_002.0, 1_003.0)).state[0] == State.DUE


def test_nothing_given_is_never_due() -> None:
    found = due()
    assert found.state[0] == State.LATER
    assert np.isnan(found.day[0])


def test_each_state_has_the_word_of_the_contract() -> None:
    assert [state.word for state in sorted(State, reverse=True)] == ["overdue", "due", "soon", "later"]


def test_a_rule_falls_due_after_calendar_months_and_so_many_kilometres() -> None:
    day, km = next_point(date(2026, 1, 31).toordinal(), 120_000.0, 1, 15_000.0)
    assert (date.fromordinal(int(day)), km) == (date(2026, 2, 28), 135_000.0)


def test_what_a_rule_lacks_stays_open() -> None:
    day, km = next_point(date(2026, 1, 31).toordinal(), None, None, 15_000.0)
    assert np.isnan(day)
    assert np.isnan(km)
