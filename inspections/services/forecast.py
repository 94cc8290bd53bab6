"""What to expect of each part, and everything a figure rests on: answers for one vehicle, computed when asked for."""

from datetime import date, timedelta
from typing import Any

import numpy as np

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.kernel.errors import NotFound
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import Money, rounded_minor
from inspections.core.crossing import Band
from inspections.core.deterioration import expected_km_to_next_grade, failure_chance_fraction, months_to_failure
from inspections.core.types import NEVER_LOOKED, IntArray
from inspections.services.assessment import Verdicts, judge
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch, load_batch
from inspections.services.left import cells_at, residuals_at, yearly_minor

Json = dict[str, Any]
_FARTHEST_DAYS = 365 * 60
_DAYS_PER_MONTH = 365.25 / 12


def part_forecasts(access: Access, vehicle: Vehicle) -> Json:
    """Usage, and for every part when its limit, its next grade or its failure is to be expected."""
    on = today(access.fleet)
    batch = load_batch(access.fleet, [vehicle.pk], on)
    rows = np.arange(len(batch.cells.slot))
    eye = _by_eye(batch, judge(batch), rows)
    figure = {int(cell): _by_figure(batch, index) for index, cell in enumerate(batch.measured.cell)}
    items = [{**_slot(batch, row), **eye[row], "measured": figure.get(row)} for row in rows.tolist()]
    return {"as_of": on.isoformat(), "usage": _usage(batch), "items": items}


def explanation(access: Access, vehicle: Vehicle, part_key: str, position: str) -> Json:
    """Everything that the figures about one part rest on; raises NotFound for a part this vehicle does not have."""
    batch = load_batch(access.fleet, [vehicle.pk], today(access.fleet))
    slot = batch.catalogue.slot_index.get((part_key, position), -1)
    found = np.flatnonzero(batch.cells.slot == slot)
    if not len(found):
        raise NotFound
    row = int(found[0])
    verdicts = judge(batch)
    measured = np.flatnonzero(batch.measured.cell == row)
    return {
        **_slot(batch, row),
        "usage": _usage(batch),
        "life": _life(batch, slot, float(batch.life_factor[batch.cells.vehicle[row]])),
        "clock": _clock(batch, row),
        "looks": _looks(batch, row),
        "costs": _costs(batch, verdicts, row),
        "expected": _by_eye(batch, verdicts, found)[row],
        "measured": _by_figure(batch, int(measured[0])) if len(measured) else None,
        "points": round(float(verdicts.scores.points[row]), 4),
        "digest": verdicts.digests[0],
    }


def _slot(batch: Batch, row: int) -> Json:
    slot = batch.catalogue.slots[int(batch.cells.slot[row])]
    grade = int(batch.last_grade[row])
    return {
        "part": slot.part_key,
        "title": batch.catalogue.parts[slot.part_key].title,
        "position": slot.position or None,
        "grade": None if grade == NEVER_LOOKED else Grade(grade).word,
    }


def _usage(batch: Batch) -> Json:
    forecast = batch.roads.forecast
    return {
        "km_per_year": _interval(forecast.km_per_day, 0, 365.25),
        "odometer_now_km": _interval(forecast.odometer_now_km, 0),
        "readings": batch.roads.readings[0],
    }


def _interval(band: Band, index: int, factor: float = 1.0, digits: int = 0) -> Json:
    low, median, high = (round(float(each[index]) * factor, digits) for each in (band.low, band.median, band.high))
    return {"low": low, "expected": median, "high": high, "level": 0.8}


def _by_eye(batch: Batch, verdicts: Verdicts, rows: IntArray) -> dict[int, Json]:
    residuals = residuals_at(batch, rows)
    cells = cells_at(batch.cells, rows)
    chance = failure_chance_fraction(residuals, cells, 12.0)
    ends = months_to_failure(residuals, cells)
    onward = expected_km_to_next_grade(residuals, batch.last_grade[rows]) / cells.clock_km_per_month
    return {
        int(row): {
            "failure_chance_next_year_fraction": round(float(chance[n]), 4),
            "fails": {name: _day(batch.on, ends[n, k]) for k, name in enumerate(("early", "expected", "late"))},
            "next_grade_on": _day(batch.on, onward[n]),
        }
        for n, row in enumerate(rows)
    }


def _day(on: date, months: float | np.floating[Any]) -> str | None:
    """A day so many months ahead; nothing where it is beyond anybody's planning."""
    days = float(months) * _DAYS_PER_MONTH
    return (on + timedelta(days=int(days))).isoformat() if np.isfinite(days) and days < _FARTHEST_DAYS else None


