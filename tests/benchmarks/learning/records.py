"""Fleets with a hidden truth about how long parts last, and the records that such fleets keep.

A *position* is a place on a vehicle where one part follows another. Lives are Weibull; true scale and shape of a kind
differ from the book by the spreads that the prior names. The fleet looks every so many km and so knows when a life
ended only to within a look; it follows a position for a while and then stops, with a part still running.
"""

from dataclasses import dataclass, replace
from math import gamma

import numpy as np

from inspections.core.part_ages import Ending, Histories
from inspections.core.types import FloatArray
from inspections.core.weibull import Ages

BOOK_SCALE_KM = 100_000.0
PRIOR_SD = 0.4
LARGEST_LIVES = 14
"""Parts a position can need while it is followed."""


@dataclass(frozen=True, slots=True)
class Truth:
    """Log scale and log shape of each kind, shape (G,)."""

    log_scale: FloatArray
    log_shape: FloatArray


def draw_truth(rng: np.random.Generator, kinds: int) -> Truth:
    """Kinds whose lives are off the book as the prior believes."""
    return Truth(np.log(BOOK_SCALE_KM) + rng.normal(0.0, PRIOR_SD, kinds), rng.normal(np.log(3.0), 0.35, kinds))


def looked_at_records(
    rng: np.random.Generator, truth: Truth, records: int, followed_km: float, look_km: float = 10_000.0
) -> Ages:
    """`records` lives of each kind, picked at random from positions followed for `followed_km` from new."""
    kinds = len(truth.log_scale)
    positions = max(3 * records, 30)
    shape = np.exp(truth.log_shape)[:, None, None]
    life = np.exp(truth.log_scale)[:, None, None] * rng.weibull(
        np.broadcast_to(shape, (kinds, positions, LARGEST_LIVES))
    )
    fitted = np.cumsum(life, axis=2) - life
    first_look = rng.uniform(0.0, look_km, (kinds, positions, 1))
    before = first_look + np.floor((fitted + life - first_look) / look_km) * look_km
    last_look = first_look + np.floor((followed_km - first_look) / look_km) * look_km
    seen = before + look_km <= followed_km
    low = np.maximum(np.where(seen, before, np.minimum(last_look, before)) - fitted, 0.0)
    high = np.where(seen, before + look_km - fitted, np.inf)
    picks = [rng.permutation(np.flatnonzero(row))[:records] for row in (fitted < followed_km).reshape(kinds, -1)]
    chosen = np.concatenate([row * positions * LARGEST_LIVES + pick for row, pick in enumerate(picks)])
    group = np.repeat(np.arange(kinds), [len(pick) for pick in picks])
    return Ages(low.ravel()[chosen], high.ravel()[chosen], group)


def once_followed_records(
    rng: np.random.Generator, truth: Truth, records: int, followed_scales: float = 1.4, look_km: float = 10_000.0
) -> Ages:
    """One life each, followed from new for up to `followed_scales` times its true scale."""
    group = np.repeat(np.arange(len(truth.log_scale)), records)
    scale = np.exp(truth.log_scale)[group]
    life = scale * rng.weibull(np.exp(truth.log_shape)[group])
    followed = rng.uniform(0.0, followed_scales, len(group)) * scale
    before = np.floor(life / look_km) * look_km
    seen = before + look_km <= followed
    low = np.where(seen, before, np.minimum(before, np.floor(followed / look_km) * look_km))
    return Ages(low, np.where(seen, before + look_km, np.inf), group)


def ended_only(ages: Ages) -> Ages:
    """The classical error: middles of the spans in which lives ended, parts that still run forgotten."""
    ended = np.isfinite(ages.high_km)
    middle = 0.5 * (ages.low_km[ended] + ages.high_km[ended])
    return Ages(middle, middle, ages.group[ended])


