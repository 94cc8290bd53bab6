"""The judge as a use-case: condition of a batch of vehicles, stored and answered."""

import dataclasses
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
import orjson

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Standing, Vehicle
from fleetcare.fleet.services.standings import store_standings
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import Money, rounded_minor
from inspections.catalogue.loader import default_catalogue
from inspections.core.life_factor import on_the_books_clock, on_their_own_clock
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.plausible_lives import PlausibleLives
from inspections.core.score import Scores, score_vehicles
from inspections.core.score_table import TYPICAL_KM_PER_YEAR, ScoreTable, build_score_table
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, LifeBook, Looks, Residuals
from inspections.core.yearly_cost import next_year_cost
from inspections.models import Assessment, Finding, ScorePoint
from inspections.selectors import stored_assessment
from inspections.services.beliefs import reference_book
from inspections.services.costs import fleet_costs, reference_costs
from inspections.services.happenings import announce_bans
from inspections.services.history import Batch, load_batch

Json = dict[str, Any]
DISCLAIMER = (
    "An aid, no certificate: local inspection rules, the maker's data and a licensed technician come first. "
    "It rests only on what was examined and entered."
)
_CELLS_AT_ONCE = 2_048
_DANGEROUS = int(Grade.DANGEROUS)


@dataclass(frozen=True, slots=True)
class Verdicts:
    """What the judge says of a batch, vehicle by vehicle in its order."""

    batch: Batch
    scores: Scores
    next_year_minor: FloatArray
    digests: tuple[str, ...]
    documents: tuple[Json, ...]
    residuals_of: Callable[[IntArray], Residuals]
    """What is left of the life of the cells at these rows."""


@lru_cache(maxsize=1)
def score_table() -> ScoreTable:
    """What each grade means for the score, at the reference price level."""
    return build_score_table(reference_book(), reference_costs(), scale_minor=_score_scale_minor())


def _score_scale_minor() -> float:
    """The yearly loss that takes the score from 100 to 37, in cents at the reference price level.

    It keeps a proportion: 2,500 euros where letting every part run to failure costs 4,470 euros a year, which is what
    a world of 67 parts came to in simulation. A catalogue that tells more parts apart must not make vehicles look
    worse.
    """
    catalogue, book, costs = default_catalogue(), reference_book(), reference_costs()
    slots = np.array(catalogue.applicable_slots({}))
    clock_km_per_year = book.clock_km(slots, np.full(len(slots), TYPICAL_KM_PER_YEAR), np.ones(len(slots)))
    run_to_failure = float((clock_km_per_year / book.life_km[slots] * costs.failure_minor[slots]).sum())
    return 2_500.0 / 4_470.0 * run_to_failure


def judge(batch: Batch) -> Verdicts:
    """Condition of every vehicle of a batch; computing only, nothing is stored."""

    residuals_of = _residuals_of(batch)
    scores = score_vehicles(score_table(), batch.cells, batch.last_grade, batch.since_look_km, len(batch.vehicles))
    yearly = _next_year_minor(batch, residuals_of)
    digests = tuple(
        _digest(batch, vehicle, float(factor))
        for vehicle, factor in zip(batch.vehicles, batch.life_factor, strict=True)
    )
    documents = tuple(_documents(batch, scores, yearly))
    return Verdicts(batch, scores, yearly, digests, documents, residuals_of)


def _residuals_of(batch: Batch) -> Callable[[IntArray], Residuals]:
    """What is left of any cells: of a few vehicles computed once, of many when asked, so that memory stays flat."""
    every = np.arange(len(batch.cells.slot))
    if len(every) > _CELLS_AT_ONCE:
        return lambda rows: residuals_at(batch, rows)
    whole = residuals_at(batch, every)

    def kept(rows: IntArray) -> Residuals:
        if len(rows) == len(every):
            return whole
        return Residuals(*(getattr(whole, field.name)[rows] for field in dataclasses.fields(Residuals)))

    return kept


def residuals_at(batch: Batch, rows: IntArray) -> Residuals:
    """What is left of the cells at `rows` (ascending): by measurement where there is one, else by eye and age."""
    cells, looks = _subset(batch, rows)
    factor = batch.life_factor[cells.vehicle]
    on_book = on_the_books_clock(cells, looks, factor)
    left = residuals_by_life_filter(batch.book, *on_book, lives=_lives_of(batch.book))
    by_eye = on_their_own_clock(left, factor)
    place = np.searchsorted(batch.measured.cell, rows)
    place = np.minimum(place, max(len(batch.measured.cell) - 1, 0))
    if not len(batch.measured.cell):
        return by_eye
    known = np.flatnonzero(batch.measured.cell[place] == rows)
    by_figure = batch.measured.residuals(place[known], by_eye.weight.shape[1])
    for field in dataclasses.fields(Residuals):
        getattr(by_eye, field.name)[known] = getattr(by_figure, field.name)
    return by_eye


