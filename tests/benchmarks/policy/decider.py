"""The product's judge and decider, called on plain arrays just as its use-cases call them on what they load.

`same_choices` shows on real database rows that both make the same choices.
"""

from collections.abc import Callable, Sequence
from dataclasses import fields

import numpy as np

from inspections.core.grade_table import GradeTable, residuals_by_last_grade
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.plausible_lives import STAGE_SHARES, PlausibleLives
from inspections.core.types import BoolArray, FloatArray, IntArray, Residuals
from inspections.core.wear import WearSeries, forecast_wear
from scheduling.core.backlog import HORIZON_KM, Ranking, candidates, rank_jobs
from scheduling.core.long_run import long_run_cost_per_km, new_part_residuals
from scheduling.core.types import JobOption
from scheduling.core.waiting import LOOK_EVERY_KM, look_interval_clock_km, waiting_of_rows
from tests.benchmarks.policy.record import Record
from tests.benchmarks.policy.trade import LABOUR_EUR, MINOR, Trade
from tests.benchmarks.policy.truth import GAUGE_SD, MEASURED_AT, Cars

ResidualsOf = Callable[[IntArray], Residuals]
ROWS_AT_ONCE = 1024


class Decider:
    """Ranks what could be done now, on all cars at once."""

    def __init__(self, trade: Trade, record: Record, residuals_of: ResidualsOf, *, without_finding: bool = False):
        self.trade, self.record, self.residuals_of = trade, record, residuals_of
        self.without_finding = without_finding
        every = np.full(trade.slots, LOOK_EVERY_KM)
        self.credit = long_run_cost_per_km(new_part_residuals(trade.book), trade.costs, every)

    def ranking(self, grade: IntArray) -> Ranking:
        """Every job at a part with a finding (or at any part), ranked; `grade` is the last one seen of each cell."""
        record = self.record
        rows = np.flatnonzero((grade > 0) | self.without_finding)
        options = self._options(rows)
        cells = record.cells(np.arange(len(grade)))
        own_km = record.fleets.km_per_month[record.car]
        interval = look_interval_clock_km(cells.clock_km_per_month, own_km)
        horizon = HORIZON_KM * cells.clock_km_per_month / own_km
        unseen = np.full(len(grade), self.without_finding)
        needed = candidates(options, grade, unseen)
        return rank_jobs(
            options,
            cells,
            grade,
            waiting_of_rows(self.residuals_of, cells, needed, interval, horizon, ROWS_AT_ONCE),
            self.trade.costs,
            self.credit,
            np.full(record.cars, LABOUR_EUR * MINOR),
            unseen,
        )

    def _options(self, rows: IntArray) -> Sequence[JobOption]:
        works, car, slot = self.trade.works, self.record.car, self.record.slot
        return [
            JobOption(vehicle, works[of], (row,))
            for vehicle, of, row in zip(car[rows].tolist(), slot[rows].tolist(), rows.tolist(), strict=True)
        ]


def by_life_filter(trade: Trade, record: Record) -> ResidualsOf:
    """What is left of parts by every look at them; by the gauge where there is a reading."""
    lives = PlausibleLives.of(trade.book)

    def residuals_of(rows: IntArray) -> Residuals:
        by_eye = residuals_by_life_filter(trade.book, record.cells(rows), record.looks(rows), lives=lives)
        measured = np.flatnonzero(trade.measured[record.slot[rows]])
        readings = record.readings(rows[measured])
        read = np.unique(readings.series)
        return by_eye if not len(read) else _overlaid(by_eye, measured[read], _by_gauge(trade, record, rows[measured[read]]))

    return residuals_of


def by_looks_alone(trade: Trade, record: Record) -> ResidualsOf:
    """The same, gauge readings taken as mere grades."""
    lives = PlausibleLives.of(trade.book)
    return lambda rows: residuals_by_life_filter(trade.book, record.cells(rows), record.looks(rows), lives=lives)


def by_last_grade(trade: Trade, record: Record) -> ResidualsOf:
    """The grade table: the last grade and the distance since, nothing else."""
    table = GradeTable.of(trade.book)

    def residuals_of(rows: IntArray) -> Residuals:
        last = record.last_look_clock_km(rows)
        return residuals_by_last_grade(trade.book, record.cells(rows), record.last_grade[rows], last, table=table)

    return residuals_of


def by_the_truth(cars: Cars) -> ResidualsOf:
    """What a clairvoyant knows: the one life that a part will really lead."""

    def residuals_of(rows: IntArray) -> Residuals:
        left = np.maximum(cars.life[rows] - cars.position[rows, None], 0.0)
        return Residuals(np.ones((len(rows), 1)), *(left[:, [end]] for end in range(4)))

    return residuals_of


def _overlaid(residuals: Residuals, at: IntArray, others: Residuals) -> Residuals:
    for field in fields(Residuals):
        getattr(residuals, field.name)[at] = getattr(others, field.name)
    return residuals


def _by_gauge(trade: Trade, record: Record, rows: IntArray) -> Residuals:
    """The wear forecast as equally likely lives; as many of them as the life filter has."""
    cells, ones = record.cells(rows), np.ones(len(rows))
    minor, limit, dangerous, _ = MEASURED_AT
    series = WearSeries(
        new_value=0.0 * ones,
        minor_value=minor * ones,
        limit_value=limit * ones,
        dangerous_value=dangerous * ones,
        noise_sd=GAUGE_SD * ones,
        life_km=trade.book.life_km[cells.slot],
        fitted_clock_km=cells.fitted_clock_km,
        now_clock_km=cells.now_clock_km,
    )
    forecast = forecast_wear(series, record.readings(rows))
    pf_km = trade.book.pf_km[cells.slot][:, None]
    column = _spread_over(forecast.to_limit_km.shape[1], len(PlausibleLives.of_rows(trade.book, cells.slot[:1]).weight))
    minor_in, limit_in, danger_in = (
        each[:, column] for each in (forecast.to_minor_km, forecast.to_limit_km, forecast.to_dangerous_km)
    )
    _, bad, worst = STAGE_SHARES
    failure = danger_in + worst / bad * np.maximum(danger_in - limit_in, bad * pf_km * 0.5)
    weight = np.full(limit_in.shape, 1.0 / limit_in.shape[1])
    return Residuals(weight, np.minimum(minor_in, limit_in), limit_in, danger_in, failure)


def _spread_over(columns: int, points: int) -> IntArray:
    return np.asarray(((np.arange(points) + 0.5) / points * columns).astype(np.int64))


def findings(grade: IntArray, least: int) -> BoolArray:
    """Cells whose last grade is at least so bad."""
    return np.asarray(grade >= least)
