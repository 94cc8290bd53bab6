"""What is left of each part's life, given every look at it: a Bayesian filter over a fixed set of plausible lives.

Each life p of a slot (see `plausible_lives`) starts with its prior weight, known fittings at age 0, unknown ones at
an age of their own (see `as_bought`), parts with a finding where the finding puts them (see `lives_at_finding`). With
position x on the life's clock and thresholds c_1 < c_2 < c_3 < c_4:

    F_k(x)    = 1 / (1 + exp((c_k - x) / smoothing))             has threshold k been passed, k = 1, 2, 3
    each look   weight *= sum over states of P(state | x) P(seen | state)
                       = step_0 + step_1 F_1 + step_2 F_2 + step_3 F_3          (see `looking`)
    alive now   weight *= 1[c_4 > x_now]

and what remains is normalised. This is the forward step of a hidden Markov model whose hidden path is one of P lives,
exact for that set, whatever the number and order of looks; the family of lives is that of delay-time models
(Christer & Waller, J. Opl Res. Soc. 35, 1984). A part that has outlived every life of the book must have been renewed
unnoticed: it is taken as bought at its last look and, if it has outlived that too, as bought today.

The exponential of a logistic splits into one factor for the life and one for the look,
F_k = u / (u + v_k) with u = exp((x - centre) / smoothing) and v_k likewise of c_k, so that a look at 360 lives costs
360 x 3 divisions and no exponential. Every life of every part is computed by itself: neither the order of the parts
nor the company they come in changes a digit.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.core.as_bought import ages_at_start
from inspections.core.lives_at_finding import positions_at_finding
from inspections.core.looking import seen_steps
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.types import BoolArray, Cells, FloatArray, IntArray, LifeBook, Looks, Residuals

LOOKS_BETWEEN_NORMALISING = 32
"""Before a long record of odd looks could underflow."""
LEAST_STANDING = 1e-9
"""Chance, under the book, of having lasted so long, below which a part is no longer believed to be the same one."""
PARTS_AT_ONCE = 64
"""Rows of lives worked on together, so that they stay in the processor's cache."""

_RELATIVE_STEPS = seen_steps()[:, 1:] / seen_steps()[:, :1]


@dataclass(frozen=True, slots=True)
class _Records:
    """What is on record of each part (K) and look (N), made ready for its row of lives."""

    row: IntArray
    unknown: BoolArray
    """True where the part was as bought when its record started, of an age that only its lives know."""
    start_km: FloatArray
    """Clock when the record starts: the fitting, or else the first look, or else now."""
    driven_km: FloatArray
    """Clock since the start."""
    found_after_km: FloatArray
    """Clock from the start to the last look that found a defect; NaN where none did."""
    first_look: IntArray
    looks: IntArray
    growth: FloatArray
    """exp((position - centre) / smoothing) of each look, position from the start."""
    step: FloatArray
    """What the grade seen says, shape (N, 3): steps 1 to 3 of `looking.seen_steps` over step 0."""


def residuals_by_life_filter(
    book: LifeBook, cells: Cells, looks: Looks, *, lives: PlausibleLives | None = None
) -> Residuals:
    """What is left of each part's life, shape (K, 360), from its fitting and every look at it.

    `looks` must be sorted by cell (ValueError otherwise); those up to a known fitting were at the part before and
    are left out. `lives` are the plausible lives of the whole book, if the caller keeps them between batches. The
    answer takes 14 kB a part: judge a large fleet in batches (see `batches`).
    """
    if np.any(np.diff(looks.cell) < 0):
        raise ValueError("Looks must be sorted by cell.")
    looks = _at_fitted_part(cells, looks)
    row = _rows(book, cells, looks)
    looks = _telling(book, row, looks)
    whole = lives
    if lives is None:
        used, row = np.unique(row, return_inverse=True)
        lives = PlausibleLives.of_rows(book, used)
    found, outlived = _filtered(lives, _records(lives, row, cells, looks))
    if len(outlived):
        _fill(found, outlived, residuals_by_life_filter(book, *_as_bought(cells, looks, outlived), lives=whole))
    return found


