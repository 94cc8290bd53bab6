"""What is decided of vehicles together is what is decided of each alone, and lives are worked out once."""

from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from inspections.services import left
from inspections.services.history import load_batch
from scheduling.services.backlog import Deciding, decide
from tests import factories
from tests.conftest import Cast
from tests.inspections.given import PADS, inspect, result

ON = date(2026, 3, 1)


@pytest.fixture
def vehicles(cast: Cast) -> list[Any]:
    """One with a defect and a figure, one seen sound long ago, one never looked at."""
    found, sound, unseen = cast.vehicle, *(factories.vehicle(cast.fleet, name=name) for name in ("Sound", "Unseen"))
    worn = result(PADS, "front-left", measurement={"value": 4.0, "unit": "mm"})
    given: dict[str, Any] = {"inspected_on": date(2024, 5, 1), "shown_km": Decimal(120_000)}
    inspect(cast.access, found, result(grade="major"), worn, **given)
    inspect(cast.access, sound, result(), **given)
    return [found, sound, unseen]


def test_together_as_alone(cast: Cast, vehicles: list[Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(left, "_CELLS_AT_ONCE", 1)
    keys = [vehicle.pk for vehicle in vehicles]
    verdicts, backlogs = decide(load_batch(cast.fleet, keys, ON))
    for index, key in enumerate(keys):
        alone = decide(load_batch(cast.fleet, [key], ON))
        assert verdicts.documents[index] == alone[0].documents[0]
        assert backlogs.documents[index] == alone[1].documents[0]


def test_each_part_that_somebody_asks_about_is_worked_out_once(
    cast: Cast, vehicles: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = load_batch(cast.fleet, [vehicle.pk for vehicle in vehicles], ON)
    wanted = Deciding(batch).wanted
    seen: list[int] = []
    whole = left.residuals_at

    def noted(of: Any, rows: Any) -> Any:
        seen.extend(rows.tolist())
        return whole(of, rows)

    monkeypatch.setattr(left, "residuals_at", noted)
    decide(batch)
    assert len(seen) == len(set(seen))
    assert set(np.flatnonzero(wanted).tolist()) <= set(seen)
    assert len(seen) < len(wanted)
