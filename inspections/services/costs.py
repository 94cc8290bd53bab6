"""What things cost in a fleet: its labour rate, price level, own prices and closed jobs put to the catalogue."""

import hashlib
from functools import lru_cache
from typing import Any

import orjson

from fleetcare.fleet.models import Fleet, JobExperience, JobPrice, WorkTerms
from fleetcare.fleet.words import Doer, FleetKind
from fleetcare.kernel.money import minor_digits
from inspections.catalogue.books import cost_book, priced_book
from inspections.catalogue.loader import default_catalogue
from inspections.catalogue.prices import OwnFigures, PriceBook, Taken, Terms
from inspections.core.job_costs import Range
from inspections.core.types import CostBook

REFERENCE_LABOUR_EUR = 60
"""Euros an hour between own hours and a workshop's; the score uses one price level for all fleets, so that scores of
different fleets mean the same. Common practice, no source."""
WORKSHOP_EUR = 75
"""Euros an hour of work given away, where a fleet does not say what its workshop takes. Common practice, no source."""
_PRICE_FIELDS = (
    "job_key", "parts_low_minor", "parts_typical_minor", "parts_high_minor", "hours", "done_by",
)  # fmt: skip


def minor_per_euro(fleet: Fleet) -> float:
    """Minor units of the fleet's currency for a catalogue euro."""
    return float(fleet.price_factor) * float(10 ** minor_digits(fleet.currency))


def fleet_prices(fleet: Fleet) -> PriceBook:
    """What jobs cost in a fleet and who does them; three queries."""
    row = WorkTerms.objects.within(fleet).first()
    said = sorted(JobPrice.objects.within(fleet).values_list(*_PRICE_FIELDS))
    closed = sorted(JobExperience.objects.within(fleet).values_list("job_key", "hours", "parts_minor"))
    terms = _terms(fleet, row)
    inputs = [
        default_catalogue().digest, minor_per_euro(fleet), _as_json(terms),
        [[None if each is None else str(each) for each in price] for price in said], closed,
    ]  # fmt: skip
    key = hashlib.sha256(orjson.dumps(inputs)).hexdigest()
    own = {price[0]: _own(*price) for price in said}
    taken = {job: Taken(tuple(hours), tuple(parts)) for job, hours, parts in closed}
    return _kept(PriceBook(key, minor_per_euro(fleet), terms, own, taken))


@lru_cache(maxsize=256)
def _kept(prices: PriceBook) -> PriceBook:
    """The first of equal books, so that what it reckoned once is kept."""
    return prices


def usual_terms(fleet: Fleet) -> Terms:
    """What holds until a fleet says otherwise: its labour rate, and licensed work given away by all but workshops."""
    own = float(fleet.labour_per_hour_minor)
    if fleet.kind == FleetKind.WORKSHOP:
        return Terms(own, own, licensed_here=True)
    return Terms(own, max(own, WORKSHOP_EUR * minor_per_euro(fleet)))


def _terms(fleet: Fleet, row: WorkTerms | None) -> Terms:
    if row is None:
        return usual_terms(fleet)
    usual = usual_terms(fleet)
    own = usual.own_minor_per_hour if row.own_hour_minor is None else float(row.own_hour_minor)
    out = usual.workshop_minor_per_hour if row.workshop_hour_minor is None else float(row.workshop_hour_minor)
    return Terms(
        own_minor_per_hour=own,
        workshop_minor_per_hour=out,
        gives_away=row.done_by == Doer.WORKSHOP,
        hardest_own=row.hardest_own,
        licensed_here=row.licensed_here,
        raising=row.raising,
        tools=None if row.tools is None else frozenset(row.tools),
        tools_lacking=frozenset(row.tools_lacking),
    )


def _as_json(terms: Terms) -> list[Any]:
    values = (getattr(terms, name) for name in Terms.__slots__)
    return [sorted(each) if isinstance(each, frozenset) else each for each in values]


def _own(job_key: str, low: Any, typical: Any, high: Any, hours: Any, done_by: str) -> OwnFigures:
    """A price without bounds has those of the catalogue, in proportion."""
    parts = None
    if typical is not None:
        entry = default_catalogue().jobs.get(job_key)
        listed = entry.job.parts_eur if entry and entry.job.parts_eur.typical else None
        usual = typical * listed.low / listed.typical if listed else typical
        most = typical * listed.high / listed.typical if listed else typical
        parts = Range(float(usual if low is None else low), float(typical), float(most if high is None else high))
    return OwnFigures(parts, None if hours is None else float(hours), done_by)


@lru_cache(maxsize=256)
def fleet_costs(prices: PriceBook) -> CostBook:
    """Costs of every slot in the fleet's own money."""
    return priced_book(default_catalogue(), prices)


@lru_cache(maxsize=1)
def reference_costs() -> CostBook:
    """Costs of every slot in euro cents at the reference price level."""
    return cost_book(default_catalogue(), REFERENCE_LABOUR_EUR * 100, 1.0)
