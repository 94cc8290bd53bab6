"""Lives learned from a fleet's own history: learned by a worker, kept, shown, and believed in that fleet only."""

import hashlib
import uuid
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Count, F, Q, Sum
from django.utils import timezone

from fleetcare.fleet.access import Access
from fleetcare.fleet.models import Fleet, Standing
from fleetcare.support.bell import ring_after_commit
from inspections.catalogue.loader import default_catalogue
from inspections.core import lives as core
from inspections.core.model_factors import learn_with_models
from inspections.core.part_ages import Ending, Histories
from inspections.core.plausible_lives import GREATEST_SCALE, LEAST_SCALE
from inspections.models import FittedPart, LearnedFactor, LearnedLife, LearningRound
from inspections.services.beliefs import reference_book
from inspections.services.part_histories import load_records
from inspections.services.shared_models import LEVEL, SharedModels, models_of
from inspections.words import Lesson, Removal

Json = dict[str, Any]
LEARN_EVERY = timedelta(days=1)
ASK_MOST = 100
"""Fleets asked for at one tick; the others follow at the next ones."""

_WAY_OF_LEARNING = 2
"""Raised when the same record would be read differently, so that every fleet is learned from anew."""
_FIGURES = [
    "fitted_at", "life_km", "low_km", "high_km", "life_cv", "factor", "lesson", "failed", "worn_out", "renewed_early",
    "in_service", "reason_unknown", "date_unknown",
]  # fmt: skip
_TELLING = (Removal.FAILED, Removal.WORN_OUT, Removal.UNKNOWN)


def learn_lives(fleet_id: uuid.UUID) -> int:
    """Learns the lives of one fleet's parts and stores them; returns how many kinds were learned about.

    Nothing is computed where nothing was written since the last time, or where no part ever came to its end. The
    computing is done outside any transaction.
    """
    fleet = Fleet.objects.filter(pk=fleet_id).first()
    if fleet is None:
        return 0
    digest = _digest(fleet)
    if LearningRound.objects.filter(fleet=fleet, digest=digest).exists():
        return 0
    lives, factors = _lessons(fleet, timezone.now())
    _store(fleet, lives, factors, digest)
    return len(lives)


def _digest(fleet: Fleet) -> str:
    """Changes with anything written about a vehicle of the fleet, with the catalogue, and with the way of learning."""
    written = Standing.objects.within(fleet).aggregate(Count("pk"), Sum("revision"))
    inputs = f"{_WAY_OF_LEARNING} {default_catalogue().digest} {sorted(written.items())}"
    return hashlib.sha256(inputs.encode()).hexdigest()


def _lessons(fleet: Fleet, now: datetime) -> tuple[list[LearnedLife], list[LearnedFactor]]:
    if not FittedPart.objects.within(fleet).filter(removal__in=_TELLING).exists():
        return [], []
    catalogue = default_catalogue()
    records = load_records(fleet, catalogue, reference_book())
    histories = records.histories
    if not len(histories.kind):
        return [], []
    book_life_km = np.array([part.life.km for part in catalogue.parts.values()], dtype=np.float64)
    models = SharedModels.among(records.vehicles)
    learned, factors = learn_with_models(
        histories, records.vehicle, models.of_vehicle, len(models.keys), book_life_km, LEVEL
    )
    keys = list(catalogue.parts)
    lives = [_row(fleet, now, keys[kind], histories, learned, kind) for kind in np.unique(histories.kind).tolist()]
    return lives, models.rows(fleet, now, factors)


def _row(
    fleet: Fleet, now: datetime, part_key: str, histories: Histories, learned: core.LearnedLives, kind: int
) -> LearnedLife:
    mine = histories.kind == kind
    return LearnedLife(
        fleet=fleet,
        part_key=part_key,
        fitted_at=now,
        life_km=float(learned.life_km.value[kind]),
        low_km=float(learned.life_km.low[kind]),
        high_km=float(learned.life_km.high[kind]),
        life_cv=float(learned.life_cv[kind]),
        factor=float(learned.factor[kind]),
        lesson=_lesson(learned, kind),
        failed=int((histories.ending[mine] == Ending.FAILED).sum()),
        worn_out=int((histories.ending[mine] == Ending.WORN_OUT).sum()),
        renewed_early=int(learned.renewed_early[kind]),
        in_service=int(learned.in_service[kind]),
        reason_unknown=int(learned.reason_unknown[kind]),
        date_unknown=int(learned.date_unknown[kind]),
    )


