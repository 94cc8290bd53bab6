"""What the judge and the decider need of each slot, as arrays in slot order: lives and costs."""

from collections.abc import Iterable

import numpy as np

from inspections.catalogue.catalogue import Catalogue, PartJob, Slot
from inspections.catalogue.positions import axle_of, corners_of
from inspections.catalogue.prices import PriceBook
from inspections.catalogue.schema import Damage, Part
from inspections.core.types import SHARED_WORK_SHARE, CostBook, FloatArray, LifeBook

HARM_FRACTION = 0.35
"""Of the parts that come to the end of their life in use, those where it ends in the tow, the incident and the ruin
that the catalogue describes; the others announce themselves and are put right, only dearer. Held against the car of the
policy benchmark, whose failures cost that much. Common practice, no source."""
LEAST_DANGER_EUR_PER_1000_KM = 20.0
"""Driving any part in `dangerous` is taken to cost at least this, also one that is no safety part: it wears on its
neighbours and on the nerves. In the policy benchmark it takes a seventh off the dangerous distance, a third where the
book of lives is wrong, for 0.3 % of the cost."""
TOW_EUR = 150.0
TROUBLE_EUR = 40.0
"""The lost hours of any failure on the road."""
LEAST_JOB_EUR = 1.0
"""What even a free errand costs, so that a worth for each unit of cost stays finite for who pays no labour."""
MAJOR_SHARE_OF_DANGER = 0.1
"""Driving a safety part in `major` exposes a tenth of what driving it in `dangerous` does."""


def life_book(catalogue: Catalogue) -> LifeBook:
    """Beliefs about every slot's life, shape (S,), from the catalogue alone.

    `km_per_year` is the life's km over its years: with it, a part that follows time only comes to the end of its life
    on the clock when its years are over.
    """
    lives = [catalogue.parts[slot.part_key].life for slot in catalogue.slots]
    return LifeBook(
        life_km=_array(life.km for life in lives),
        life_cv=_array(life.cv for life in lives),
        pf_km=_array(life.pf_km for life in lives),
        km_weight=_array(life.km_weight for life in lives),
        km_per_year=_array(life.km / life.years for life in lives),
    )


def cost_book(
    catalogue: Catalogue, labour_minor_per_hour: int, price_factor: float, minor_per_euro: int = 100
) -> CostBook:
    """Costs of every slot at the catalogue's figures, shape (S,), in minor units of a fleet's currency.

    `labour_minor_per_hour` is what an hour of work costs the fleet (0 for those who do it themselves);
    `price_factor` scales the catalogue's euro prices to the fleet's; `minor_per_euro` turns euros into minor units.
    """
    return priced_book(catalogue, PriceBook.plain(labour_minor_per_hour, price_factor * minor_per_euro))


def priced_book(catalogue: Catalogue, prices: PriceBook) -> CostBook:
    """Costs of every slot at a fleet's prices, shape (S,), in minor units of its currency.

    Planned: the part's first renewing job, one position's worth (an axle's job is shared by the positions of the
    axle, a vehicle's by all), parts at their likely price, its hours paid to whoever does it, and `SHARED_WORK_SHARE`
    of its access and follow-ups; at least `LEAST_JOB_EUR`. Failure: the planned job dearer by the part's factor, a
    tow where it strands, the incident, the damage it does to other parts, and `TROUBLE_EUR`, all of these times
    `HARM_FRACTION`. Dangerous and major, for each km: the exposure of a safety part, at least that of any part (in
    major `MAJOR_SHARE_OF_DANGER` of it), and the wear it causes in other parts.
    """
    minor = prices.minor_per_euro
    parts = [catalogue.parts[slot.part_key] for slot in catalogue.slots]
    jobs = _array(_planned_minor(catalogue, slot, prices) for slot in catalogue.slots)
    planned = np.maximum(jobs, LEAST_JOB_EUR * minor)
    factor = _array(part.failure.cost_factor for part in parts)
    told = _array(part.failure.danger_eur_per_1000_km for part in parts)
    danger = np.maximum(told, LEAST_DANGER_EUR_PER_1000_KM) / 1000.0
    worn_in_major = _array(_wear_eur_per_km(catalogue, part, ("major",)) for part in parts)
    worn_in_dangerous = _array(_wear_eur_per_km(catalogue, part, ("major", "dangerous")) for part in parts)
    return CostBook(
        planned_minor=planned,
        failure_minor=planned * factor + minor * HARM_FRACTION * _array(_harm_eur(part) for part in parts),
        major_minor_per_km=minor * (MAJOR_SHARE_OF_DANGER * danger + worn_in_major),
        dangerous_minor_per_km=minor * (danger + worn_in_dangerous),
        safety=np.array([part.safety for part in parts], dtype=np.bool_),
    )


def renewing_job(catalogue: Catalogue, part_key: str) -> PartJob:
    """The first job of a part that makes it as new: the one a plan is priced with."""
    part = catalogue.parts[part_key]
    return next(catalogue.jobs[f"{part_key}.{job.key}"] for job in part.jobs if job.renews)


def positions_covered(entry: PartJob, position: str) -> tuple[str, ...]:
    """The positions of its part that a job done at `position` renews, by its scope."""
    positions = entry.part.positions or ("",)
    if entry.job.scope == "position":
        return (position,)
    if entry.job.scope == "vehicle" or not corners_of(position):
        return positions
    return tuple(other for other in positions if axle_of(other) == axle_of(position))


def _planned_minor(catalogue: Catalogue, slot: Slot, prices: PriceBook) -> float:
    entry = renewing_job(catalogue, slot.part_key)
    figures = prices.of(catalogue, entry.key)
    follow_ups = [catalogue.follow_ups[key] for key in entry.job.follow_ups]
    access_hours = catalogue.access_hours(catalogue.access_units(entry.key, slot.position))
    shared_hours = access_hours + sum(each.hours for each in follow_ups)
    hours = figures.hours.likely + SHARED_WORK_SHARE * shared_hours
    outlay = SHARED_WORK_SHARE * sum(each.eur for each in follow_ups) * prices.minor_per_euro
    whole = hours * figures.minor_per_hour + figures.parts_minor.likely + outlay
    return whole / len(positions_covered(entry, slot.position))


def _harm_eur(part: Part) -> float:
    """What a failure on the road that does harm costs beside the repair itself."""
    failure = part.failure
    damages = sum(damage.eur for damage in failure.damages)
    return TOW_EUR * failure.tow + failure.incident_eur + damages + TROUBLE_EUR


def _wear_eur_per_km(catalogue: Catalogue, part: Part, grades: tuple[str, ...]) -> float:
    """What each km in a bad grade takes from other parts: their usual damage at the pace they age beyond the normal."""
    return sum(_damage_eur_per_km(catalogue, each) for each in part.failure.damages if each.from_grade in grades)


def _damage_eur_per_km(catalogue: Catalogue, damage: Damage) -> float:
    return damage.eur * (damage.factor - 1.0) / catalogue.parts[damage.part].life.km


def _array(values: Iterable[float]) -> FloatArray:
    return np.array(list(values), dtype=np.float64)