@dataclass(frozen=True, slots=True)
class Habits:
    """How a fleet keeps its vehicles and its papers."""

    dates_known_fraction: float = 0.5
    """Chance that the fitting of a part that came with the vehicle is on paper."""
    reasons_known_fraction: float = 1.0
    found_by_looking_fraction: float = 0.5
    """Positions whose parts are found worn out; the others fail on the road."""
    renewed_early_fraction: float = 0.3
    """Parts for which a date of renewal is set regardless of their state, up to three times the life's scale."""
    followed_km: float = 100_000.0
    look_km: float = 10_000.0
    looks_on_record: bool = True
    """Else nobody writes down what was still good: a part worn out was noticed, within `look_km` of its end."""


def kept_histories(rng: np.random.Generator, truth: Truth, positions: int, habits: Habits) -> Histories:
    """What a fleet writes down of `positions` positions of each kind, on vehicles bought used.

    The vehicle's first owners renewed parts as they ended or on a date; the fleet joins at 30 000 to 220 000 km.
    """
    rows: list[tuple[float, ...]] = []
    for kind in range(len(truth.log_scale)):
        for _ in range(positions):
            rows += _position(
                rng, kind, float(np.exp(truth.log_scale[kind])), float(np.exp(truth.log_shape[kind])), habits
            )
    kind, fitted, first, good, ended, ending = np.array(rows).T
    kept = Histories(kind.astype(np.int64), fitted, first, good, ended, ending.astype(np.int64))
    return kept if habits.looks_on_record else without_looks(kept)


def without_looks(kept: Histories) -> Histories:
    """The same fleet had nobody looked: only fittings, removals and the latest odometer readings are on record."""
    worn = (kept.ending == Ending.WORN_OUT) | (kept.ending == Ending.UNKNOWN)
    running = np.where(kept.ending == Ending.IN_SERVICE, kept.ended_clock_km, kept.last_good_clock_km)
    return replace(kept, last_good_clock_km=np.where(worn, kept.first_seen_clock_km, running))


def _position(
    rng: np.random.Generator, kind: int, scale: float, shape: float, habits: Habits
) -> list[tuple[float, ...]]:
    joined = rng.uniform(30_000.0, 220_000.0)
    left = joined + habits.followed_km
    look = joined + rng.uniform(0.0, habits.look_km)
    by_looking = rng.random() < habits.found_by_looking_fraction
    rows: list[tuple[float, ...]] = []
    fitted = 0.0
    while fitted < left:
        dead = fitted + scale * rng.weibull(shape)
        early = fitted + rng.uniform(0.0, 3.0) * scale if rng.random() < habits.renewed_early_fraction else np.inf
        found = (
            look + np.ceil((dead - look) / habits.look_km) * habits.look_km if by_looking and dead > joined else dead
        )
        off = min(found, early)
        if off > joined:
            rows.append(_record(rng, kind, fitted, dead, off, early, joined, left, look, by_looking, habits))
        fitted = off
    return rows


def _record(
    rng: np.random.Generator,
    kind: int,
    fitted: float,
    dead: float,
    off: float,
    early: float,
    joined: float,
    left: float,
    look: float,
    by_looking: bool,
    habits: Habits,
) -> tuple[float, ...]:
    first = max(fitted, joined)
    known = fitted >= joined or rng.random() < habits.dates_known_fraction
    last = look + np.floor((min(dead, left) - look) / habits.look_km) * habits.look_km
    good = min(max(last, first), off, left)
    ending = Ending.WORN_OUT if by_looking else Ending.FAILED
    if off > left:
        ending = Ending.IN_SERVICE
        good = good if by_looking else left
    elif off == early:
        # what comes off is looked at: worn out unseen, or good still
        ending = Ending.WORN_OUT if dead < early else Ending.RENEWED_EARLY
        good = good if dead < early else off
    if ending != Ending.IN_SERVICE and rng.random() > habits.reasons_known_fraction:
        ending = Ending.UNKNOWN
    return (kind, fitted if known else np.nan, first, good, min(off, left), ending)


def book_life_km(shape: float = 3.0) -> float:
    """The mean life that the book states."""
    return BOOK_SCALE_KM * gamma(1.0 + 1.0 / shape)
