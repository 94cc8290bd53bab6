"""The scheduler goes on ticking when the machine's clock was put back."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from celery import Celery

from fleetcare.config.beat import SteadyScheduler

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture
def beat(tmp_path: Path) -> Any:
    app = Celery("beat-of-a-test", set_as_current=False)
    app.conf.beat_schedule = {
        "tick": {"task": "tick", "schedule": 60.0},
        "rare": {"task": "rare", "schedule": 86_400.0},
    }
    app.conf.update(timezone="UTC", enable_utc=True)
    with time_machine.travel(NOON, tick=False):
        scheduler = SteadyScheduler(app=app, schedule_filename=str(tmp_path / "schedule"))
    scheduler.sent = []
    scheduler.apply_entry = lambda entry, producer=None: scheduler.sent.append(entry.task)  # type: ignore[method-assign]
    yield scheduler
    scheduler.close()


def run(beat: Any, begin: datetime, minutes: int) -> list[str]:
    """What it sends over some minutes, asked every ten seconds."""
    beat.sent.clear()
    for step in range(minutes * 6):
        with time_machine.travel(begin + timedelta(seconds=10 * step), tick=False):
            while beat.tick() == 0:
                pass
    return list(beat.sent)


@pytest.mark.parametrize("back", [timedelta(hours=27), timedelta(minutes=3), timedelta(days=400)])
def test_a_clock_put_back_costs_no_tick(beat: Any, back: timedelta) -> None:
    assert run(beat, NOON, 10).count("tick") >= 9
    assert run(beat, NOON + timedelta(minutes=10) - back, 10).count("tick") >= 9


def test_a_clock_put_forward_costs_no_tick_and_makes_none_up(beat: Any) -> None:
    run(beat, NOON, 10)
    assert 9 <= run(beat, NOON + timedelta(hours=25), 10).count("tick") <= 11


def test_what_is_rare_stays_rare(beat: Any) -> None:
    run(beat, NOON, 5)
    assert run(beat, NOON - timedelta(hours=2), 60).count("rare") <= 1
