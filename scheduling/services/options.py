"""Which jobs could put right what was found, with hours, parts, access and follow-ups in the fleet's money."""

import dataclasses
import uuid
from collections.abc import Iterator, Mapping
from functools import lru_cache

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.catalogue.books import positions_covered
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import JobFigures, PriceBook
from inspections.services.defects import open_defects
from inspections.services.history import Batch
from scheduling.core.types import JobOption, JobWork, SharedWork

Defects = Mapping[tuple[uuid.UUID, str, str], frozenset[str] | None]
_NOT_THERE = -1


def job_options(batch: Batch) -> list[JobOption]:
    """Every job that puts a finding right, vehicle by vehicle; an axle's job once. One query.

    Jobs that renew the part put everything right; others are offered only where what was found is known, and is what
    they put right.
    """
    catalogue = batch.catalogue
    row_of = np.full((len(batch.vehicles), len(catalogue.slots)), _NOT_THERE)
    row_of[batch.cells.vehicle, batch.cells.slot] = np.arange(len(batch.cells.slot))
    defects = open_defects(batch.fleet, batch.vehicles)
    options: dict[tuple[int, str, tuple[str, ...]], JobOption] = {}
    for row in np.flatnonzero(batch.last_grade >= Grade.MINOR).tolist():
        vehicle, slot = int(batch.cells.vehicle[row]), int(batch.cells.slot[row])
        part = catalogue.slots[slot].part_key
        for work in _works(slot, batch.prices):
            there = {position: catalogue.slot_index[part, position] for position in work.positions or ("",)}
            found = {position: int(row_of[vehicle, each]) for position, each in there.items()}
            rows = {position: each for position, each in found.items() if each != _NOT_THERE}
            if not work.renews and not _puts_right(batch, work, vehicle, rows, defects):
                continue
            fitting = _at(work, tuple(position for position in rows if position))
            options.setdefault(
                (vehicle, work.key, fitting.positions), JobOption(vehicle, fitting, tuple(rows.values()))
            )
    return list(options.values())


def _puts_right(batch: Batch, work: JobWork, vehicle: int, rows: Mapping[str, int], defects: Defects) -> bool:
    """Whether a job that keeps the part remedies everything found at the positions it covers."""
    entry, vehicle_id = batch.catalogue.jobs[work.key], batch.vehicles[vehicle].pk
    remedied = frozenset(entry.job.puts_right)
    bad = [position for position, row in rows.items() if batch.last_grade[row] >= Grade.MINOR]
    found = (defects.get((vehicle_id, entry.part.key, position)) for position in bad)
    return all(each is not None and each <= remedied for each in found)


_WHY_AWAY = {
    "licensed": "this work takes a licence",
    "too-difficult": "harder than what is done here",
    "no-stands": "there is nothing here to keep the vehicle safely off the ground",
    "missing-tool": "a tool is missing here",
    "chosen": "the fleet gives it to a workshop",
}


def done_by_reasons(figures: JobFigures) -> list[str]:
    """Why a job is given away, in words; empty where it is done here."""
    told = [_WHY_AWAY[code] for code in figures.why if code != "missing-tool"]
    if "missing-tool" in figures.why:
        told.append(f"{_WHY_AWAY['missing-tool']}: {', '.join(figures.missing_tools)}")
    return told


@lru_cache(maxsize=65536)
def _at(work: JobWork, positions: tuple[str, ...]) -> JobWork:
    """The job at those of its positions that a vehicle has; one object for all vehicles alike."""
    return dataclasses.replace(work, positions=positions)


@lru_cache(maxsize=65536)
def _works(slot: int, prices: PriceBook) -> tuple[JobWork, ...]:
    catalogue = default_catalogue()
    part = catalogue.parts[catalogue.slots[slot].part_key]
    return tuple(
        _work(catalogue, f"{part.key}.{job.key}", catalogue.slots[slot].position, prices)
        for job in part.jobs
        if job.renews or job.puts_right
    )


def _work(catalogue: Catalogue, key: str, position: str, prices: PriceBook) -> JobWork:
    entry, figures = catalogue.jobs[key], prices.of(catalogue, key)
    covered = positions_covered(entry, position)
    return JobWork(
        key=key,
        hours=figures.hours.likely,
        parts_minor=figures.parts_minor.likely,
        access=tuple(_access(catalogue, key, position, prices)),
        follow_ups=tuple(_follow_ups(catalogue, key, prices)),
        positions=tuple(each for each in covered if each),
        renews=entry.job.renews,
        given_away=figures.given_away,
        minor_per_hour=figures.minor_per_hour,
        hours_range=(figures.hours.low, figures.hours.high),
        parts_range_minor=(figures.parts_minor.low, figures.parts_minor.high),
    )


def _access(catalogue: Catalogue, key: str, position: str, prices: PriceBook) -> Iterator[SharedWork]:
    figures = prices.of(catalogue, key)
    for unit in catalogue.access_units(key, position):
        hours = catalogue.access[unit.partition(".")[0]].hours
        yield SharedWork(unit, hours, 0.0, figures.given_away, figures.minor_per_hour)


def _follow_ups(catalogue: Catalogue, key: str, prices: PriceBook) -> Iterator[SharedWork]:
    figures = prices.of(catalogue, key)
    for each in (catalogue.follow_ups[name] for name in catalogue.jobs[key].job.follow_ups):
        outlay = each.eur * prices.minor_per_euro
        yield SharedWork(each.key, each.hours, outlay, figures.given_away, figures.minor_per_hour)
