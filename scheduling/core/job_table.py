"""Job options as arrays: compiled once per kind of work, then all computing runs over flat arrays of options."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from inspections.core.types import SHARED_WORK_SHARE
from scheduling.core.types import BoolArray, FloatArray, IntArray, JobOption, JobWork, SharedWork


@dataclass(frozen=True, slots=True)
class JobTable:
    """J options of V vehicles, sorted by vehicle; `units` are access and follow-ups at one vehicle (U of them)."""

    option: IntArray
    """(J,): index of the option handed in."""
    vehicle: IntArray
    """(J,), non-decreasing."""
    own_minor: FloatArray
    """(J,): parts and labour without access and follow-ups."""
    own_hours: FloatArray
    minor_per_hour: FloatArray
    """(J,): what an hour of it counts for."""
    later_minor: FloatArray
    """(J,): the same with the usual share of access and follow-ups."""
    renews: BoolArray
    cell_at: IntArray
    """(J + 1,): the cells of option j are cell[cell_at[j]:cell_at[j + 1]]."""
    cell: IntArray
    unit_job: IntArray
    """(N,), non-decreasing: the option that needs ..."""
    unit: IntArray
    """(N,): ... this unit."""
    unit_minor: FloatArray
    """(U,): labour and outlay."""
    unit_hours: FloatArray
    unit_key: tuple[str, ...]

    @property
    def cell_job(self) -> IntArray:
        """The option of each entry of `cell`."""
        return np.repeat(np.arange(len(self.option)), np.diff(self.cell_at))

    def numbered(self, index: IntArray) -> "JobTable":
        """The same, its options counted by `index`, shape (J,), instead of by their place in what was compiled."""
        return replace(self, option=index[self.option])


def job_table(options: Sequence[JobOption], rate_minor_per_hour: FloatArray) -> JobTable:
    """The options of a batch as arrays. `rate_minor_per_hour`, shape (V,), is what an hour counts for by itself.

    Every option has at least one cell.
    """
    vehicle = np.fromiter((option.vehicle for option in options), np.int64, len(options))
    order = np.argsort(vehicle, kind="stable")
    vehicle = vehicle[order]
    works, kind = _kinds([options[index].work for index in order])
    stated = _rates(works)[kind]
    rate = np.where(np.isnan(stated), rate_minor_per_hour[vehicle], stated)
    hours = np.array([work.hours for work in works])[kind]
    own = np.array([work.parts_minor for work in works])[kind] + hours * rate
    units = _units(works, kind, vehicle, rate_minor_per_hour)
    shared = np.bincount(units.job, weights=units.minor[units.unit], minlength=len(options))
    cell_at, cell = _cells([options[index].cells for index in order])
    return JobTable(
        option=order,
        vehicle=vehicle,
        own_minor=own,
        own_hours=hours,
        minor_per_hour=rate,
        later_minor=own + SHARED_WORK_SHARE * shared,
        renews=np.array([work.renews for work in works], dtype=bool)[kind],
        cell_at=cell_at,
        cell=cell,
        unit_job=units.job,
        unit=units.unit,
        unit_minor=units.minor,
        unit_hours=units.hours,
        unit_key=units.key,
    )


def _rates(works: Sequence[JobWork | SharedWork]) -> FloatArray:
    """What an hour of each counts for; NaN where it counts as the vehicle's own."""
    return np.array([np.nan if work.minor_per_hour is None else work.minor_per_hour for work in works])


def _kinds(works: list[JobWork]) -> tuple[list[JobWork], IntArray]:
    """Distinct work objects and the kind of each option; by identity, since equal objects cost the same anyway."""
    number: dict[int, int] = {}
    kind = np.fromiter((number.setdefault(id(work), len(number)) for work in works), np.int64, len(works))
    first: dict[int, JobWork] = {}
    for work in works:
        first.setdefault(id(work), work)
    return list(first.values()), kind


def _cells(cells: list[tuple[int, ...]]) -> tuple[IntArray, IntArray]:
    at = np.zeros(len(cells) + 1, dtype=np.int64)
    np.cumsum([len(each) for each in cells], out=at[1:])
    return at, np.fromiter(chain.from_iterable(cells), np.int64, int(at[-1]))


@dataclass(frozen=True, slots=True)
class _Units:
    job: IntArray
    unit: IntArray
    minor: FloatArray
    hours: FloatArray
    key: tuple[str, ...]


def _units(works: list[JobWork], kind: IntArray, vehicle: IntArray, rate: FloatArray) -> _Units:
    needed = [list({work.key: work for work in each.access + each.follow_ups}.values()) for each in works]
    lengths = np.array([len(each) for each in needed], dtype=np.int64)
    job = np.repeat(np.arange(len(kind)), lengths[kind])
    within = np.arange(len(job)) - np.repeat(np.cumsum(lengths[kind]) - lengths[kind], lengths[kind])
    entry = (np.cumsum(lengths) - lengths)[kind][job] + within
    listed = list(chain.from_iterable(needed))
    number: dict[tuple[str, bool], int] = {}
    names = ((work.key, work.given_away) for work in listed)
    key = np.fromiter((number.setdefault(name, len(number)) for name in names), np.int64, len(listed))[entry]
    distinct, unit = np.unique(vehicle[job] * max(len(number), 1) + key, return_inverse=True)
    of_vehicle, of_key = np.divmod(distinct, max(len(number), 1))
    hours = _largest([work.hours for work in listed], entry, unit, len(distinct))
    outlay = _largest([work.outlay_minor for work in listed], entry, unit, len(distinct))
    stated = _largest(np.nan_to_num(_rates(listed), nan=-1.0).tolist(), entry, unit, len(distinct), least=-1.0)
    hourly = np.where(stated < 0.0, rate[of_vehicle], stated)
    keys = [name for name, _ in number]
    return _Units(job, unit, outlay + hours * hourly, hours, tuple(keys[index] for index in of_key))


def _largest(values: list[float], entry: IntArray, unit: IntArray, units: int, least: float = 0.0) -> FloatArray:
    """A unit that two jobs describe differently takes the larger figure."""
    largest = np.full(units, least)
    np.maximum.at(largest, unit, np.array(values, dtype=np.float64)[entry])
    return largest
