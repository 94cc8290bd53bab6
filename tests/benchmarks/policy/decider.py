"""The product's judge and decider, called on plain arrays just as its use-cases call them on what they load.

`same_choices` shows on real database rows that both rank the same jobs in the same order.
"""

from collections.abc import Callable
from dataclasses import fields

import numpy as np

from inspections.core.grade_table import GradeTable, residuals_by_last_grade
from inspections.core.life_filter import residuals_by_life_filter
from inspections.core.looking import LOOK_EVERY_KM, look_interval_clock_km, seen_chances
from inspections.core.plausible_lives import STAGE_SHARES, PlausibleLives
from inspections.core.types import BoolArray, FloatArray, IntArray, Residuals
from inspections.core.wear import WearForecast, WearSeries, forecast_wear
from scheduling.core.backlog import HORIZON_KM, Ranking, candidates, rank_jobs
from scheduling.core.long_run import long_run_cost_per_km, new_part_residuals
from scheduling.core.look_worth import look_worth, unseen_too_long, worth_looking
from scheduling.core.types import JobOption
from scheduling.core.waiting import waiting_of_rows
from tests.benchmarks.policy.record import Record
from tests.benchmarks.policy.trade import LABOUR_EUR, MINOR, Trade
from tests.benchmarks.policy.truth import Cars

ResidualsOf = Callable[[IntArray], Residuals]
ROWS_AT_ONCE = 1024


class Decider:
    """Ranks what could be done now, on all cars at once."""

    def __init__(
        self,
        trade: Trade,
        record: Record,
        residuals_of: ResidualsOf,
        *,
        without_finding: bool = False,
        blind: bool = False,
    ) -> None:
        self.trade, self.record, self.residuals_of = trade, record, residuals_of
        self.without_finding, self.blind = without_finding, blind
        every = np.full(trade.slots, LOOK_EVERY_KM)
        self.credit = long_run_cost_per_km(new_part_residuals(trade.book), trade.costs, every)

    def ranking(self, grade: IntArray) -> Ranking:
        """Every job at a part with a finding (or at any part), ranked; `grade` is the last one seen of each cell."""
        record = self.record
        unseen = self.unseen() if self.blind else np.full(len(grade), self.without_finding)
        options = self._options(np.flatnonzero((grade > 0) | unseen))
        cells = record.cells(np.arange(len(grade)))
        own_km = record.km_per_month[record.car]
        interval = look_interval_clock_km(cells.clock_km_per_month, own_km)
        horizon = HORIZON_KM * cells.clock_km_per_month / own_km
        rows = candidates(options, grade, unseen)
        return rank_jobs(
            options,
            cells,
            grade,
            waiting_of_rows(self.residuals_of, cells, rows, interval, horizon, ROWS_AT_ONCE),
            self.trade.costs,
            self.credit,
            np.full(record.cars, LABOUR_EUR * MINOR),
            unseen,
        )

    def unseen(self) -> BoolArray:
        """Visible parts that nobody has looked at for too long, shape (K,)."""
        record = self.record
        cells = record.cells(np.arange(len(record.slot)))
        interval = look_interval_clock_km(cells.clock_km_per_month, record.km_per_month[record.car])
        since = record.now - record.last_look_clock_km(np.arange(len(record.slot)))
        visible = self.trade.book.pf_km[record.slot] > 0.0
        safety = self.trade.costs.safety[record.slot]
        return visible & unseen_too_long(record.last_grade, since, interval, safety)

    def looks(self, minutes_minor: float, setup_minor: float) -> IntArray:
        """Rows of parts worth a look before anything else, at these costs of a look and of setting up a car."""
        record, rows = self.record, np.flatnonzero(self.unseen())
        if not len(rows):
            return rows
        cells, car = record.cells(rows), record.car[rows]
        interval = look_interval_clock_km(cells.clock_km_per_month, record.km_per_month[car])
        found = record.last_grade[rows] > 0
        worth = [
            look_worth(
                self.residuals_of(rows[at]), record.cells(rows[at]), interval[at], self.trade.costs, self.credit,
                seen_chances(), found[at],
            )
            for at in (slice(start, start + ROWS_AT_ONCE) for start in range(0, len(rows), ROWS_AT_ONCE))
        ]  # fmt: skip
        saving = np.concatenate([each.saving_minor for each in worth])
        asked = worth_looking(saving, np.full(len(rows), minutes_minor), car, np.full(record.cars, setup_minor))
        return rows[asked]

    def _options(self, rows: IntArray) -> list[JobOption]:
        """Every job that renews one of these cells; a job over several of them once."""
        car, slot = self.record.car[rows].tolist(), self.record.slot[rows].tolist()
        options: dict[tuple[int, str, tuple[int, ...]], JobOption] = {}
        for vehicle, of in zip(car, slot, strict=True):
            first = vehicle * self.trade.slots
            for job in self.trade.jobs[of]:
                cells = tuple(first + each for each in job.slots)
                options.setdefault((vehicle, job.work.key, cells), JobOption(vehicle, job.work, cells))
        return list(options.values())