_lives: dict[bytes, PlausibleLives] = {}
_LIVES_KEPT = 8
"""About 12 MB each; fleets that learned nothing share the catalogue's."""


def _lives_of(book: LifeBook) -> PlausibleLives:
    """The plausible lives of a book, kept between batches."""
    key = book.life_km.tobytes() + book.life_cv.tobytes() + book.pf_km.tobytes()
    if key not in _lives:
        if len(_lives) >= _LIVES_KEPT:
            _lives.clear()
        _lives[key] = PlausibleLives.of(book)
    return _lives[key]


def yearly_minor(batch: Batch, rows: IntArray, residuals: Residuals) -> FloatArray:
    """Expected cost of the next twelve months of each cell at `rows`, at its vehicle's own use; the fleet's money."""
    cells = cells_at(batch.cells, rows)
    driven = batch.km_per_year[cells.vehicle] / 12.0 / cells.clock_km_per_month
    return next_year_cost(residuals, fleet_costs(batch.prices), cells, driven_km_per_clock_km=driven)


def cells_at(cells: Cells, rows: IntArray) -> Cells:
    """The cells at `rows`."""
    return Cells(*(getattr(cells, field.name)[rows] for field in dataclasses.fields(Cells)))


def _subset(batch: Batch, rows: IntArray) -> tuple[Cells, Looks]:
    """The cells at `rows` (ascending) and the looks at them, renumbered."""
    looks = batch.looks
    place = np.minimum(np.searchsorted(rows, looks.cell), max(len(rows) - 1, 0))
    inside = rows[place] == looks.cell if len(rows) else np.zeros(len(looks.cell), dtype=bool)
    return cells_at(batch.cells, rows), Looks(place[inside], looks.clock_km[inside], looks.grade[inside])


def _next_year_minor(batch: Batch, residuals_of: Callable[[IntArray], Residuals]) -> FloatArray:
    """Expected cost of the next twelve months at each vehicle's own use, shape (V,), minor units of the fleet."""
    total = np.zeros(len(batch.vehicles))
    for start in range(0, len(batch.cells.slot), _CELLS_AT_ONCE):
        rows = np.arange(start, min(start + _CELLS_AT_ONCE, len(batch.cells.slot)))
        np.add.at(total, batch.cells.vehicle[rows], yearly_minor(batch, rows, residuals_of(rows)))
    return total


def _digest(batch: Batch, vehicle: Vehicle, life_factor: float) -> str:
    """What the verdict rests on: catalogue, learned lives, prices and rules, everything written, the day."""
    fleet = batch.fleet
    inputs = [
        batch.catalogue.digest,
        hashlib.sha256(batch.book.life_km.tobytes() + batch.book.life_cv.tobytes()).hexdigest(),
        life_factor,
        str(vehicle.pk),
        vehicle.standing.revision,
        batch.on,
        batch.prices.key,
        fleet.limit_scheme,
    ]
    return hashlib.sha256(orjson.dumps(inputs)).hexdigest()


def _documents(batch: Batch, scores: Scores, yearly: FloatArray) -> list[Json]:
    starts = np.searchsorted(batch.cells.vehicle, np.arange(len(batch.vehicles) + 1))
    return [
        _document(batch, scores, index, rounded_minor(float(yearly[index])), range(starts[index], starts[index + 1]))
        for index in range(len(batch.vehicles))
    ]


def _document(batch: Batch, scores: Scores, index: int, yearly_minor: int, rows: range) -> Json:
    contributions = [_contribution(batch, scores, row) for row in rows if scores.points[row] > 0]
    contributions.sort(key=lambda entry: (-entry["points"], entry["part"], entry["position"] or ""))
    score = round(float(scores.score[index]), 4)
    if contributions:
        # Points and score add up to 100 as they are shown: the largest takes the rounding.
        rounding = 100.0 - score - sum(entry["points"] for entry in contributions)
        contributions[0]["points"] = round(contributions[0]["points"] + rounding, 4)
    return {
        "score": score,
        "interval": {
            "low": round(float(scores.low[index]), 1),
            "high": round(float(scores.high[index]), 1),
            "level": 0.8,
        },
        "coverage_fraction": round(float(scores.coverage_fraction[index]), 4),
        "worst_grade": _worst(scores, index).word,
        "do_not_drive": bool(scores.do_not_drive[index]),
        "dangers": [_danger(batch, row) for row in rows if _is_danger(batch, row)],
        "next_year_cost": Money(yearly_minor, batch.fleet.currency).as_json(),
        "contributions": contributions,
        "as_of": batch.on.isoformat(),
        "disclaimer": DISCLAIMER,
    }


def _worst(scores: Scores, index: int) -> Grade:
    """Sound where nothing bad was seen, also where nothing was looked at: coverage says how much that means."""
    return Grade(max(int(scores.worst_grade[index]), 0))


