"""A vehicle's condition as a document: score, what takes points from it and why, dangers, and what the year costs."""

from typing import Any

import numpy as np

from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import Money, rounded_minor
from inspections.core.score import Scores
from inspections.core.types import NEVER_LOOKED, FloatArray
from inspections.services.history import Batch

Json = dict[str, Any]
DISCLAIMER = (
    "An aid, no certificate: local inspection rules, the maker's data and a licensed technician come first. "
    "It rests only on what was examined and entered."
)
_DANGEROUS = int(Grade.DANGEROUS)


def condition_documents(batch: Batch, scores: Scores, yearly: FloatArray) -> list[Json]:
    """One document a vehicle of the batch, in its order; `yearly`, (V,), is what the year costs in minor units."""
    starts = np.searchsorted(batch.cells.vehicle, np.arange(len(batch.vehicles) + 1)).tolist()
    told = _Told(batch, scores)
    return [
        _document(told, index, rounded_minor(minor), range(starts[index], starts[index + 1]))
        for index, minor in enumerate(yearly.tolist())
    ]


class _Told:
    """A batch with what is told of each cell as plain lists: looking up an array cell by cell takes longer."""

    def __init__(self, batch: Batch, scores: Scores) -> None:
        self.batch, self.scores = batch, scores
        self.slot = batch.cells.slot.tolist()
        self.grade = batch.last_grade.tolist()
        self.points = [round(points, 4) for points in scores.points.tolist()]
        self.counts = (scores.points > 0).tolist()
        self.since_km = batch.since_look_km.tolist()
        self.dangers = _danger_rows(batch)


def _document(told: _Told, index: int, yearly_minor: int, rows: range) -> Json:
    batch, scores = told.batch, told.scores
    contributions = [_contribution(told, row) for row in rows if told.counts[row]]
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
        "worst_grade": worst_seen(scores, index).word,
        "do_not_drive": bool(scores.do_not_drive[index]),
        "dangers": [_danger(batch, row) for row in told.dangers if row in rows],
        "next_year_cost": Money(yearly_minor, batch.fleet.currency).as_json(),
        "contributions": contributions,
        "as_of": batch.on.isoformat(),
        "disclaimer": DISCLAIMER,
    }


def worst_seen(scores: Scores, index: int) -> Grade:
    """Sound where nothing bad was seen, also where nothing was looked at: coverage says how much that means."""
    return Grade(max(int(scores.worst_grade[index]), 0))


def _contribution(told: _Told, row: int) -> Json:
    catalogue, grade, since_km = told.batch.catalogue, told.grade[row], told.since_km[row]
    slot = catalogue.slots[told.slot[row]]
    never = grade == NEVER_LOOKED
    return {
        "system": catalogue.system_of_part[slot.part_key],
        "part": slot.part_key,
        "title": catalogue.parts[slot.part_key].title,
        "position": slot.position or None,
        "grade": None if never else _WORDS[grade],
        "points": told.points[row],
        "since_look_km": None if never else round(since_km),
        "reason": _NEVER_SEEN if never else _reason(grade, since_km),
    }


_WORDS = {int(grade): grade.word for grade in Grade}
_NEVER_SEEN = "never examined: what such a part usually costs"


def _reason(grade: int, since_km: float) -> str:
    ago = "just now" if since_km < 500 else f"{round(since_km, -2):,.0f} km of wear ago"
    return f"seen {_WORDS[grade]} {ago}"


def _danger_rows(batch: Batch) -> list[int]:
    """Cells of safety parts last seen dangerous."""
    parts, slots = batch.catalogue.parts, batch.catalogue.slots
    worst = np.flatnonzero(batch.last_grade == _DANGEROUS).tolist()
    return [row for row in worst if parts[slots[int(batch.cells.slot[row])].part_key].safety]


def _danger(batch: Batch, row: int) -> Json:
    slot = batch.catalogue.slots[int(batch.cells.slot[row])]
    part = batch.catalogue.parts[slot.part_key]
    return {
        "part": part.key,
        "title": part.title,
        "position": slot.position or None,
        "why": f"{part.title} was seen dangerous. If it fails: {part.failure.what}",
    }
