"""The ranked backlog of vehicles and of a fleet: decided over a batch, stored, answered."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Standing, Vehicle
from fleetcare.kernel.dates import add_months
from fleetcare.kernel.money import Money
from inspections.catalogue.catalogue import Catalogue
from inspections.core.types import CostBook, FloatArray, IntArray, LifeBook, Residuals
from inspections.services.assessment import Verdicts, is_fresh, judge, residuals_at
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch, load_batch
from scheduling.core.backlog import HORIZON_KM, Ranking, candidates, rank_jobs
from scheduling.core.bundles import Bundle, bundles
from scheduling.core.long_run import long_run_cost_per_km, new_part_residuals
from scheduling.core.reasons import phrase
from scheduling.core.types import Backlog, BacklogItem
from scheduling.core.waiting import LOOK_EVERY_KM, look_interval_clock_km, waiting_of_rows
from scheduling.models import StoredBacklog
from scheduling.selectors import fleet_backlogs, stored_backlog
from scheduling.services.options import job_options

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Backlogs:
    """The documents of a batch, one a vehicle, in its order."""

    batch: Batch
    digests: tuple[str, ...]
    documents: tuple[Json, ...]


def decide(batch: Batch, verdicts: Verdicts) -> Backlogs:
    """Ranks the jobs of every vehicle of a batch; pure computing on what was loaded."""
    ranking = ranked(batch)
    documents = tuple(_document(batch, index, ranking) for index in range(len(batch.vehicles)))
    return Backlogs(batch, verdicts.digests, documents)


def ranked(batch: Batch) -> Ranking | None:
    """The jobs of every vehicle of a batch in their order; None where nothing was found at all."""

    def residuals_of(rows: IntArray) -> Residuals:
        return residuals_at(batch, rows)

    options = job_options(batch)
    if not options:
        return None
    cells, vehicle = batch.cells, batch.cells.vehicle
    interval = look_interval_clock_km(cells.clock_km_per_month, batch.km_per_year[vehicle] / 12.0)
    # The horizon is told in km of the road; each part's own clock runs slower or faster.
    horizon = HORIZON_KM * cells.clock_km_per_month / (batch.km_per_year[vehicle] / 12.0)
    rows = candidates(options, batch.last_grade)
    return rank_jobs(
        options,
        cells,
        batch.last_grade,
        waiting_of_rows(residuals_of, cells, rows, interval, horizon),
        fleet_costs(batch.fleet),
        _renewal_credit(batch),
        np.full(len(batch.vehicles), float(batch.fleet.labour_per_hour_minor)),
    )


def _renewal_credit(batch: Batch) -> FloatArray:
    """Long-run cost of a new part per clock km, by slot, at the fleet's prices and with the lives it learned."""
    fleet, book = batch.fleet, batch.book
    key = (fleet.labour_per_hour_minor, str(fleet.price_factor), fleet.currency, book.life_km.tobytes())
    return _credit(key, lambda: (book, fleet_costs(fleet)))


_credits: dict[tuple[Any, ...], FloatArray] = {}
_CREDITS_KEPT = 64


def _credit(key: tuple[Any, ...], inputs: Callable[[], tuple[LifeBook, CostBook]]) -> FloatArray:
    """Kept between batches, since it takes longer than ranking one vehicle; the key says all it rests on."""
    if key not in _credits:
        if len(_credits) >= _CREDITS_KEPT:
            _credits.clear()
        book, costs = inputs()
        interval = np.full(len(book.life_km), LOOK_EVERY_KM)
        _credits[key] = long_run_cost_per_km(new_part_residuals(book), costs, interval)
    return _credits[key]


def _document(batch: Batch, index: int, ranking: Ranking | None) -> Json:
    vehicle = batch.vehicles[index]
    backlog = ranking.of(index) if ranking else Backlog((), ())
    money = _Money(batch.fleet.currency)
    return {
        "vehicle": str(vehicle.pk),
        "items": [_item(batch, money, item) for item in backlog.items],
        "can_wait": [_item(batch, money, item) for item in backlog.can_wait],
        "bundles": [_bundle(ranking, money, each) for each in bundles(ranking, index)] if ranking else [],
        "total_cost": money(backlog.total_cost_minor),
        "as_of": batch.on.isoformat(),
    }


def _bundle(ranking: Ranking, money: "_Money", bundle: Bundle) -> Json:
    """Jobs that can wait singly and are worth doing together, since they share what has to be taken apart."""
    works = [ranking.options[option].work for option in bundle.options]
    return {
        "jobs": [{"job": work.key, "positions": list(work.positions)} for work in works],
        "shared": list(bundle.shared),
        "saving": money(bundle.saving_minor),
        "cost": money(bundle.cost_minor),
    }


class _Money:
    def __init__(self, currency: str) -> None:
        self.currency = currency

    def __call__(self, minor: int) -> dict[str, str]:
        return Money(minor, self.currency).as_json()


