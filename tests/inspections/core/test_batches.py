"""Large fleets in batches of whole vehicles."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.core.batches import batches
from tests.inspections.core.mechanics_book import cells, looks


@given(st.lists(st.integers(1, 7), min_size=1, max_size=12), st.integers(1, 15))
@settings(deadline=None)
def test_every_part_and_look_comes_once_with_its_own_vehicle_whole(sizes: list[int], parts: int) -> None:
    vehicle = np.repeat(np.arange(len(sizes)), sizes)
    count = len(vehicle)
    some = cells(np.arange(count) % 5, np.arange(count) * 10.0, vehicle=vehicle)
    seen = looks(*((part, 7.0 * part + again, again) for part in range(count) for again in range(part % 3)))
    rows, clocks, cut = [], [], []
    for where, batch, at in batches(some, seen, parts=parts):
        rows += list(range(where.start, where.stop))
        clocks += list(at.clock_km)
        cut.append(set(batch.vehicle.tolist()))
        assert np.array_equal(batch.now_clock_km, some.now_clock_km[where])
        assert np.array_equal(at.clock_km // 7.0, at.cell + where.start)
        assert len(batch.slot) <= parts or len(cut[-1]) == 1
    assert rows == list(range(count))
    assert clocks == pytest.approx(seen.clock_km)
    assert sum(len(each) for each in cut) == len(sizes)


def test_no_parts_make_no_batches() -> None:
    assert list(batches(cells([], 0.0), looks())) == []
