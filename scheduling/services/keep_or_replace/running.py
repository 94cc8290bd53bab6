"""What the parts of both vehicles are expected to take a year, in jobs and in risk."""

from dataclasses import replace

import numpy as np

from fleetcare.kernel.errors import InvalidInput
from inspections.core.types import NEVER_LOOKED, Cells, FloatArray, IntArray, Looks
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch
from inspections.services.left import cells_at, looks_to_come_km, residuals_at
from scheduling.core.keep_or_replace import Span
from scheduling.core.running_costs import RunningCosts, Use, renewed_costs, running_costs
from scheduling.services.keep_or_replace.asked import KeepAsk, ReplaceAsk, Term
from scheduling.services.keep_or_replace.bill import Bill
from scheduling.services.ranking import renewal_credit, seen_sound


def own_running(batch: Batch, bill: Bill, keep: KeepAsk) -> dict[str, Term]:
    """Jobs and risk a year of this vehicle once the bill is paid."""
    use, credit = _use(batch, keep.years), _own_credit(batch)
    done = np.union1d(bill.renewed, bill.mended)
    as_they_are = np.setdiff1d(np.arange(len(batch.cells.slot)), done)
    total = _expected(batch, as_they_are, use, credit) + _expected(
        seen_sound(batch, bill.mended), bill.mended, use, credit
    )
    total += renewed_costs(batch.cells.slot[bill.renewed], _at(use, bill.renewed), credit)
    source = (
        f"what the judge expects of each of {len(batch.cells.slot)} parts over {keep.years:g} years after these jobs, "
        "looked at every 10,000 km and renewed once major"
    )
    expected = _parts(total, keep.years, source)
    said = {"jobs": keep.jobs_a_year, "risk": keep.risk_a_year}
    return {**expected, **{name: Term(span, "as you say") for name, span in said.items() if span is not None}}


def other_running(batch: Batch, other: ReplaceAsk) -> dict[str, Term]:
    """Jobs and risk a year of the other vehicle: as the user says, or what such a vehicle usually takes.

    Raises InvalidInput where neither can be.
    """
    if other.jobs_a_year is not None:
        said = "as you say"
        return {
            "jobs": Term(other.jobs_a_year, said),
            "risk": Term(other.risk_a_year or Span.exactly(0.0), said if other.risk_a_year else "you say none"),
        }
    if other.age_years is None or other.odometer_km is None:
        sentence = "Say what its jobs cost a year, or its age_years and odometer_km to have them reckoned."
        raise InvalidInput.at("/replace/jobs_per_year", "required", sentence)
    such = _such_a_vehicle(batch, other.age_years, other.odometer_km)
    total = _expected(such, np.arange(len(such.cells.slot)), _use(such, other.years), _own_credit(batch))
    source = (
        f"what parts of a vehicle like this one usually take over {other.years:g} years, "
        f"from {other.odometer_km:,.0f} km and {other.age_years:g} years on, nobody having looked at it"
    )
    return _parts(total, other.years, source)


def _own_credit(batch: Batch) -> FloatArray:
    """What a clock km of a new part's life costs on the one vehicle of a batch, whose model may outlast the book."""
    return np.asarray(renewal_credit(batch) / batch.life_factor[0])


def _such_a_vehicle(batch: Batch, age_years: float, odometer_km: float) -> Batch:
    """A vehicle of the same kind and use at that age and distance, of which nothing is on record."""
    cells, book = batch.cells, batch.book
    count = len(cells.slot)
    now = book.clock_km(cells.slot, np.full(count, odometer_km), np.full(count, age_years))
    unknown = Cells(cells.vehicle, cells.slot, np.full(count, np.nan), now, cells.clock_km_per_month)
    nothing = np.zeros(0, dtype=np.int64)
    return replace(
        batch,
        cells=unknown,
        looks=Looks(nothing, np.zeros(0), nothing),
        last_grade=np.full(count, NEVER_LOOKED),
        since_look_km=np.zeros(count),
        measured=replace(batch.measured, cell=nothing),
    )


def _parts(total: RunningCosts, years: float, source: str) -> dict[str, Term]:
    return {
        "jobs": Term(total.jobs.a_year(years), source),
        "risk": Term(total.risk.a_year(years), f"{source}: failures on the road and driving in a bad state"),
    }


def _use(batch: Batch, years: float) -> Use:
    cells = batch.cells
    per_month = batch.km_per_year[cells.vehicle] / 12.0
    first, every = looks_to_come_km(batch)
    return Use(12.0 * years * cells.clock_km_per_month, every, per_month / cells.clock_km_per_month, first)


def _at(use: Use, rows: IntArray) -> Use:
    return Use(*(getattr(use, name)[rows] for name in Use.__slots__))


def _expected(batch: Batch, rows: IntArray, use: Use, credit: FloatArray) -> RunningCosts:
    slot = cells_at(batch.cells, rows).slot
    return running_costs(residuals_at(batch, rows), fleet_costs(batch.prices), slot, _at(use, rows), credit)