def _lesson(learned: core.LearnedLives, kind: int) -> Lesson:
    """Lives beyond those that the judge thinks possible say more about the record than about the parts."""
    if learned.lesson[kind] != core.Lesson.LEARNED:
        return Lesson.TOO_FEW_FAILURES
    return Lesson.LEARNED if LEAST_SCALE <= learned.factor[kind] <= GREATEST_SCALE else Lesson.IMPLAUSIBLE


@transaction.atomic
def _store(fleet: Fleet, rows: list[LearnedLife], factors: list[LearnedFactor], digest: str) -> None:
    LearnedLife.objects.within(fleet).exclude(part_key__in=[row.part_key for row in rows]).delete()
    LearnedLife.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["fleet", "part_key"], update_fields=_FIGURES
    )
    LearnedFactor.objects.within(fleet).delete()
    LearnedFactor.objects.bulk_create(factors)
    LearningRound.objects.update_or_create(
        fleet=fleet, defaults={"digest": digest}, create_defaults={"digest": digest, "asked_at": timezone.now()}
    )


def ask_for_learning() -> int:
    """Rings for fleets whose lives were never asked for or not for a day; returns for how many.

    A fleet is claimed by a conditional update before it is rung for, so that two ticks at once ask once.
    """
    now = timezone.now()
    due = Fleet.objects.filter(Q(learning_round=None) | Q(learning_round__asked_at__lte=now - LEARN_EVERY))
    longest_first = due.order_by(F("learning_round__asked_at").asc(nulls_first=True), "pk")
    waiting = longest_first.values_list("pk", "learning_round__asked_at")[:ASK_MOST]
    claimed = [fleet_id for fleet_id, asked_at in waiting if _claim(fleet_id, asked_at, now)]
    for fleet_id in claimed:
        ring_after_commit("inspections.learn_lives", str(fleet_id))
    return len(claimed)


def _claim(fleet_id: uuid.UUID, asked_at: datetime | None, now: datetime) -> bool:
    if asked_at is None:
        return LearningRound.objects.get_or_create(fleet_id=fleet_id, defaults={"asked_at": now})[1]
    return bool(LearningRound.objects.filter(fleet=fleet_id, asked_at=asked_at).update(asked_at=now))


def lives_of(access: Access) -> Json:
    """What the catalogue says of every kind of part, what the fleet's history says, and which is believed."""
    catalogue = default_catalogue()
    learned = {row.part_key: row for row in LearnedLife.objects.within(access.fleet)}
    items = [_life(key, learned.get(key)) for key in catalogue.parts]
    models = models_of(access.fleet)
    return {
        "items": items,
        "models": models,
        "fitted_at": max((row.fitted_at for row in learned.values()), default=None),
    }


def _life(part_key: str, row: LearnedLife | None) -> Json:
    catalogue = default_catalogue()
    part = catalogue.parts[part_key]
    used = row is not None and row.lesson == Lesson.LEARNED
    return {
        "part": part_key,
        "title": part.title,
        "system": catalogue.system_of_part[part_key],
        "catalogue": {
            "life_km": part.life.km,
            "life_years": part.life.years,
            "life_cv": part.life.cv,
            "source": part.life.source,
        },
        "learned": _learned(row) if row else None,
        "used": used,
        "life_km": round(row.life_km) if row and used else part.life.km,
    }


def _learned(row: LearnedLife) -> Json:
    return {
        "life_km": round(row.life_km),
        "interval": {"low": round(row.low_km), "high": round(row.high_km), "level": LEVEL},
        "life_cv": round(row.life_cv, 3),
        "factor": round(row.factor, 3),
        "lesson": row.lesson,
        "rests_on": {
            "failed": row.failed,
            "worn_out": row.worn_out,
            "renewed_early": row.renewed_early,
            "in_service": row.in_service,
            "reason_unknown": row.reason_unknown,
            "date_unknown": row.date_unknown,
        },
    }
