"""The trade of a real car of the product's catalogue, for the adapter: built from the catalogue without a database."""

from dataclasses import replace

import numpy as np

from inspections.catalogue.books import cost_book, life_book, positions_covered
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.grading import governing_limit
from inspections.catalogue.schema import Check, Measurement
from inspections.core.types import CostBook, FloatArray, IntArray, LifeBook
from scheduling.core.types import JobWork, SharedWork
from tests.benchmarks.policy.trade import LABOUR_EUR, MINOR, Gauge, Job, Place, Trade


def catalogue_trade(catalogue: Catalogue, scheme: str) -> Trade:
    """The trade of a car with the catalogue's usual traits, under a scheme of limits, at the catalogue's prices."""
    slots = np.array(catalogue.applicable_slots({}))
    kinds = [catalogue.slots[slot].part_key for slot in slots.tolist()]
    places = tuple((each.part_key, each.position) for each in (catalogue.slots[slot] for slot in slots.tolist()))
    parts = [catalogue.parts[kind] for kind in kinds]
    return Trade(
        places=places,
        kind_of=np.unique(kinds, return_inverse=True)[1],
        book=_book_at(life_book(catalogue), slots),
        costs=_costs_at(cost_book(catalogue, round(LABOUR_EUR * MINOR), 1.0), slots),
        gauge=_gauge([wearing_check(catalogue, kind) for kind in kinds], scheme),
        jobs=tuple(tuple(_jobs(catalogue, places, slot)) for slot in range(len(places))),
        wears=(),
        tow=np.array([part.failure.tow for part in parts], dtype=np.float64),
        danger_eur_per_km=np.array([part.failure.danger_eur_per_1000_km for part in parts]) / 1000.0,
    )


def wearing_check(catalogue: Catalogue, part_key: str) -> Check | None:
    """The check by which a part's wear is followed; not one whose figure a job sets anew without renewing the part."""
    part = catalogue.parts[part_key]
    set_anew = {reference for job in part.jobs for reference in job.puts_right}
    checks = (check for check in part.checks if check.key not in set_anew)
    return next((check for check in checks if check.measurement is not None and check.measurement.wears), None)


def usual_checks(catalogue: Catalogue, trade: Trade) -> dict[int, Check]:
    """The check at which each slot is looked at in this benchmark: its gauge, or the first that applies to the car."""
    applies = {(check.key, check.position) for check in catalogue.applicable_checks({})}
    chosen: dict[int, Check] = {}
    for slot, (part_key, position) in enumerate(trade.places):
        gauge = wearing_check(catalogue, part_key)
        by_eye = (check for check in catalogue.parts[part_key].checks if check.measurement is None)
        for check in (*by_eye, *catalogue.parts[part_key].checks) if gauge is None else (gauge,):
            if (f"{part_key}.{check.key}", position) in applies:
                chosen.setdefault(slot, check)
    return chosen


def _book_at(book: LifeBook, slots: IntArray) -> LifeBook:
    return LifeBook(*(getattr(book, name)[slots] for name in LifeBook.__slots__))


def _costs_at(costs: CostBook, slots: IntArray) -> CostBook:
    return CostBook(*(getattr(costs, name)[slots] for name in CostBook.__slots__))


def _gauge(checks: list[Check | None], scheme: str) -> Gauge:
    measured = [None if check is None else check.measurement for check in checks]

    def column(name: str) -> FloatArray:
        values = (np.nan if each is None else getattr(each, name) for each in measured)
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    limit = np.array([np.nan if each is None else _limit(each, scheme) for each in measured])
    return Gauge(column("new"), column("minor"), limit, column("dangerous"), column("noise_sd"))


def _limit(measurement: Measurement, scheme: str) -> float:
    return governing_limit(measurement, scheme).value


def _jobs(catalogue: Catalogue, places: tuple[Place, ...], slot: int) -> list[Job]:
    part_key, position = places[slot]
    place = {where: index for index, where in enumerate(places)}
    jobs = []
    for job in catalogue.parts[part_key].jobs:
        if job.renews:
            covered = positions_covered(catalogue.jobs[f"{part_key}.{job.key}"], position)
            here = [each for each in covered if (part_key, each) in place]
            work = _work(catalogue, f"{part_key}.{job.key}", position)
            named = replace(work, positions=tuple(each for each in here if each))
            jobs.append(Job(named, tuple(place[part_key, each] for each in here)))
    return jobs


def _work(catalogue: Catalogue, key: str, position: str) -> JobWork:
    job = catalogue.jobs[key].job
    units = catalogue.access_units(key, position)
    return JobWork(
        key=key,
        hours=job.hours,
        parts_minor=job.parts_eur.typical * MINOR,
        access=tuple(SharedWork(unit, catalogue.access[unit.partition(".")[0]].hours) for unit in units),
        follow_ups=tuple(
            SharedWork(each.key, each.hours, each.eur * MINOR)
            for each in (catalogue.follow_ups[name] for name in job.follow_ups)
        ),
    )
