"""Models that several vehicles of a fleet share, and what was learned of them."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from fleetcare.fleet.models import Fleet, Vehicle
from inspections.core.model_factors import FEWEST_VEHICLES, ModelFactors
from inspections.core.model_factors import FactorLesson as CoreLesson
from inspections.core.types import IntArray
from inspections.models import LearnedFactor
from inspections.services.beliefs import ModelKey, model_key
from inspections.words import FactorLesson

Json = dict[str, Any]
LEVEL = 0.8

_LESSONS = {
    CoreLesson.LEARNED: FactorLesson.LEARNED,
    CoreLesson.TOO_FEW_FAILURES: FactorLesson.TOO_FEW_FAILURES,
    CoreLesson.NO_DIFFERENCE: FactorLesson.NO_DIFFERENCE,
    CoreLesson.NOTHING_TO_COMPARE: FactorLesson.NOTHING_TO_COMPARE,
    CoreLesson.IMPLAUSIBLE: FactorLesson.IMPLAUSIBLE,
}


@dataclass(frozen=True, slots=True)
class SharedModels:
    """Models of at least two of a fleet's vehicles; where make or model is not known nothing is shared."""

    keys: tuple[ModelKey, ...]
    names: tuple[tuple[str, str], ...]
    """Make and model as the first of the vehicles has them."""
    of_vehicle: IntArray
    """Row of each vehicle's model, shape (V,); -1 where it shares its model with none."""

    @classmethod
    def among(cls, vehicles: Sequence[Vehicle]) -> "SharedModels":
        """The models of these vehicles, in the order in which they are met."""
        keys = [model_key(vehicle.make, vehicle.model) for vehicle in vehicles]
        shared = [key for key, count in Counter(_known(keys)).items() if count >= FEWEST_VEHICLES]
        first = [vehicles[keys.index(key)] for key in shared]
        row = {key: number for number, key in enumerate(shared)}
        of_vehicle = [-1 if key is None else row.get(key, -1) for key in keys]
        names = tuple((vehicle.make, vehicle.model) for vehicle in first)
        return cls(tuple(shared), names, np.array(of_vehicle, dtype=np.int64))

    def rows(self, fleet: Fleet, now: datetime, learned: ModelFactors) -> list[LearnedFactor]:
        """What was learned of each, as rows to store."""
        return [
            LearnedFactor(
                fleet=fleet,
                make_key=key[0],
                model_key=key[1],
                make=make,
                model=model,
                fitted_at=now,
                factor=float(learned.factor.value[row]),
                low=float(learned.factor.low[row]),
                high=float(learned.factor.high[row]),
                lesson=_LESSONS[CoreLesson(int(learned.lesson[row]))],
                vehicles=int(learned.vehicles[row]),
                records=int(learned.records[row]),
                ended=int(learned.ended[row]),
            )
            for row, (key, (make, model)) in enumerate(zip(self.keys, self.names, strict=True))
        ]


def _known(keys: Iterable[ModelKey | None]) -> list[ModelKey]:
    return [key for key in keys if key is not None]


def models_of(fleet: Fleet) -> list[Json]:
    """What was learned of each model, and whether it is believed."""
    rows = LearnedFactor.objects.within(fleet).order_by("make_key", "model_key")
    return [_model(row) for row in rows]


def _model(row: LearnedFactor) -> Json:
    used = row.lesson == FactorLesson.LEARNED
    return {
        "make": row.make,
        "model": row.model,
        "factor": round(row.factor, 3),
        "interval": {"low": round(row.low, 3), "high": round(row.high, 3), "level": LEVEL},
        "lesson": row.lesson,
        "why": FactorLesson(row.lesson).label,
        "used": used,
        "factor_used": round(row.factor, 3) if used else 1.0,
        "rests_on": {"vehicles": row.vehicles, "records": row.records, "ended": row.ended},
    }
