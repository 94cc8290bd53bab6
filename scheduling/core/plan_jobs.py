"""From a ranked backlog to jobs that can be planned: whole minor units and minutes."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fleetcare.kernel.money import rounded_minor
from scheduling.core.backlog import Ranking
from scheduling.core.planner.problem import BayKind, PlanJob, PlanUnit
from scheduling.core.types import BoolArray, FloatArray, IntArray, JobWork, SharedWork
from scheduling.core.waiting import WAIT_MONTHS

DAYS_PER_MONTH = 365.25 / 12.0
GIVEN_AWAY = "@workshop"
"""Ends the key of what a workshop takes apart: it does not serve the jobs done here."""


@dataclass(frozen=True, slots=True)
class Demands:
    """What jobs and units take besides money and time, by their keys; what is not named takes nothing."""

    skills: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """By job: all of these, in one person."""
    job_bays: Mapping[str, BayKind] = field(default_factory=dict)
    unit_bays: Mapping[str, BayKind] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Danger:
    """A dangerous safety part (row of the batch's cells), and the jobs that put it right: places in the plan's jobs."""

    cell: int
    jobs: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class JobsToPlan:
    """What the planner may choose from."""

    options: tuple[int, ...]
    """The ranking's option of each job."""
    jobs: tuple[PlanJob, ...]
    dangers: tuple[Danger, ...]
    """Every dangerous safety part; `jobs` empty: nothing that may be planned puts it right."""

    @property
    def needed(self) -> tuple[tuple[int, ...], ...]:
        """Of each of these one has to be done before its vehicle is driven."""
        return tuple(dict.fromkeys(danger.jobs for danger in self.dangers if danger.jobs))


def plan_jobs(
    ranking: Ranking,
    vehicles: Sequence[str],
    rate_minor_per_hour: Sequence[float],
    *,
    labour_is_paid: bool,
    dangerous: BoolArray,
    demands: Demands | None = None,
    wanted: Collection[int] = (),
    unwanted: Collection[int] = (),
) -> JobsToPlan:
    """The jobs worth planning.

    A job saves the expected cost of the best way to wait less its own cost, and each day of delay takes from that
    what three months of waiting cost more than doing it now. Jobs that save nothing even with all access open are
    left out, unless one of them must be done before driving or they are `wanted`. Jobs that put the same part right
    exclude each other; of those for a dangerous safety part one must be done, whichever fits.

    vehicles: key of each vehicle of the batch. rate_minor_per_hour: for each vehicle, what an hour counts for.
    labour_is_paid: whether hours take from the visit's money (a workshop's customer) or not (one's own Saturday).
    What is given away always takes money for its hours, and nothing of the hours, skills and bays of the visit.
    dangerous: cells that are dangerous safety parts, shape (K,). wanted, unwanted: options of the ranking that are
    planned whatever they save, or not at all.
    """
    option = ranking.table.option
    saving = ranking.priced.saved_minor - ranking.table.own_minor
    useful = (saving > 0) | ranking.before_driving | np.isin(option, list(wanted))
    rows = np.flatnonzero(useful & ~np.isin(option, list(unwanted)))
    making = _Making(ranking, vehicles, rate_minor_per_hour, labour_is_paid, demands or Demands(), saving)
    alternatives = _alternatives(ranking, rows.tolist())
    jobs = tuple(making.job(row, alternatives[row]) for row in rows.tolist())
    return JobsToPlan(tuple(option[rows].tolist()), jobs, _dangers(ranking, rows, dangerous))


class _Making:
    def __init__(
        self,
        ranking: Ranking,
        vehicles: Sequence[str],
        rates: Sequence[float],
        labour_is_paid: bool,
        demands: Demands,
        saving: FloatArray,
    ) -> None:
        self.ranking, self.vehicles, self.rates, self.demands, self.saving = ranking, vehicles, rates, demands, saving
        self.labour_is_paid = labour_is_paid
        self.units = self._largest_units()
        delay = ranking.priced.by_way_minor[:, 0] - ranking.priced.kept_minor - ranking.table.later_minor
        self.loss_per_day = np.maximum(delay, 0.0) / (WAIT_MONTHS[0] * DAYS_PER_MONTH)

    def job(self, row: int, excludes: set[int]) -> PlanJob:
        option = self.ranking.options[self.ranking.table.option[row]]
        work, vehicle = option.work, option.vehicle
        paid_rate = self._rate(vehicle, work) if self.labour_is_paid or work.given_away else 0.0
        keys = dict.fromkeys(_unit_key(each) for each in work.access + work.follow_ups)
        return PlanJob(
            vehicle=self.vehicles[vehicle],
            key=work.key,
            saving_minor=rounded_minor(self.saving[row]),
            cash_minor=rounded_minor(work.parts_minor + work.hours * paid_rate),
            minutes=_minutes(work),
            units=tuple(self.units[vehicle, key] for key in keys),
            excludes=tuple(sorted(excludes)),
            loss_minor_per_day=rounded_minor(self.loss_per_day[row]),
            skills=() if work.given_away else self.demands.skills.get(work.key, ()),
            bay="" if work.given_away else self.demands.job_bays.get(work.key, ""),
        )

    def _rate(self, vehicle: int, work: JobWork | SharedWork) -> float:
        return self.rates[vehicle] if work.minor_per_hour is None else work.minor_per_hour

    def _largest_units(self) -> dict[tuple[int, str], PlanUnit]:
        """Each unit of each vehicle; one that two jobs describe differently takes the larger figures."""
        units: dict[tuple[int, str], PlanUnit] = {}
        for option in self.ranking.table.option.tolist():
            vehicle, work = self.ranking.options[option].vehicle, self.ranking.options[option].work
            for each in work.access + work.follow_ups:
                place, unit = (vehicle, _unit_key(each)), self._unit(vehicle, each)
                units[place] = _larger(units[place], unit) if place in units else unit
        return units

    def _unit(self, vehicle: int, work: SharedWork) -> PlanUnit:
        rate = self._rate(vehicle, work)
        paid_rate = rate if self.labour_is_paid or work.given_away else 0.0
        return PlanUnit(
            key=_unit_key(work),
            cost_minor=rounded_minor(work.outlay_minor + work.hours * rate),
            cash_minor=rounded_minor(work.outlay_minor + work.hours * paid_rate),
            minutes=_minutes(work),
            bay="" if work.given_away else self.demands.unit_bays.get(work.key, ""),
        )


def _unit_key(work: SharedWork) -> str:
    return f"{work.key}{GIVEN_AWAY}" if work.given_away else work.key


def _larger(one: PlanUnit, other: PlanUnit) -> PlanUnit:
    return replace(
        one,
        cost_minor=max(one.cost_minor, other.cost_minor),
        cash_minor=max(one.cash_minor, other.cash_minor),
        minutes=max(one.minutes, other.minutes),
    )


def _minutes(work: JobWork | SharedWork) -> int:
    """Of the visit: what is given away takes none of them."""
    return 0 if work.given_away else rounded_minor(60.0 * work.hours)


def _alternatives(ranking: Ranking, rows: list[int]) -> dict[int, set[int]]:
    """For each row, the places in `rows` of the others that put the same part right."""
    sharing: dict[int, set[int]] = {row: set() for row in rows}
    for together in _places_by_cell(ranking, rows).values():
        for place in together:
            sharing[rows[place]] |= together - {place}
    return sharing


def _dangers(ranking: Ranking, rows: IntArray, dangerous: BoolArray) -> tuple[Danger, ...]:
    places = _places_by_cell(ranking, rows.tolist())
    return tuple(Danger(cell, tuple(sorted(places.get(cell, ())))) for cell in np.flatnonzero(dangerous).tolist())


def _places_by_cell(ranking: Ranking, rows: list[int]) -> dict[int, set[int]]:
    table = ranking.table
    places: dict[int, set[int]] = defaultdict(set)
    for place, row in enumerate(rows):
        for cell in table.cell[table.cell_at[row] : table.cell_at[row + 1]].tolist():
            places[cell].add(place)
    return places
