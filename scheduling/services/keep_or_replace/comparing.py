"""Keep a vehicle or replace it: what each costs a year, every term with where it comes from."""

from typing import Any

import numpy as np

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.kernel.money import rounded_minor
from inspections.core.types import NEVER_LOOKED
from inspections.services.condition_documents import DISCLAIMER
from inspections.services.history import Batch, load_batch
from inspections.services.left import residuals_at, yearly_minor
from scheduling.core.keep_or_replace import (
    Keeping,
    Replacing,
    Running,
    Span,
    keep_or_replace,
    keeping_terms,
    replacing_terms,
)
from scheduling.services.keep_or_replace.asked import KeepAsk, ReplaceAsk, Term
from scheduling.services.keep_or_replace.bill import bill_of
from scheduling.services.keep_or_replace.fuel import Fuel
from scheduling.services.keep_or_replace.running import other_running, own_running
from scheduling.services.keep_or_replace.telling import Telling

Json = dict[str, Any]
MOSTLY_FRACTION = 0.3


def compare(
    access: Access,
    vehicle: Vehicle,
    keep: KeepAsk,
    other: ReplaceAsk,
    *,
    interest_fraction: float = 0.0,
    fuel_price_minor: float | None = None,
) -> Json:
    """Which is cheaper a year and how sure that is; a constant number of queries, nothing is stored.

    Raises InvalidInput, with its place, for what is neither said nor on record.
    """
    batch = load_batch(access.fleet, [vehicle.pk], today(access.fleet))
    bill = bill_of(batch)
    burnt = Fuel(access, batch, fuel_price_minor)
    own = own_running(batch, bill, keep)
    fuel = burnt.keep(keep)
    keeping = Keeping(bill.span, keep.worth_now, keep.worth_then, _running(own, fuel, keep.other_a_year), keep.years)
    theirs, their_fuel = other_running(batch, other), burnt.replace(other)
    running = _running(theirs, their_fuel, other.other_a_year)
    replacing = Replacing(other.price, other.worth_then, running, other.years)
    verdict = keep_or_replace(keeping, replacing, interest_fraction)
    sources = {
        "repair-bill": f"the backlog: {bill.count} jobs worth doing now" if bill.count else "the backlog: nothing now",
        **{name: term.source for name, term in {**own, "fuel": fuel}.items()},
    }
    their_sources = {name: term.source for name, term in {**theirs, "fuel": their_fuel}.items()}
    telling = Telling(batch.fleet.currency)
    return {
        "as_of": batch.on.isoformat(),
        "interest_fraction": interest_fraction,
        "km_per_year": round(float(batch.km_per_year[0])),
        "better": verdict.better,
        "say": telling.say(verdict),
        "unseen_parts": _unseen(batch),
        "keep": telling.side(verdict.keep_minor, keep.years, keeping_terms(keeping, interest_fraction), sources),
        "replace": telling.side(
            verdict.replace_minor, other.years, replacing_terms(replacing, interest_fraction), their_sources
        ),
        "break_even_bill": telling.span(verdict.break_even_bill_minor),
        "repair_bill": telling.rounded(bill.span),
        "repair_jobs": bill.told(batch),
        "judged_next_year": telling.money(_judged_next_year(batch)),
        "disclaimer": DISCLAIMER,
    }


def _unseen(batch: Batch) -> Json:
    """How many parts nobody ever looked at: what is expected of them is a guess by age and distance."""
    unseen, parts = int((batch.last_grade == NEVER_LOOKED).sum()), len(batch.last_grade)
    mostly = unseen > MOSTLY_FRACTION * parts
    say = f"{unseen} of {parts} parts were never looked at; what they will take is a guess by age and distance."
    return {"parts": unseen, "of": parts, "say": f"{say} Have it looked over before you decide." if mostly else say}


def _running(parts: dict[str, Term], fuel: Term, other: Span) -> Running:
    return Running(parts["jobs"].span, parts["risk"].span, fuel.span, other)


def _judged_next_year(batch: Batch) -> int:
    """The judge's figure for the coming year if nothing is done: what a condition answers, to compare with."""
    rows = np.arange(len(batch.cells.slot))
    return rounded_minor(float(yearly_minor(batch, rows, residuals_at(batch, rows)).sum()))