def _contribution(batch: Batch, scores: Scores, row: int) -> Json:
    slot = batch.catalogue.slots[int(batch.cells.slot[row])]
    grade = int(batch.last_grade[row])
    return {
        "system": batch.catalogue.system_of_part[slot.part_key],
        "part": slot.part_key,
        "title": batch.catalogue.parts[slot.part_key].title,
        "position": slot.position or None,
        "grade": None if grade == NEVER_LOOKED else Grade(grade).word,
        "points": round(float(scores.points[row]), 4),
        "since_look_km": None if grade == NEVER_LOOKED else round(float(batch.since_look_km[row])),
        "reason": _reason(grade, float(batch.since_look_km[row])),
    }


def _reason(grade: int, since_km: float) -> str:
    if grade == NEVER_LOOKED:
        return "never examined: what such a part usually costs"
    ago = "just now" if since_km < 500 else f"{round(since_km, -2):,.0f} km of wear ago"
    return f"seen {Grade(grade).word} {ago}"


def _is_danger(batch: Batch, row: int) -> bool:
    if batch.last_grade[row] != _DANGEROUS:
        return False
    return batch.catalogue.parts[batch.catalogue.slots[int(batch.cells.slot[row])].part_key].safety


def _danger(batch: Batch, row: int) -> Json:
    slot = batch.catalogue.slots[int(batch.cells.slot[row])]
    part = batch.catalogue.parts[slot.part_key]
    return {
        "part": part.key,
        "title": part.title,
        "position": slot.position or None,
        "why": f"{part.title} was seen dangerous. If it fails: {part.failure.what}",
    }


def store_verdicts(verdicts: Verdicts) -> None:
    """Stores assessments, score points and what lists show; call inside a transaction. Constant statements."""
    batch = verdicts.batch
    rows = [
        Assessment(
            fleet=batch.fleet,
            vehicle=vehicle,
            as_of=batch.on,
            revision=vehicle.standing.revision,
            digest=digest,
            condition=document,
        )
        for vehicle, digest, document in zip(batch.vehicles, verdicts.digests, verdicts.documents, strict=True)
    ]
    Assessment.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["vehicle"],
        update_fields=["as_of", "revision", "digest", "condition"],
    )
    _store_points(verdicts)
    _store_standings(verdicts)


def _store_points(verdicts: Verdicts) -> None:
    batch, scores = verdicts.batch, verdicts.scores
    points = [
        ScorePoint(
            fleet=batch.fleet,
            vehicle=vehicle,
            as_of=batch.on,
            score=verdicts.documents[index]["score"],
            score_low=float(scores.low[index]),
            score_high=float(scores.high[index]),
            coverage_fraction=float(scores.coverage_fraction[index]),
        )
        for index, vehicle in enumerate(batch.vehicles)
    ]
    ScorePoint.objects.bulk_create(
        points,
        update_conflicts=True,
        unique_fields=["fleet", "vehicle", "as_of"],
        update_fields=["score", "score_low", "score_high", "coverage_fraction"],
    )


def _store_standings(verdicts: Verdicts) -> None:
    batch = verdicts.batch
    counts: dict[Any, int] = {}
    open_rows = Finding.objects.within(batch.fleet).filter(vehicle__in=batch.vehicles, closed_on=None)
    for vehicle_id in open_rows.values_list("vehicle_id", flat=True):
        counts[vehicle_id] = counts.get(vehicle_id, 0) + 1
    fields = [
        "score", "score_low", "score_high", "coverage_fraction", "worst_grade", "do_not_drive", "open_findings",
        "next_year_cost_minor", "assessed_revision", "assessed_on",
    ]  # fmt: skip
    announce_bans(batch.fleet, zip(batch.vehicles, verdicts.documents, strict=True))
    for index, vehicle in enumerate(batch.vehicles):
        standing, document = vehicle.standing, verdicts.documents[index]
        standing.score, standing.coverage_fraction = document["score"], document["coverage_fraction"]
        standing.score_low, standing.score_high = document["interval"]["low"], document["interval"]["high"]
        standing.worst_grade = int(_worst(verdicts.scores, index))
        standing.do_not_drive = document["do_not_drive"]
        standing.open_findings = counts.get(vehicle.pk, 0)
        standing.next_year_cost_minor = rounded_minor(float(verdicts.next_year_minor[index]))
        standing.assessed_revision, standing.assessed_on = standing.revision, batch.on
    store_standings([vehicle.standing for vehicle in batch.vehicles], fields)


def is_fresh(standing: Standing, revision: int, as_of: date, on: date) -> bool:
    """Whether something stored rests on everything written, and on today."""
    return revision == standing.revision and as_of >= on


def current_condition(access: Access, vehicle: Vehicle) -> Json:
    """The condition as stored, or computed for this answer where it is older than the last write or today.

    So a reader who has just written sees the effect at once, and reading never writes.
    """
    on = today(access.fleet)
    stored = stored_assessment(access, vehicle)
    if stored is not None and is_fresh(vehicle.standing, stored.revision, stored.as_of, on):
        document: Json = stored.condition
        return document
    return judge(load_batch(access.fleet, [vehicle.pk], on)).documents[0]
