"""The ranked backlog of vehicles and of a fleet: decided over a batch, stored, answered."""

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np

from fleetcare.fleet.access import Access
from fleetcare.fleet.clock import today
from fleetcare.fleet.models import Vehicle
from fleetcare.fleet.services.standings import store_standings
from fleetcare.kernel.dates import add_months
from fleetcare.kernel.grades import Grade
from fleetcare.kernel.money import Money
from inspections.catalogue.catalogue import Catalogue
from inspections.core.types import CostBook, FloatArray, IntArray, LifeBook, Looks, Residuals
from inspections.services.assessment import Verdicts, cells_at, is_fresh, judge, residuals_at
from inspections.services.costs import fleet_costs
from inspections.services.history import Batch, load_batch
from scheduling.core.backlog import HORIZON_KM, Ranking, candidates, rank_jobs
from scheduling.core.bundles import Bundle, bundles
from scheduling.core.fleet_order import counted_worths
from scheduling.core.long_run import long_run_cost_per_km, new_part_residuals
from scheduling.core.look_worth import unseen_too_long
from scheduling.core.pricing import kept_minor
from scheduling.core.reasons import phrase
from scheduling.core.types import Alternative, Backlog, BacklogItem, JobOption
from scheduling.core.waiting import LOOK_EVERY_KM, look_interval_clock_km, waiting, waiting_of_rows
from scheduling.models import StoredBacklog
from scheduling.selectors import stored_backlog
from scheduling.services.asked_looks import asked_looks, told_looks
from scheduling.services.backlog_changes import keep_changes
from scheduling.services.options import done_by_reasons, job_options

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Backlogs:
    """The documents of a batch, one a vehicle, in its order."""

    batch: Batch
    digests: tuple[str, ...]
    documents: tuple[Json, ...]


def decide(batch: Batch, verdicts: Verdicts) -> Backlogs:
    """Ranks the jobs of every vehicle of a batch; pure computing on what was loaded."""
    ranking = ranked(batch, verdicts.residuals_of)
    looks = asked_looks(batch, verdicts.residuals_of, look_interval(batch), renewal_credit(batch))
    documents = tuple(_document(batch, index, ranking, looks[index]) for index in range(len(batch.vehicles)))
    return Backlogs(batch, verdicts.digests, documents)


def ranked(batch: Batch, residuals_of: Callable[[IntArray], Residuals] | None = None) -> Ranking | None:
    """The jobs of every vehicle of a batch in their order; None where nothing was found at all.

    `residuals_of` gives what is left of the cells at rows, where the judge knows that already.
    """
    options = job_options(batch)
    if not options:
        return None
    cells, vehicle = batch.cells, batch.cells.vehicle
    interval = look_interval(batch)
    # The horizon is told in km of the road; each part's own clock runs slower or faster.
    horizon = HORIZON_KM * cells.clock_km_per_month / (batch.km_per_year[vehicle] / 12.0)
    rows = candidates(options, batch.last_grade)
    costs, credit = fleet_costs(batch.prices), renewal_credit(batch)
    return rank_jobs(
        options,
        cells,
        batch.last_grade,
        waiting_of_rows(residuals_of or partial(residuals_at, batch), cells, rows, interval, horizon),
        costs,
        credit,
        np.full(len(batch.vehicles), batch.prices.terms.own_minor_per_hour),
        unseen_too_long(batch.last_grade, batch.since_look_km, interval, costs.safety[cells.slot]),
        kept=_kept(batch, options, interval, horizon),
    )


def look_interval(batch: Batch) -> FloatArray:
    """Clock distance between looks at each part, shape (K,)."""
    return look_interval_clock_km(batch.cells.clock_km_per_month, batch.km_per_year[batch.cells.vehicle] / 12.0)


def _kept(batch: Batch, options: Sequence[JobOption], interval: FloatArray, horizon: FloatArray) -> FloatArray:
    """What parts put right without being renewed still cost, shape (K,); 0 where no such job is offered."""
    kept = np.zeros(len(batch.cells.slot))
    rows = np.unique([cell for option in options if not option.work.renews for cell in option.cells]).astype(np.int64)
    if not len(rows):
        return kept
    mended = seen_sound(batch, rows)
    cells = cells_at(batch.cells, rows)
    after = waiting(residuals_at(mended, rows), cells.clock_km_per_month, interval[rows], horizon[rows])
    kept[rows] = kept_minor(after, cells, fleet_costs(batch.prices), renewal_credit(batch))
    return kept


def seen_sound(batch: Batch, rows: IntArray) -> Batch:
    """The batch as if these parts had just been put right: at their age, and seen sound now.

    The defects seen since they were last sound, and the figures measured, say no more of them.
    """
    looks, now = batch.looks, batch.cells.now_clock_km
    mended = np.zeros(len(now), dtype=bool)
    mended[rows] = True
    sound = looks.grade == Grade.SOUND
    last_sound = np.full(len(now), -np.inf)
    np.maximum.at(last_sound, looks.cell[sound], looks.clock_km[sound])
    over = mended[looks.cell] & (looks.clock_km > last_sound[looks.cell])
    cell = np.concatenate([looks.cell[~over], rows])
    clock = np.concatenate([looks.clock_km[~over], now[rows]])
    grade = np.concatenate([looks.grade[~over], np.full(len(rows), int(Grade.SOUND))])
    order = np.argsort(cell, kind="stable")
    fresh = Looks(cell[order], clock[order], grade[order])
    return replace(batch, looks=fresh, measured=batch.measured.without(rows))


