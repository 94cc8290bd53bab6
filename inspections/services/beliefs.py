"""What a fleet's assessments believe of lives: the catalogue, sharpened by what this fleet's record bears out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from django.db.models import CharField, F, FloatField, Value

from fleetcare.fleet.models import Fleet, Vehicle
from inspections.catalogue.books import life_book
from inspections.catalogue.loader import default_catalogue
from inspections.core.types import FloatArray, LifeBook
from inspections.models import LearnedFactor, LearnedLife
from inspections.words import FactorLesson, Lesson

ModelKey = tuple[str, str]
"""Make and model as they are compared."""

_OF_PART, _OF_MODEL = "part", "model"


@lru_cache(maxsize=1)
def reference_book() -> LifeBook:
    """The catalogue's beliefs about lives, as arrays."""
    return life_book(default_catalogue())


def model_key(make: str, model: str) -> ModelKey | None:
    """How vehicles are told to be of one model: case and spaces do not count. None where either is not known."""
    key = " ".join(make.casefold().split()), " ".join(model.casefold().split())
    return key if all(key) else None


@dataclass(frozen=True, slots=True)
class Beliefs:
    """The lives believed in one fleet, and the factors on them of some models among its vehicles."""

    book: LifeBook
    factors: Mapping[ModelKey, float]

    def factors_of(self, vehicles: Sequence[Vehicle]) -> FloatArray:
        """How much longer or shorter parts last on each vehicle than the book says, shape (V,)."""
        keys = (model_key(vehicle.make, vehicle.model) for vehicle in vehicles)
        return np.array([1.0 if key is None else self.factors.get(key, 1.0) for key in keys], dtype=np.float64)


def fleet_beliefs(fleet: Fleet) -> Beliefs:
    """The catalogue's beliefs, with the fleet's own lives and factors where its record is enough; one query.

    Where parts last less long than the catalogue says, the distance from the first sign to failure shrinks with the
    life. The clocks stay those of the catalogue.
    """
    learned: dict[str, tuple[float, float]] = {}
    factors: dict[ModelKey, float] = {}
    for of, first, second, figure, spread in _believed(fleet):
        if of == _OF_PART:
            learned[first] = figure, spread
        else:
            factors[first, second] = figure
    return Beliefs(_book(learned), factors)


def _believed(fleet: Fleet) -> Sequence[tuple[str, str, str, float, float]]:
    lives = LearnedLife.objects.within(fleet).filter(lesson=Lesson.LEARNED)
    models = LearnedFactor.objects.within(fleet).filter(lesson=FactorLesson.LEARNED)
    text, figure = CharField(), FloatField()
    of_parts = lives.values_list(
        Value(_OF_PART, text), F("part_key"), Value("", text), F("life_km"), F("life_cv"), named=False
    )
    of_models = models.values_list(
        Value(_OF_MODEL, text), F("make_key"), F("model_key"), F("factor"), Value(0.0, figure), named=False
    )
    return list(of_parts.union(of_models, all=True))


def _book(learned: Mapping[str, tuple[float, float]]) -> LifeBook:
    book = reference_book()
    if not learned:
        return book
    life_km, life_cv = book.life_km.copy(), book.life_cv.copy()
    for row, slot in enumerate(default_catalogue().slots):
        life_km[row], life_cv[row] = learned.get(slot.part_key, (life_km[row], life_cv[row]))
    return replace(book, life_km=life_km, life_cv=life_cv, pf_km=book.pf_km * np.minimum(life_km / book.life_km, 1.0))