def _by_figure(batch: Batch, index: int) -> Json:
    measured, forecast = batch.measured, batch.measured.forecast
    row = int(measured.cell[index])
    per_month = batch.cells.clock_km_per_month[row]
    measurement = batch.catalogue.checks[measured.check_keys[index]].check.measurement
    chance = float(forecast.renewal_suspected_fraction[index])
    ends = (forecast.limit_in_km.low, forecast.limit_in_km.median, forecast.limit_in_km.high)
    early, expected, late = (float(each[index]) / per_month for each in ends)
    km_per_month = float(batch.km_per_year[0]) / 12.0
    return {
        "check": measured.check_keys[index],
        "unit": measurement.unit if measurement else "",
        "limit": float(measured.limit[index]),
        "readings": int((measured.readings.series == index).sum()),
        "value_now": _interval(forecast.value_now, index, 1.0, 2),
        "wear_per_1000_km": _interval(forecast.wear_per_1000_km, index, 1.0, 4),
        "limit_on": {"low": _day(batch.on, early), "expected": _day(batch.on, expected), "high": _day(batch.on, late)},
        "limit_at_km": {
            name: round(float(batch.roads.now_km[0]) + months * km_per_month) if np.isfinite(months) else None
            for name, months in (("low", early), ("expected", expected), ("high", late))
        },
        "limit_passed_fraction": round(float(forecast.limit_passed_fraction[index]), 4),
        "renewal_suspected": _renewal(batch, index) if chance >= 0.5 else None,
    }


def _renewal(batch: Batch, index: int) -> Json:
    """A figure got better than wear allows: somebody fitted a new part between two looks and did not say when."""
    low, high = batch.measured.forecast.renewal_suspected_between_km[index]
    row = int(batch.measured.cell[index])
    ago = [(batch.cells.now_clock_km[row] - each) / batch.cells.clock_km_per_month[row] for each in (low, high)]
    earliest, latest = (batch.on - timedelta(days=int(months * _DAYS_PER_MONTH)) for months in ago)
    return {
        "chance_fraction": round(float(batch.measured.forecast.renewal_suspected_fraction[index]), 3),
        "earliest": earliest.isoformat(),
        "latest": latest.isoformat(),
        "question": "It measures better than before: when was it renewed? Record the fitted part.",
    }


def _life(batch: Batch, slot: int, factor: float) -> Json:
    book = batch.book
    return {
        "life_km": float(book.life_km[slot]) * factor,
        "life_cv": float(book.life_cv[slot]),
        "first_sign_to_failure_km": float(book.pf_km[slot]) * min(factor, 1.0),
        "model_factor": round(factor, 3),
        "km_weight": float(book.km_weight[slot]),
        "km_per_year_of_age": round(float(book.km_per_year[slot]), 1),
        "source": batch.catalogue.parts[batch.catalogue.slots[slot].part_key].life.source,
        "clock": "km_weight x km + (1 - km_weight) x years x km_per_year_of_age",
    }


def _clock(batch: Batch, row: int) -> Json:
    fitted = float(batch.cells.fitted_clock_km[row])
    return {
        "fitted_clock_km": None if np.isnan(fitted) else round(fitted),
        "history": "as bought, history unknown" if np.isnan(fitted) else "recorded",
        "now_clock_km": round(float(batch.cells.now_clock_km[row])),
        "clock_km_per_month": round(float(batch.cells.clock_km_per_month[row]), 1),
        "since_look_km": round(float(batch.since_look_km[row])),
    }


def _looks(batch: Batch, row: int) -> list[Json]:
    mine = np.flatnonzero(batch.looks.cell == row)
    return [
        {"clock_km": round(float(batch.looks.clock_km[n])), "grade": Grade(int(batch.looks.grade[n])).word}
        for n in mine
    ]


def _costs(batch: Batch, verdicts: Verdicts, row: int) -> Json:
    costs, slot = fleet_costs(batch.prices), int(batch.cells.slot[row])
    rows = np.array([row])
    yearly = yearly_minor(batch, rows, residuals_at(batch, rows))

    def money(minor: float) -> dict[str, str]:
        return Money(rounded_minor(minor), batch.fleet.currency).as_json()

    return {
        "planned_job": money(float(costs.planned_minor[slot])),
        "failure": money(float(costs.failure_minor[slot])),
        "major_per_1000_km": money(float(costs.major_minor_per_km[slot]) * 1000),
        "dangerous_per_1000_km": money(float(costs.dangerous_minor_per_km[slot]) * 1000),
        "next_year": money(float(yearly[0])),
    }
