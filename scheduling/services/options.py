"""Which jobs could put right what was found, with hours, parts, access and follow-ups in the fleet's money."""

import dataclasses
from functools import lru_cache

import numpy as np

from fleetcare.kernel.grades import Grade
from inspections.catalogue.books import positions_covered
from inspections.catalogue.catalogue import Catalogue
from inspections.catalogue.loader import default_catalogue
from inspections.services.costs import minor_per_euro
from inspections.services.history import Batch
from scheduling.core.types import JobOption, JobWork, SharedWork


def job_options(batch: Batch) -> list[JobOption]:
    """Every renewing job that touches a part with a finding, vehicle by vehicle; an axle's job once."""
    catalogue, euro = batch.catalogue, minor_per_euro(batch.fleet)
    row_of = {
        (int(vehicle), int(slot)): row
        for row, (vehicle, slot) in enumerate(zip(batch.cells.vehicle, batch.cells.slot, strict=True))
    }
    options: dict[tuple[int, str, tuple[str, ...]], JobOption] = {}
    for row in np.flatnonzero(batch.last_grade >= Grade.MINOR).tolist():
        vehicle, slot = int(batch.cells.vehicle[row]), int(batch.cells.slot[row])
        part = catalogue.slots[slot].part_key
        for work in _works(slot, euro):
            there = {position: catalogue.slot_index[part, position] for position in work.positions or ("",)}
            rows = {position: row_of[vehicle, each] for position, each in there.items() if (vehicle, each) in row_of}
            fitting = _at(work, tuple(position for position in rows if position))
            options.setdefault(
                (vehicle, work.key, fitting.positions), JobOption(vehicle, fitting, tuple(rows.values()))
            )
    return list(options.values())


@lru_cache(maxsize=65536)
def _at(work: JobWork, positions: tuple[str, ...]) -> JobWork:
    """The job at those of its positions that a vehicle has; one object for all vehicles alike."""
    return dataclasses.replace(work, positions=positions)


@lru_cache(maxsize=65536)
def _works(slot: int, euro_minor: float) -> tuple[JobWork, ...]:
    catalogue = default_catalogue()
    part = catalogue.parts[catalogue.slots[slot].part_key]
    return tuple(
        _work(catalogue, f"{part.key}.{job.key}", catalogue.slots[slot].position, euro_minor)
        for job in part.jobs
        if job.renews
    )


def _work(catalogue: Catalogue, key: str, position: str, euro_minor: float) -> JobWork:
    entry = catalogue.jobs[key]
    covered = positions_covered(entry, position)
    access = (
        SharedWork(unit, catalogue.access[unit.partition(".")[0]].hours)
        for unit in catalogue.access_units(key, position)
    )
    follow_ups = (catalogue.follow_ups[each] for each in entry.job.follow_ups)
    return JobWork(
        key=key,
        hours=entry.job.hours,
        parts_minor=entry.job.parts_eur.typical * euro_minor,
        access=tuple(access),
        follow_ups=tuple(SharedWork(each.key, each.hours, each.eur * euro_minor) for each in follow_ups),
        positions=tuple(each for each in covered if each),
        renews=True,
    )
