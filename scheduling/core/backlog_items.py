"""The documents of a backlog: one job with its rank, every term of it rounded half up, and its reasons.

Rounding and looking up run over all jobs at once; a document only picks its row, so that thousands cost little.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import rounded_minor
from scheduling.core.job_table import JobTable
from scheduling.core.picking import LEAST_COST_MINOR, Picks
from scheduling.core.pricing import Priced
from scheduling.core.reasons import Reason
from scheduling.core.types import (
    Alternative,
    BacklogItem,
    BoolArray,
    FloatArray,
    IntArray,
    JobOption,
    JobWork,
    WaitingTerms,
)
from scheduling.core.waiting import UNTIL_FAILURE, UNTIL_MAJOR, WAIT_MONTHS, WAYS

TELLING_CHANCE = 0.05
"""A chance of failing below this is no reason to give."""
TELLING_SHARE = 0.1
"""A term below this share of the job's cost is no reason to give."""
TELLING_TIMES = 1.5
"""A failure below this multiple of the job's cost is no reason to give."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Everything told of J jobs, as plain lists in the order of the job table."""

    option: list[int]
    grade: list[int]
    before_driving: list[bool]
    unseen: list[bool]
    worth_doing: list[bool]
    cost_now: list[int]
    hours: list[float]
    worth: list[float]
    chance: list[float]
    times: list[float]
    failure_cost: list[int]
    failure: list[int]
    later_job: list[int]
    danger: list[int]
    major: list[int]
    credit: list[int]
    kept: list[int]
    minor_per_hour: list[float]
    best: list[int]
    do_before: list[int]
    """0 where no wait of the grid costs as little as doing it now."""
    opened: list[list[str]]


def columns(
    table: JobTable, priced: Priced, picks: Picks, grade: IntArray, before_driving: BoolArray, unseen: BoolArray
) -> Columns:
    """The figures of all jobs, rounded; arguments as in `Ranking`, shapes (J,)."""
    return Columns(
        option=table.option.tolist(),
        grade=grade.tolist(),
        before_driving=before_driving.tolist(),
        unseen=unseen.tolist(),
        worth_doing=(picks.round >= 0).tolist(),
        cost_now=_rounded(picks.cost_now_minor),
        hours=picks.hours.tolist(),
        worth=picks.worth_per_cost.tolist(),
        chance=priced.failure_chance_fraction.tolist(),
        times=(priced.failure_cost_minor / np.maximum(picks.cost_now_minor, LEAST_COST_MINOR)).tolist(),
        failure_cost=_rounded(priced.failure_cost_minor),
        failure=_rounded(priced.failure_minor),
        later_job=_rounded(priced.later_job_minor),
        danger=_rounded(priced.danger_minor),
        major=_rounded(priced.major_minor),
        credit=_rounded(priced.credit_minor),
        kept=_rounded(priced.kept_minor),
        minor_per_hour=table.minor_per_hour.tolist(),
        best=priced.best.tolist(),
        do_before=do_before_months(priced, picks.cost_now_minor + priced.kept_minor, before_driving).tolist(),
        opened=_opened(table, picks.opened),
    )


def _rounded(minor: FloatArray) -> list[int]:
    listed: list[int] = np.floor(minor + 0.5).astype(np.int64).tolist()
    return listed


def do_before_months(priced: Priced, cost_now_minor: FloatArray, before_driving: BoolArray) -> IntArray:
    """The longest wait of the grid that costs no more than doing the job now, shape (J,); 0 where none does."""
    fits = priced.by_way_minor[:, : len(WAIT_MONTHS)] <= cost_now_minor[:, None]
    longest = np.where(fits, np.asarray(WAIT_MONTHS), 0).max(axis=1, initial=0)
    return np.where(before_driving, 0, longest)


def _opened(table: JobTable, opened: BoolArray) -> list[list[str]]:
    keys: list[list[str]] = [[] for _ in range(len(table.option))]
    for job, unit in zip(table.unit_job[opened].tolist(), table.unit[opened].tolist(), strict=True):
        keys[job].append(table.unit_key[unit])
    return keys


