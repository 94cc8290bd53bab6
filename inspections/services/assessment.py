"""The judge as a use-case: condition of a batch of vehicles, stored and answered."""

import dataclasses
import hashlib
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
import orjson

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Standing, Vehicle
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import rounded_minor
from inspections.catalogue.loader import default_catalogue
from inspections.core.score import Scores, score_vehicles
from inspections.core.score_table import ScoreTable, build_score_table
from inspections.core.types import FloatArray
from inspections.models import Assessment, Finding, ScorePoint
from inspections.selectors import stored_assessment
from inspections.services.beliefs import reference_book
from inspections.services.condition_documents import condition_documents, worst_seen
from inspections.services.costs import reference_costs
from inspections.services.happenings import announce_bans
from inspections.services.history import Batch, load_batch
from inspections.services.left import Watcher, next_year_minor

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Verdicts:
    """What the judge says of a batch, vehicle by vehicle in its order."""

    batch: Batch
    scores: Scores
    next_year_minor: FloatArray
    digests: tuple[str, ...]
    documents: tuple[Json, ...]


@lru_cache(maxsize=1)
def score_table() -> ScoreTable:
    """What each grade means for the score, at the reference price level."""
    table = build_score_table(reference_book(), reference_costs())
    return dataclasses.replace(table, scale_minor=_score_scale_minor(table))


SCALE_OF_ALL_MAJOR = 0.05
"""The part of the loss with every part major that takes the score from 100 to 37. Common practice, no source."""


def _score_scale_minor(table: ScoreTable) -> float:
    """The yearly loss that takes the score from 100 to 37, in cents at the reference price level.

    It keeps a proportion to what there is to lose: a twentieth of the loss with every part of a car seen major. So a
    catalogue that tells more parts apart, or thinks them dearer or longer-lived, makes no vehicle look worse or better.
    """
    slots = np.array(default_catalogue().applicable_slots({}))
    return SCALE_OF_ALL_MAJOR * float(table.fresh_loss(slots)[:, Grade.MAJOR].sum())


def judge(batch: Batch, watcher: Watcher | None = None) -> Verdicts:
    """Condition of every vehicle of a batch; computing only, nothing is stored.

    A `watcher` is shown what is left of the parts that it names.
    """
    scores = score_vehicles(score_table(), batch.cells, batch.last_grade, batch.since_look_km, len(batch.vehicles))
    yearly = next_year_minor(batch, watcher)
    documents = tuple(condition_documents(batch, scores, yearly))
    return Verdicts(batch, scores, yearly, _digests(batch), documents)


def _digests(batch: Batch) -> tuple[str, ...]:
    """What each verdict rests on: catalogue, learned lives, prices and rules, everything written, the day."""
    lives = hashlib.sha256(batch.book.life_km.tobytes() + batch.book.life_cv.tobytes()).hexdigest()
    inputs = (
        [
            batch.catalogue.digest,
            lives,
            factor,
            str(vehicle.pk),
            vehicle.standing.revision,
            batch.on,
            batch.prices.key,
            batch.fleet.limit_scheme,
        ]
        for vehicle, factor in zip(batch.vehicles, batch.life_factor.tolist(), strict=True)
    )
    return tuple(hashlib.sha256(orjson.dumps(each)).hexdigest() for each in inputs)


JUDGED = (
    "score", "score_low", "score_high", "coverage_fraction", "worst_grade", "do_not_drive", "open_findings",
    "next_year_cost_minor", "assessed_revision", "assessed_on",
)  # fmt: skip
"""What a verdict says in a vehicle's standing."""


def store_verdicts(verdicts: Verdicts) -> None:
    """Stores assessments and score points; call inside a transaction. Constant statements.

    What lists show is set in the vehicles' standings, for the caller to store with what else changes there (`JUDGED`).
    """
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
    _carry_to_standings(verdicts)


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


def _carry_to_standings(verdicts: Verdicts) -> None:
    batch = verdicts.batch
    counts: dict[Any, int] = {}
    open_rows = Finding.objects.within(batch.fleet).filter(vehicle__in=batch.vehicles, closed_on=None)
    for vehicle_id in open_rows.values_list("vehicle_id", flat=True):
        counts[vehicle_id] = counts.get(vehicle_id, 0) + 1
    announce_bans(batch.fleet, zip(batch.vehicles, verdicts.documents, strict=True))
    for index, vehicle in enumerate(batch.vehicles):
        standing, document = vehicle.standing, verdicts.documents[index]
        standing.score, standing.coverage_fraction = document["score"], document["coverage_fraction"]
        standing.score_low, standing.score_high = document["interval"]["low"], document["interval"]["high"]
        standing.worst_grade = int(worst_seen(verdicts.scores, index))
        standing.do_not_drive = document["do_not_drive"]
        standing.open_findings = counts.get(vehicle.pk, 0)
        standing.next_year_cost_minor = rounded_minor(float(verdicts.next_year_minor[index]))
        standing.assessed_revision, standing.assessed_on = standing.revision, batch.on


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
