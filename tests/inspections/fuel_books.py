"""Fuel books for tests."""

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from fleetcare.support.bell import bell_held
from tests.conftest import Cast
from tests.fleetcare.fleet.given import fill

START = date(2022, 1, 1)


def fuel_book(cast: Cast, fills: Iterable[tuple[int, int, float, bool, bool]]) -> None:
    """Fills as (day from the start, total km, litres, full, missed before), without a bell for each."""
    with bell_held():
        for day, km, litres, full, missed in fills:
            fill(
                cast.access,
                cast.vehicle,
                filled_on=START + timedelta(day),
                shown_km=Decimal(km),
                litres=Decimal(str(litres)),
                full=full,
                missed_before=missed,
            )


def steady_then_thirsty(cast: Cast, weeks: int, rise: float) -> date:
    """A tank every ten days over 500 km at 7 L/100 km give or take 3 %; more by `rise` for the last third."""
    rng, since = np.random.default_rng(7), 2 * weeks // 3
    rate = 7.0 * np.exp(rng.normal(0.0, 0.03, weeks)) * np.where(np.arange(weeks) >= since, 1.0 + rise, 1.0)
    fuel_book(cast, [(10 * n, 1_000 + 500 * n, round(5.0 * rate[n], 3), True, False) for n in range(weeks)])
    return START + timedelta(10 * since)