def _item(batch: Batch, money: _Money, item: BacklogItem) -> Json:
    catalogue: Catalogue = batch.catalogue
    entry = catalogue.jobs[item.job]
    terms = item.terms
    return {
        "rank": item.rank,
        "job": item.job,
        "title": entry.job.title,
        "part": entry.part.key,
        "positions": list(item.positions),
        "grade": None if item.grade is None else item.grade.word,
        "cost_now": money(item.cost_now_minor),
        "hours": round(item.hours, 2),
        "cost_of_waiting": money(item.cost_of_waiting_minor),
        "worth_per_cost": round(item.worth_per_cost, 3),
        "failure_chance_fraction": round(item.failure_chance_fraction, 4),
        "failure_cost": money(item.failure_cost_minor),
        "terms": {
            "failure": money(terms.failure_minor),
            "later_job": money(terms.later_job_minor),
            "dangerous_driving": money(terms.danger_minor),
            "major_driving": money(terms.major_minor),
            "renewal_credit": money(terms.renewal_credit_minor),
            "best_way_to_wait": item.best_wait,
        },
        "do_before": _do_before(batch.on, item),
        "before_driving": item.before_driving,
        "access": list(item.access),
        "follow_ups": list(item.follow_ups),
        "opened_before": list(item.opened_before),
        "licensed": entry.job.licensed,
        "difficulty": entry.job.difficulty,
        "cautions": [catalogue.cautions[key].text for key in entry.job.cautions],
        "reasons": [phrase(reason) for reason in item.reasons],
    }


def _do_before(on: date, item: BacklogItem) -> str | None:
    """The day up to which waiting costs no more than now; today where none does."""
    return add_months(on, item.do_before_months or 0).isoformat()


def store_backlogs(backlogs: Backlogs) -> None:
    """Stores the documents and carries their sums to the vehicles' standing; a constant number of statements."""
    batch = backlogs.batch
    rows = [
        StoredBacklog(
            fleet=batch.fleet,
            vehicle=vehicle,
            as_of=batch.on,
            revision=vehicle.standing.revision,
            digest=digest,
            document=document,
        )
        for vehicle, digest, document in zip(batch.vehicles, backlogs.digests, backlogs.documents, strict=True)
    ]
    StoredBacklog.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["vehicle"],
        update_fields=["as_of", "revision", "digest", "document"],
    )
    standings = [vehicle.standing for vehicle in batch.vehicles]
    for standing, document in zip(standings, backlogs.documents, strict=True):
        standing.backlog_cost_minor = _minor(document["total_cost"], batch.fleet.currency)
        standing.backlog_jobs = len(document["items"])
    Standing.objects.bulk_update(standings, ["backlog_cost_minor", "backlog_jobs"])


def _minor(money: dict[str, str], currency: str) -> int:
    return Money.of(Decimal(money["amount"]), currency).minor


def current_backlog(access: Access, vehicle: Vehicle) -> Json:
    """The backlog as stored, or computed for this answer where what is stored is older than the last write or today."""
    stored = stored_backlog(access, vehicle)
    if stored is not None and is_fresh(vehicle.standing, stored.revision, stored.as_of, today(access.fleet)):
        document: Json = stored.document
        return document
    batch = load_batch(access.fleet, [vehicle.pk], today(access.fleet))
    return decide(batch, judge(batch)).documents[0]


def fleet_backlog(access: Access) -> Json:
    """The jobs of all vehicles in one list: before driving first, then by worth for cost."""
    items: list[Json] = []
    total = 0
    for stored in fleet_backlogs(access):
        document = stored.document
        total += _minor(document["total_cost"], access.fleet.currency)
        vehicle = {"vehicle": str(stored.vehicle_id), "vehicle_name": stored.vehicle.name}
        items.extend({**item, **vehicle} for item in document["items"])
    in_order = _in_fleet_order(items)
    numbered = [{**item, "rank": rank} for rank, item in enumerate(in_order, start=1)]
    return {"items": numbered, "total_cost": Money(total, access.fleet.currency).as_json()}


def _in_fleet_order(items: list[Json]) -> list[Json]:
    """Before driving first, then by worth for cost; never a job ahead of the one of its vehicle that opens its access.

    So each counts with the least worth of its vehicle's list up to it; `items` come vehicle by vehicle, in rank.
    """
    least: dict[str, float] = {}
    keyed = []
    for item in items:
        vehicle = item["vehicle"]
        worth = float("inf") if item["before_driving"] else item["worth_per_cost"]
        least[vehicle] = min(worth, least.get(vehicle, float("inf")))
        keyed.append((not item["before_driving"], -least[vehicle], vehicle, item["rank"], item))
    return [entry[-1] for entry in sorted(keyed, key=lambda entry: entry[:-1])]


def vehicle_ids(access: Access) -> list[uuid.UUID]:
    """The vehicles that are kept, for a recomputation of all."""
    rows = Vehicle.objects.within(access.fleet).filter(archived=False)
    return list(rows.values_list("pk", flat=True))