def distances_km(residuals: Residuals) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The distances of `Residuals` in order: to minor, major, dangerous and failure."""
    return residuals.to_minor_km, residuals.to_major_km, residuals.to_dangerous_km, residuals.to_failure_km


def _at_fitted_part(cells: Cells, looks: Looks) -> Looks:
    return _some(looks, ~(looks.clock_km <= cells.fitted_clock_km[looks.cell]))


def _rows(book: LifeBook, cells: Cells, looks: Looks) -> IntArray:
    """Row of `PlausibleLives` of each part: a second row of its slot if a sign was seen where none should be."""
    hidden = book.pf_km[cells.slot] <= 0.0
    surprised = np.zeros(len(cells.slot), dtype=np.bool_)
    surprised[looks.cell[looks.grade > Grade.SOUND]] = True
    return np.where(hidden & surprised, cells.slot + len(book.life_km), cells.slot)


def _telling(book: LifeBook, row: IntArray, looks: Looks) -> Looks:
    """Leaves out looks at parts that show nothing before they fail."""
    hidden = (row < len(book.life_km)) & (book.pf_km[row % len(book.life_km)] <= 0.0)
    return _some(looks, ~hidden[looks.cell])


def _some(looks: Looks, wanted: BoolArray) -> Looks:
    return looks if wanted.all() else Looks(looks.cell[wanted], looks.clock_km[wanted], looks.grade[wanted])


def _records(lives: PlausibleLives, row: IntArray, cells: Cells, looks: Looks) -> _Records:
    bounds = np.searchsorted(looks.cell, np.arange(len(row) + 1))
    unknown = np.isnan(cells.fitted_clock_km)
    start = np.where(unknown, cells.now_clock_km, cells.fitted_clock_km)
    seen_as_bought = np.flatnonzero(unknown & (bounds[1:] > bounds[:-1]))
    start[seen_as_bought] = looks.clock_km[bounds[seen_as_bought]]
    return _Records(
        row=row,
        unknown=unknown,
        start_km=start,
        driven_km=cells.now_clock_km - start,
        found_after_km=_last_finding_km(len(row), looks) - start,
        first_look=bounds[:-1],
        looks=np.diff(bounds),
        growth=lives.growth_of(row[looks.cell], looks.clock_km - start[looks.cell]),
        step=_RELATIVE_STEPS[looks.grade],
    )


def _last_finding_km(parts: int, looks: Looks) -> FloatArray:
    """Clock at the last look that found a defect, shape (K,); NaN where none did."""
    clock = np.full(parts, np.nan)
    found = looks.grade > Grade.SOUND
    clock[looks.cell[found]] = looks.clock_km[found]
    return clock


def _filtered(lives: PlausibleLives, records: _Records) -> tuple[Residuals, IntArray]:
    """What is left of each part's life, and which parts have outlived all their lives (no answer for these)."""
    shape = (len(records.row), len(lives.weight))
    found = Residuals(*np.empty((5, *shape)))  # one block: the system hands out large ones in large pages
    outlived = [_filter_alike(lives, records, run, found) for run in _runs(records)]
    return found, np.concatenate([np.zeros(0, dtype=np.int64), *outlived])


def _runs(records: _Records) -> Iterator[IntArray]:
    """The parts in runs that start alike, so that no step has to pick some of its rows out.

    Parts with most looks go first, so that later looks are at a leading run of rows.
    """
    kind = np.where(np.isnan(records.found_after_km), records.unknown, 2)
    order = np.lexsort((records.row, -records.looks, kind))
    edges = np.flatnonzero(np.diff(kind[order])) + 1
    for alike in np.split(order, edges):
        for first in range(0, len(alike), PARTS_AT_ONCE):
            yield alike[first : first + PARTS_AT_ONCE]


def _filter_alike(lives: PlausibleLives, records: _Records, part: IntArray, found: Residuals) -> IntArray:
    """Fills the rows `part` of `found`, see `_runs`, and returns those that have outlived all their lives."""
    row, looks = records.row[part], records.looks[part]
    left = [threshold.take(row, axis=0) for threshold in lives.threshold_km]
    weight, position = _started(lives, records, part, left)
    seen = int(np.searchsorted(-looks, 0))
    growth = _growth(lives, records, part[:seen], position[:seen], left) if seen else None
    position = position + records.driven_km[part, None]
    for each in left:
        each -= position
    weight = weight * (left[3] > 0.0)
    bought_today = records.unknown[part] & (looks == 0)
    outlived = (weight.sum(axis=1) < LEAST_STANDING) & ~bought_today
    weight[outlived] = 1.0
    if growth is not None:
        weight[:seen] *= _likelihood_of_looks(growth, records, part[:seen])
    weight *= 1.0 / weight.sum(axis=1, keepdims=True)
    found.weight[part] = weight
    for target, each in zip(distances_km(found), left, strict=True):
        target[part] = np.maximum(each, 0.0, out=each)
    return np.asarray(part[outlived])