def backlog_item(
    told: Columns,
    options: Sequence[JobOption],
    job: int,
    rank: int,
    horizon_km: float,
    alternatives: tuple[Alternative, ...] = (),
) -> BacklogItem:
    """Row `job` as a document with this rank."""
    option = options[told.option[job]]
    work, grade, do_before = option.work, told.grade[job], told.do_before[job]
    terms = WaitingTerms(
        told.failure[job],
        told.later_job[job],
        told.danger[job],
        told.major[job],
        -told.credit[job],
        -told.kept[job],
    )
    return BacklogItem(
        rank=rank,
        option=told.option[job],
        vehicle=option.vehicle,
        job=work.key,
        positions=work.positions,
        cells=option.cells,
        grade=_GRADES[grade] if grade >= 0 else None,
        before_driving=told.before_driving[job],
        unseen=told.unseen[job],
        cost_now_minor=told.cost_now[job],
        cost_range_minor=_cost_range(told, work, job),
        hours=told.hours[job],
        hours_range=_hours_range(told, work, job),
        cost_of_waiting_minor=terms.total_minor - told.cost_now[job],
        worth_per_cost=told.worth[job],
        failure_chance_fraction=told.chance[job],
        failure_cost_minor=told.failure_cost[job],
        terms=terms,
        best_wait=WAYS[told.best[job]],
        do_before_months=do_before or None,
        access=tuple([each.key for each in work.access]),
        follow_ups=tuple([each.key for each in work.follow_ups]),
        opened_before=tuple(told.opened[job]),
        reasons=_reasons(told, job, horizon_km),
        alternatives=alternatives,
    )


def _cost_range(told: Columns, work: JobWork, job: int) -> tuple[int, int]:
    """Parts and hours vary by themselves, so that their distances from the usual add as squares."""
    least_hours, most_hours = work.hours_range or (work.hours, work.hours)
    least_parts, most_parts = work.parts_range_minor or (work.parts_minor, work.parts_minor)
    rate, likely = told.minor_per_hour[job], told.cost_now[job]
    below = hypot(work.parts_minor - least_parts, (work.hours - least_hours) * rate)
    above = hypot(most_parts - work.parts_minor, (most_hours - work.hours) * rate)
    return max(rounded_minor(likely - below), 0), rounded_minor(likely + above)


def _hours_range(told: Columns, work: JobWork, job: int) -> tuple[float, float]:
    least, most = work.hours_range or (work.hours, work.hours)
    return told.hours[job] - work.hours + least, told.hours[job] - work.hours + most


_GRADES = tuple(Grade)


def _reasons(told: Columns, job: int, horizon_km: float) -> tuple[Reason, ...]:
    """Most telling first; those for waiting lead where it is not worth doing now."""
    for_now = _reasons_for_now(told, job, horizon_km)
    return tuple(for_now if told.worth_doing[job] else _reasons_to_wait(told, job) + for_now)


def _reasons_for_now(told: Columns, job: int, horizon_km: float) -> list[Reason]:
    found = []
    telling_minor = max(TELLING_SHARE * told.cost_now[job], LEAST_COST_MINOR)
    if told.before_driving[job]:
        found.append(Reason("dangerous-safety-part"))
    if told.times[job] >= TELLING_TIMES:
        found.append(Reason("failure-costs-times", {"times": round(told.times[job], 2)}))
    if told.chance[job] >= TELLING_CHANCE:
        facts = {"chance_fraction": round(told.chance[job], 4), "horizon_km": round(horizon_km)}
        found.append(Reason("failure-chance", facts))
    if told.danger[job] >= telling_minor:
        found.append(Reason("danger-exposure", {"minor": told.danger[job]}))
    if told.major[job] >= telling_minor:
        found.append(Reason("major-exposure", {"minor": told.major[job]}))
    if told.kept[job] > 0:
        found.append(Reason("part-kept", {"minor": told.kept[job]}))
    if told.opened[job]:
        found.append(Reason("access-opened", {"work": ", ".join(told.opened[job])}))
    if told.unseen[job]:
        found.append(Reason("unseen-too-long"))
    return found


def _reasons_to_wait(told: Columns, job: int) -> list[Reason]:
    found = []
    if told.do_before[job]:
        found.append(Reason("can-wait-months", {"months": told.do_before[job]}))
    if told.best[job] == UNTIL_MAJOR:
        found.append(Reason("wait-for-a-look"))
    if told.best[job] == UNTIL_FAILURE:
        found.append(Reason("run-to-failure"))
    if told.credit[job] > 0:
        found.append(Reason("life-left", {"minor": told.credit[job]}))
    return found
