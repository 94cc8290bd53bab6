"""A vehicle's figures over time: scores, fills and what jobs cost, read in one query."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, FloatField, IntegerField, QuerySet, Value
from django.db.models.functions import Cast, Coalesce

from fleetcare.fleet.models import FuelFill, Vehicle
from inspections.models import ScorePoint
from scheduling.core.job_states import JobState
from scheduling.models import Job

_SCORE, _FILL, _JOB = 1, 2, 3
_COLUMNS = ("kind", "on", "a", "b", "c", "flags")
_FULL, _MISSED = 1, 2


@dataclass(frozen=True, slots=True)
class ScoreThen:
    """The score on a day, with its interval."""

    on: date
    score: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Fill:
    """One fill of fuel; the distance and the price where they are known."""

    on: date
    litres: float
    total_km: float | None
    price_minor: int | None
    full: bool
    missed_before: bool


@dataclass(frozen=True, slots=True)
class Series:
    """Each in order of its days; jobs as their day and what they cost in minor units."""

    scores: tuple[ScoreThen, ...]
    fills: tuple[Fill, ...]
    jobs: tuple[tuple[date, int], ...]


def series(vehicle: Vehicle) -> Series:
    """Everything that is drawn over time."""
    rows = _scores(vehicle).union(_fills(vehicle), _jobs(vehicle), all=True).order_by("on", "b")
    return _sorted(rows)


def _sorted(rows: Iterable[tuple[Any, ...]]) -> Series:
    scores, fills, jobs = [], [], []
    for kind, on, a, b, c, flags in rows:
        if kind == _SCORE:
            scores.append(ScoreThen(on, a, b, c))
        elif kind == _FILL:
            price = None if c is None else round(c)
            fills.append(Fill(on, a, b, price, bool(flags & _FULL), bool(flags & _MISSED)))
        else:
            jobs.append((on, round(a)))
    return Series(tuple(scores), tuple(fills), tuple(jobs))


def _columns(rows: QuerySet[Any], kind: int, on: str, a: Any, b: Any, c: Any, flags: Any) -> Any:
    return rows.annotate(
        kind=Value(kind, IntegerField()),
        on=F(on),
        a=Cast(a, FloatField()),
        b=Cast(b, FloatField()),
        c=Cast(c, FloatField()),
        flags=Cast(flags, IntegerField()),
    ).values_list(*_COLUMNS)


def _scores(vehicle: Vehicle) -> Any:
    rows = ScorePoint.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)
    return _columns(rows, _SCORE, "as_of", F("score"), F("score_low"), F("score_high"), Value(0))


def _fills(vehicle: Vehicle) -> Any:
    rows = FuelFill.objects.within(vehicle.fleet_id).filter(vehicle=vehicle)
    flags = Cast(F("full"), IntegerField()) * _FULL + Cast(F("missed_before"), IntegerField()) * _MISSED
    return _columns(rows, _FILL, "filled_on", F("litres"), F("reading__total_km"), F("price_minor"), flags)


def _jobs(vehicle: Vehicle) -> Any:
    rows = Job.objects.within(vehicle.fleet_id).filter(vehicle=vehicle, state=JobState.DONE.value)
    parts = ("labour_minor", "parts_minor", "other_minor")
    cost = sum((Coalesce(F(name), Value(0)) for name in parts), Value(0))
    return _columns(rows.exclude(**dict.fromkeys(parts)), _JOB, "done_on", cost, Value(None), Value(None), Value(0))