def by_life_filter(trade: Trade, record: Record) -> ResidualsOf:
    """What is left of parts by every look at them; by the gauge where there is a reading."""
    lives = PlausibleLives.of(trade.book)

    def residuals_of(rows: IntArray) -> Residuals:
        by_eye = residuals_by_life_filter(trade.book, record.cells(rows), record.looks(rows), lives=lives)
        read = np.unique(record.readings(rows).series)
        return _overlaid(by_eye, read, _by_gauge(trade, record, rows[read], by_eye.weight.shape[1]))

    return residuals_of


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


def _by_gauge(trade: Trade, record: Record, rows: IntArray, points: int) -> Residuals:
    """The wear forecast as `points` equally likely lives; from the limit on, the stages of the P-F interval."""
    pf_km = trade.book.pf_km[record.slot[rows]][:, None]
    family, kin = _family(trade, record, rows)
    forecast, place = _forecast(trade, record, family, kin), np.searchsorted(family, rows)
    column = ((np.arange(points) + 0.5) / points * forecast.to_limit_km.shape[1]).astype(np.int64)
    minor, limit, danger = (
        _columns(each[place], column) for each in (forecast.to_minor_km, forecast.to_limit_km, forecast.to_dangerous_km)
    )
    _, bad, worst = STAGE_SHARES
    danger = np.where(np.isfinite(danger), danger, limit + bad * pf_km)
    failure = danger + worst / bad * np.maximum(danger - limit, 0.5 * bad * pf_km)
    return Residuals(np.full(limit.shape, 1.0 / points), np.minimum(minor, limit), limit, danger, failure)


def _columns(values: FloatArray, column: IntArray) -> FloatArray:
    return np.asarray(values[:, column], dtype=np.float64)


def _family(trade: Trade, record: Record, rows: IntArray) -> tuple[IntArray, IntArray]:
    """All parts with readings that are of one kind at one car with one of these, ascending, and which belong together.

    They learn from each other how unevenly they wear, so that none may be missing.
    """
    measured = np.flatnonzero(trade.measured[record.slot])
    kin = record.car * (int(trade.kind_of.max()) + 1) + trade.kind_of[record.slot]
    near = measured[np.isin(kin[measured], kin[rows])]
    family = near[np.unique(record.readings(near).series)]
    return family, kin[family]


def _forecast(trade: Trade, record: Record, rows: IntArray, kin: IntArray) -> WearForecast:
    cells, gauge = record.cells(rows), trade.gauge
    series = WearSeries(
        new_value=gauge.new[cells.slot],
        minor_value=gauge.minor[cells.slot],
        limit_value=gauge.limit[cells.slot],
        dangerous_value=gauge.dangerous[cells.slot],
        noise_sd=gauge.noise_sd[cells.slot],
        life_km=trade.book.life_km[cells.slot],
        fitted_clock_km=cells.fitted_clock_km,
        now_clock_km=cells.now_clock_km,
    )
    return forecast_wear(series, record.readings(rows), kin=kin)
