"""How far a look can be trusted: what is seen of a part, given the state it is in.

The chances of missing a defect altogether (22 % of minor, 6 % of major, 3 % of dangerous ones seen as sound) and of
being one grade off are common practice, no source: a careful amateur with good light. With a small chance a look says
nothing about the part at all (the wrong side written down, a neighbour looked at), so that no single look, however
odd, can rule a life out.
"""

import numpy as np

from inspections.core.types import FloatArray

SEEN_GIVEN_STATE = np.array(
    [
        [0.98, 0.02, 0.00, 0.00],
        [0.22, 0.70, 0.08, 0.00],
        [0.06, 0.12, 0.75, 0.07],
        [0.03, 0.01, 0.12, 0.84],
    ]
)
"""Rows: true state sound, minor, major, dangerous; columns: grade seen. Rows sum to 1."""

ASTRAY_FRACTION = 1e-4
"""Chance that a look says nothing about the part."""

MISSED_FRACTION = 0.2
"""Chance that the first look after a part became major does not see it; the next one does."""
LOOK_EVERY_KM = 10_000.0
LOOK_MONTHS = (3.0, 24.0)


def look_interval_clock_km(
    clock_km_per_month: FloatArray, km_per_month: FloatArray, every_km: float = LOOK_EVERY_KM
) -> FloatArray:
    """Clock distance between two looks: `every_km` of the vehicle's own use, kept within 3 to 24 months.

    Shapes (K,); `km_per_month` is what the vehicle drives.
    """
    months = np.clip(every_km / np.maximum(km_per_month, 1e-9), *LOOK_MONTHS)
    return np.asarray(months * clock_km_per_month)


def first_found_km(to_major_km: FloatArray, first_look_km: FloatArray, every_km: FloatArray) -> FloatArray:
    """Clock distance to the first look after each possibility is major, (K, P), looks being at first + n * every.

    `first_look_km` and `every_km` have shape (K,); a first look of 0 is one today.
    """
    every, first = every_km[:, None], first_look_km[:, None]
    return np.asarray(first + np.maximum(np.ceil((to_major_km - first) / every), 0.0) * every)


def seen_chances() -> FloatArray:
    """P(seen | state), shape (4, 4), looks that go astray included."""
    return np.asarray((1.0 - ASTRAY_FRACTION) * SEEN_GIVEN_STATE + ASTRAY_FRACTION / len(SEEN_GIVEN_STATE))


def seen_steps() -> FloatArray:
    """The same as steps from state to state, shape (4 seen, 4): P(seen | sound), then what each worse state adds.

    With F_k the chance that threshold k is passed, P(seen) = step_0 + step_1 F_1 + step_2 F_2 + step_3 F_3.
    """
    chance = seen_chances().T
    return np.concatenate([chance[:, :1], np.diff(chance, axis=1)], axis=1)