def _fill(found: Residuals, part: IntArray, answer: Residuals) -> None:
    for name in Residuals.__slots__:
        getattr(found, name)[part] = getattr(answer, name)


def _as_bought(cells: Cells, looks: Looks, part: IntArray) -> tuple[Cells, Looks]:
    """Parts taken as bought at their last look; where that was already so, as bought today, with no look left."""
    bounds = np.searchsorted(looks.cell, part), np.searchsorted(looks.cell, part, side="right")
    count = bounds[1] - bounds[0]
    kept = np.flatnonzero((count > 1) | ((count == 1) & ~np.isnan(cells.fitted_clock_km[part])))
    last = bounds[1][kept] - 1
    unknown = Cells(
        cells.vehicle[part],
        cells.slot[part],
        np.full(len(part), np.nan),
        cells.now_clock_km[part],
        cells.clock_km_per_month[part],
    )
    return unknown, Looks(kept, looks.clock_km[last], looks.grade[last])


def _started(
    lives: PlausibleLives, records: _Records, part: IntArray, threshold: list[FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Weight (n, P), or (1, P) for all alike, and position (n, P) or (n, 1) of each life at the record's start."""
    row, unknown, found_after = records.row[part], records.unknown[part], records.found_after_km[part]
    start = np.minimum(records.start_km[part], lives.oldest_km[row])
    if not np.isnan(found_after[0]):
        position, weight = positions_at_finding(lives, row, unknown, start, found_after)
    elif unknown[0]:
        position, weight = ages_at_start(threshold[3], lives.weight, lives.age_fraction, start)
    else:
        position, weight = np.zeros((len(part), 1)), lives.weight[None, :]
    return weight, position


def _growth(
    lives: PlausibleLives, records: _Records, part: IntArray, position: FloatArray, threshold: list[FloatArray]
) -> FloatArray:
    """exp((threshold - centre) / smoothing) of three thresholds, (n, 3, P), thresholds from the record's start.

    `threshold` from fitting, at least n rows. Without a finding the start lies so near to fitting that one factor
    moves all three; the lives moved to a finding may be too far from it for their exponential to be kept.
    """
    row = records.row[part]
    if not np.isnan(records.found_after_km[part[0]]):
        return lives.growth_of(row, np.stack([each[: len(part)] - position for each in threshold[:3]], axis=1))
    growth = lives.growth.take(row, axis=0)
    if records.unknown[part[0]]:
        growth *= np.exp(position * (-1.0 / lives.smoothing_km[row, None]))[:, None]
    return growth


def _likelihood_of_looks(growth: FloatArray, records: _Records, part: IntArray) -> FloatArray:
    """Likelihood of all looks at each part, (n, P), up to a factor; `part` have looks, the most seen first."""
    counts, room = records.looks[part], np.empty_like(growth)
    whole = _likelihood(records, records.first_look[part], growth, room)
    for rank in range(1, int(counts[0])):
        several = int(np.searchsorted(-counts, -rank))
        look = records.first_look[part[:several]] + rank
        whole[:several] *= _likelihood(records, look, growth[:several], room[:several])
        if rank % LOOKS_BETWEEN_NORMALISING == 0:
            whole[:several] /= whole[:several].max(axis=1, keepdims=True)
    return whole


def _likelihood(records: _Records, look: IntArray, growth: FloatArray, room: FloatArray) -> FloatArray:
    """Likelihood over step 0 of one look a part, (n, P): 1 + sum of step_k / step_0 u / (u + v_k).

    `growth` are the v_k, (n, 3, P); `room` of the same shape is written over.
    """
    reach = records.growth[look, None]
    np.add(growth, reach[:, None], out=room)
    np.reciprocal(room, out=room)
    likelihood: FloatArray = np.matmul((records.step[look] * reach)[:, None], room)[:, 0]
    likelihood += 1.0
    return likelihood