def renewal_credit(batch: Batch) -> FloatArray:
    """Long-run cost of a new part per clock km, by slot, at the fleet's prices and with the lives it learned."""
    book = batch.book
    key = (batch.prices.key, book.life_km.tobytes(), book.life_cv.tobytes())
    return _credit(key, lambda: (book, fleet_costs(batch.prices)))


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


def _document(batch: Batch, index: int, ranking: Ranking | None, looks: list[Json]) -> Json:
    vehicle = batch.vehicles[index]
    backlog = ranking.of(index) if ranking else Backlog((), ())
    money = _Money(batch.fleet.currency)
    return {
        "vehicle": str(vehicle.pk),
        "items": [_item(batch, ranking, money, item) for item in backlog.items],
        "can_wait": [_item(batch, ranking, money, item) for item in backlog.can_wait],
        "bundles": [_bundle(ranking, money, each) for each in bundles(ranking, index)] if ranking else [],
        "looks": told_looks(looks, money),
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


def _item(batch: Batch, ranking: Ranking | None, money: _Money, item: BacklogItem) -> Json:
    catalogue: Catalogue = batch.catalogue
    entry, figures = catalogue.jobs[item.job], batch.prices.of(catalogue, item.job)
    return {
        "rank": item.rank,
        "job": item.job,
        "title": entry.job.title,
        "part": entry.part.key,
        "positions": list(item.positions),
        "grade": None if item.grade is None else item.grade.word,
        "renews": entry.job.renews,
        "cost_now": money(item.cost_now_minor),
        "hours": round(item.hours, 2),
        **_ranges(money, item),
        "closed_jobs": figures.closed_jobs,
        "done_by": figures.done_by,
        "done_by_because": done_by_reasons(figures),
        "cost_of_waiting": money(item.cost_of_waiting_minor),
        "worth_per_cost": round(item.worth_per_cost, 3),
        "failure_chance_fraction": round(item.failure_chance_fraction, 4),
        "failure_cost": money(item.failure_cost_minor),
        "terms": _terms(money, item),
        "do_before": _do_before(batch.on, item),
        "before_driving": item.before_driving,
        "access": list(item.access),
        "follow_ups": list(item.follow_ups),
        "opened_before": list(item.opened_before),
        "licensed": entry.job.licensed,
        "difficulty": entry.job.difficulty,
        "cautions": [catalogue.cautions[key].text for key in entry.job.cautions],
        "reasons": [phrase(reason) for reason in item.reasons],
        "alternatives": [_alternative(batch, ranking, money, each) for each in item.alternatives] if ranking else [],
    }


def _ranges(money: _Money, item: BacklogItem) -> Json:
    """What four such jobs in five cost and take."""
    cost, hours = item.cost_range_minor, item.hours_range
    return {
        "cost_range": {"low": money(cost[0]), "likely": money(item.cost_now_minor), "high": money(cost[1])},
        "hours_range": {"low": round(hours[0], 2), "likely": round(item.hours, 2), "high": round(hours[1], 2)},
    }


def _terms(money: _Money, item: BacklogItem) -> Json:
    """What waiting is expected to cost, term by term."""
    terms = item.terms
    return {
        "failure": money(terms.failure_minor),
        "later_job": money(terms.later_job_minor),
        "dangerous_driving": money(terms.danger_minor),
        "major_driving": money(terms.major_minor),
        "renewal_credit": money(terms.renewal_credit_minor),
        "kept_part": money(terms.kept_part_minor),
        "best_way_to_wait": item.best_wait,
    }


def _alternative(batch: Batch, ranking: Ranking, money: _Money, other: Alternative) -> Json:
    """Another job for the same parts."""
    work = ranking.options[other.option].work
    job = batch.catalogue.jobs[work.key].job
    return {
        "job": work.key,
        "title": job.title,
        "positions": list(work.positions),
        "renews": work.renews,
        "cost_now": money(other.cost_now_minor),
        "worth_per_cost": round(other.worth_per_cost, 3),
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
            counted_worths=counted_worths(
                (item["before_driving"], item["worth_per_cost"]) for item in document["items"]
            ),
        )
        for vehicle, digest, document in zip(batch.vehicles, backlogs.digests, backlogs.documents, strict=True)
    ]
    StoredBacklog.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["vehicle"],
        update_fields=["as_of", "revision", "digest", "document", "counted_worths"],
    )
    keep_changes(batch, backlogs.documents)
    standings = [vehicle.standing for vehicle in batch.vehicles]
    for standing, document in zip(standings, backlogs.documents, strict=True):
        standing.backlog_cost_minor = _minor(document["total_cost"], batch.fleet.currency)
        standing.backlog_jobs = len(document["items"])
    store_standings(standings, ["backlog_cost_minor", "backlog_jobs"])


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


def vehicle_ids(access: Access) -> list[uuid.UUID]:
    """The vehicles that are kept, for a recomputation of all."""
    rows = Vehicle.objects.within(access.fleet).filter(archived=False)
    return list(rows.values_list("pk", flat=True))
