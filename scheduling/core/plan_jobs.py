"""From a ranked backlog to jobs that can be planned: whole minor units and minutes."""

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from fleetcare.kernel.money import rounded_minor
from scheduling.core.backlog import Ranking
from scheduling.core.picking import ALTERNATIVE_PICKED
from scheduling.core.planner.problem import PlanJob, PlanUnit
from scheduling.core.types import SharedWork
from scheduling.core.waiting import WAIT_MONTHS

DAYS_PER_MONTH = 365.25 / 12.0


def plan_jobs(
    ranking: Ranking, vehicles: Sequence[str], rate_minor_per_hour: Sequence[float], *, labour_is_paid: bool
) -> tuple[tuple[int, ...], tuple[PlanJob, ...]]:
    """The options worth planning (indices) and, in the same order, the jobs for the planner.

    A job saves the expected cost of the best way to wait less its own cost, and each day of delay takes from that
    what three months of waiting cost more than doing it now. Jobs that save nothing even with all access open are
    left out, unless they must be done before driving.

    vehicles: key of each vehicle of the batch. rate_minor_per_hour: for each vehicle, what an hour counts for.
    labour_is_paid: whether hours take from the visit's money (a workshop's customer) or not (one's own Saturday).
    """
    saving = ranking.priced.waiting_minor - ranking.table.own_minor
    useful = (saving > 0) | ranking.before_driving
    rows = np.flatnonzero(useful & (ranking.picks.round != ALTERNATIVE_PICKED))
    delay = ranking.priced.by_way_minor[:, 0] - ranking.table.later_minor
    alternatives = _alternatives(ranking, rows.tolist())
    jobs = []
    for row in rows.tolist():
        option = ranking.options[ranking.table.option[row]]
        rate, work = rate_minor_per_hour[option.vehicle], option.work
        paid_rate = rate if labour_is_paid else 0.0
        shared = {each.key: each for each in work.access + work.follow_ups}
        jobs.append(
            PlanJob(
                vehicle=vehicles[option.vehicle],
                key=work.key,
                saving_minor=rounded_minor(saving[row]),
                cash_minor=rounded_minor(work.parts_minor + work.hours * paid_rate),
                minutes=rounded_minor(60.0 * work.hours),
                units=tuple(_unit(each, rate, paid_rate) for each in shared.values()),
                must=bool(ranking.before_driving[row]),
                excludes=tuple(sorted(alternatives[row])),
                loss_minor_per_day=rounded_minor(max(delay[row], 0.0) / (WAIT_MONTHS[0] * DAYS_PER_MONTH)),
            )
        )
    return tuple(int(option) for option in ranking.table.option[rows]), tuple(jobs)


def _alternatives(ranking: Ranking, rows: list[int]) -> dict[int, set[int]]:
    """For each row, the places in `rows` of the others that put the same part right."""
    table = ranking.table
    places: dict[int, set[int]] = defaultdict(set)
    for place, row in enumerate(rows):
        for cell in table.cell[table.cell_at[row] : table.cell_at[row + 1]].tolist():
            places[cell].add(place)
    sharing: dict[int, set[int]] = {row: set() for row in rows}
    for together in places.values():
        for place in together:
            sharing[rows[place]] |= together - {place}
    return sharing


def _unit(work: SharedWork, rate: float, paid_rate: float) -> PlanUnit:
    return PlanUnit(
        key=work.key,
        cost_minor=rounded_minor(work.outlay_minor + work.hours * rate),
        cash_minor=rounded_minor(work.outlay_minor + work.hours * paid_rate),
        minutes=rounded_minor(60.0 * work.hours),
    )
